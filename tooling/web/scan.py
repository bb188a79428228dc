"""The Scan page: two beats, where and then what. Each act also works as a plain form."""

from __future__ import annotations

import uuid
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import ToolingError
from tooling.models import How
from tooling.permissions import Verb, can, check_can
from tooling.queries.pieces import Filters, search_pieces
from tooling.queries.scans import (
    WhatItIs,
    is_recorded,
    kit_to_tick,
    last_scans,
    paper_positions,
    places_to_choose,
    what_is,
)
from tooling.queries.settings import setting_values
from tooling.services import paper_sets, scans
from tooling.services.scan_moves import ScanIn
from tooling.web.forms.fields import unit_of
from tooling.web.sessions import person_of

CONTEXT = "scan_context"
SETTINGS = ["scan_context_idle", "scan_same_label_guard"]


@require_GET
def show_scan(request: HttpRequest) -> HttpResponse:
    """The page; ``to`` in the address begins with a place, ``find`` lists pieces to tick."""
    check_can(request.user, Verb.MOVE_PIECES)
    return _page(request)


def _page(request: HttpRequest, **answer: Any) -> HttpResponse:
    settings = setting_values(SETTINGS)
    to, error = _place(request, int(settings["scan_context_idle"]))
    find = _said(request.GET.get("find"))
    kit = to.code if to is not None and to.code.startswith("K") else ""
    context = {
        "to": to,
        "error": error,
        "find": find,
        "found": search_pieces(Filters(text=find), unit=unit_of(request.user, "mm"))
        if find else None,
        "on_paper": paper_positions(find) if find else (),
        "waiting": kit_to_tick(kit) if kit else (),
        "choices": places_to_choose(),
        "last_scans": last_scans(person_of(request)),
        "idle_s": settings["scan_context_idle"],
        "guard_s": settings["scan_same_label_guard"],
        "next_id": uuid.uuid4(),
        **answer,
    }  # fmt: skip
    shown = context["error"]
    if shown:
        context |= _way_out(request, shown)
    return render(request, "scan/scan.html", context, status=shown.status if shown else 200)


def _place(request: HttpRequest, idle_s: int) -> tuple[WhatItIs | None, ToolingError | None]:
    """Where things go now: as the address says, or as last entered and not yet forgotten."""
    code = _said(request.GET.get("to")) or _remembered(request, idle_s)
    if not code:
        return None, None
    try:
        place = what_is(code)
    except ToolingError as error:
        return None, error
    return (place if place.is_place else None), None


def _remembered(request: HttpRequest, idle_s: int) -> str:
    kept = request.session.get(CONTEXT) or {}
    since = parse_datetime(kept.get("at", ""))
    fresh = since is not None and (timezone.now() - since).total_seconds() < idle_s
    return str(kept.get("to", "")) if fresh else ""


def _remember(request: HttpRequest, to: str) -> None:
    """Kept in the session, so another person begins with no place."""
    request.session[CONTEXT] = {"to": to, "at": timezone.now().isoformat()} if to else {}


@require_GET
def read(request: HttpRequest) -> HttpResponse:
    """What a code is, for the page's script: a place to put things, or a thing and where it is."""
    try:
        check_can(request.user, Verb.MOVE_PIECES)
        found = what_is(_said(request.GET.get("code")))
    except ToolingError as error:
        told = {"code": error.code, "message": error.message, **_way_out(request, error)}
        return JsonResponse(told, status=error.status)
    return JsonResponse(
        {
            "is_place": found.is_place,
            "code": found.code,
            "name": found.name,
            "said": found.said,
            "url": _url(found),
        }
    )


@require_POST
def enter(request: HttpRequest) -> HttpResponse:
    """One beat: a place is entered; anything else goes to the place, or says where it is."""
    code, to = _said(request.POST.get("code")), _said(request.POST.get("to"))
    check_can(request.user, Verb.MOVE_PIECES)
    try:
        found = what_is(code)
    except ToolingError as error:
        if not to:
            return _page(request, error=error)
        return _record(request, code=code, to=to, how=How.TYPED)
    if found.is_place and not (to and found.code.startswith("C") and not to.startswith("C")):
        _remember(request, found.code)
        return redirect("scan")
    if not to:
        return _page(request, told=found, told_url=_url(found))
    return _record(request, code=code, to=to, how=How.TYPED)


@require_POST
def tick(request: HttpRequest) -> HttpResponse:
    """A piece ticked on a list, its label being unreadable."""
    check_can(request.user, Verb.MOVE_PIECES)
    to = _said(request.POST.get("to"))
    if not to:
        error = ToolingError("no_place", _("First scan where: a rack, a cart, a station, a kit."))
        return _page(request, error=error)
    return _record(request, code=_said(request.POST.get("code")), to=to, how=How.TICK)


@require_POST
def unfold(request: HttpRequest) -> HttpResponse:
    """The piece in hand is this position of a set from paper: the set becomes pieces."""
    to = _said(request.POST.get("to"))
    try:
        code = paper_sets.handle(
            by=person_of(request),
            at=timezone.now(),
            copy_id=_number(request.POST.get("copy", "")),
            position_id=_number(request.POST.get("position", "")),
            to=what_is(to).code if to else "",
        )
    except ToolingError as error:
        return _page(request, error=error)
    return _record(request, code=code, to=to, how=How.TICK)


def _said(text: str | None) -> str:
    """What was typed or scanned, without what no label, mark or name can hold."""
    return "".join(each for each in (text or "") if each.isprintable()).strip()[:200]


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0


@require_POST
def undo(request: HttpRequest) -> HttpResponse:
    """Put one of the last scans right: back to where the thing was before."""
    check_can(request.user, Verb.MOVE_PIECES)
    try:
        wrong = uuid.UUID(request.POST.get("scan", ""))
    except ValueError:
        error = ToolingError("unknown_scan", _("That scan is not known here. Load the page again."))
        return _page(request, error=error)
    code = _said(request.POST.get("code"))
    return _record(request, code=code, to="", how=How.TICK, corrects=wrong)


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Leave the place; the next scan says where."""
    _remember(request, "")
    return redirect("scan")


def _record(request: HttpRequest, **said: Any) -> HttpResponse:
    """One scan through the same service as a device's batch; a form sent twice counts once."""
    by, now = person_of(request), timezone.now()
    try:
        key = uuid.UUID(request.POST.get("id", ""))
    except ValueError:
        key = uuid.uuid4()
    if is_recorded(key):
        return redirect("scan")
    [result] = scans.record_batch(
        by=by,
        at=now,
        device=f"desk of {by.username}",
        device_now=now,
        scans=[ScanIn(id=key, happened_at=now, **said)],
    )
    if said["to"]:
        _remember(request, said["to"])
    if result.status == scans.REFUSED:
        return _page(request, error=_as_error(result, said["code"]))
    return redirect("scan")


def _url(found: WhatItIs) -> str:
    """The page of what was read, if it has one."""
    return reverse(found.page, args=[found.key]) if found.page else ""


def _as_error(result: scans.ScanResult, code: str) -> ToolingError:
    """The refusal with its values where the code by itself is the trouble, else its sentence."""
    if result.code == "void_label":
        try:
            what_is(code)
        except ToolingError as error:
            return error
    return ToolingError(result.code, "{said}", said=result.message)


def _way_out(request: HttpRequest, error: ToolingError) -> dict[str, str]:
    """What whoever may print labels can do about a void one, and where."""
    if error.code != "void_label" or not can(request.user, Verb.ISSUE_LABELS):
        return {}
    newer = error.values.get("newer")
    if not newer:
        return {"todo": gettext("Give a new code"), "todo_url": reverse("labels") + "#void"}
    said = gettext("Print {code} again").format(code=newer)
    return {"todo": said, "todo_url": f"{reverse('labels')}?{urlencode({'codes': newer})}"}
