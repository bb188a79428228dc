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
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import ToolingError
from tooling.models import How
from tooling.permissions import Verb, can, check_can
from tooling.queries.pieces import Filters, search_pieces
from tooling.queries.regrind_orders import order_called
from tooling.queries.scan_answer import ScanAnswer, scan_answer
from tooling.queries.scans import (
    WhatItIs,
    is_recorded,
    kit_to_tick,
    last_scans,
    paper_positions,
    places_to_choose,
    scanned_piece,
    takes_cart,
    what_is,
)
from tooling.queries.settings import setting_values
from tooling.queries.setups import mounted_at
from tooling.services import paper_sets, scans
from tooling.services.badge_scans import BADGE_SCANNED, check_no_badge
from tooling.services.scan_moves import ScanIn
from tooling.web.forms.fields import unit_of
from tooling.web.forms.loans import a_day, whole
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
    place, error = _place(request, int(settings["scan_context_idle"]))
    to = place.what if place is not None else None
    find = _said(request.GET.get("find"))
    kit = to.code if to is not None and to.code.startswith("K") else ""
    context = {
        "to": to,
        "place": place,
        "due_on": _due_kept(request, place),
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


def _place(request: HttpRequest, idle_s: int) -> tuple[ScanAnswer | None, ToolingError | None]:
    """Where things go now: as the address says, or as last entered and not yet forgotten."""
    code = _said(request.GET.get("to")) or _remembered(request, idle_s)
    if not code:
        return None, None
    try:
        place = scan_answer(code, at=timezone.now())
    except ToolingError as error:
        return None, error
    return (place if place.what.is_place else None), None


def _remembered(request: HttpRequest, idle_s: int) -> str:
    kept = request.session.get(CONTEXT) or {}
    since = parse_datetime(kept.get("at", ""))
    fresh = since is not None and (timezone.now() - since).total_seconds() < idle_s
    return str(kept.get("to", "")) if fresh else ""


def _remember(request: HttpRequest, to: str) -> None:
    """Kept in the session, so another person begins with no place; with the day that was set."""
    kept = {"to": to, "at": timezone.now().isoformat(), "due_on": request.POST.get("due_on")}
    request.session[CONTEXT] = kept if to else {}


def _due_kept(request: HttpRequest, place: ScanAnswer | None) -> str:
    """When what goes to this place is due back: as was set for it, else as usual."""
    kept = request.session.get(CONTEXT) or {}
    if place is None or place.away is None:
        return ""
    if kept.get("to") == place.what.code and kept.get("due_on") is not None:
        return str(kept["due_on"])
    return place.due_on.isoformat() if place.due_on else ""


@require_GET
@never_cache
def read(request: HttpRequest) -> HttpResponse:
    """What a code is, for the page's script: a place to put things, or a thing and where it is; of
    an order's packing list only where to go. No browser keeps it: what was read may be a badge."""
    try:
        check_can(request.user, Verb.MOVE_PIECES)
        if order := order_called(_said(request.GET.get("code"))):
            go = reverse("regrind-order", args=[order])
            return JsonResponse({"is_place": True, "code": order, "name": order, "go": go})
        check_no_badge(by=person_of(request), text=_said(request.GET.get("code")))
        found = scan_answer(_said(request.GET.get("code")), at=timezone.now())
    except ToolingError as error:
        told = {"code": error.code, "message": error.message, **_way_out(request, error)}
        return JsonResponse(told, status=error.status)
    what, home = found.what, found.belongs
    return JsonResponse(
        {
            "is_place": what.is_place,
            "code": what.code,
            "name": what.name,
            "said": what.said,
            "url": _url(what),
            "is_piece": what.page == "piece",
            "go": _leaves_by(found),
            "is_away": found.away is not None,
            "due_on": found.due_on.isoformat() if found.due_on else "",
            "carries": found.carries,
            "count": found.count,
            "copies": [
                {"code": f"{what.code}-{letter}", "name": f"{what.name}-{letter}"}
                for letter in found.copies
            ],
            "home": home.home_inner if home is not None else "",
            "home_outer": home.home_outer if home is not None else "",
            "home_code": home.home_code if home is not None else "",
            "is_home": home is not None and home.is_home,
            "why": home.why_said if home is not None else "",
        }
    )


def _leaves_by(found: ScanAnswer) -> str:
    """What leaves the building goes by a page of its own, which asks once; the label of a station
    leads there while a setup is being mounted on its mill."""
    if there := mounted_at(found.what.code, while_mounting=True):
        return f"{reverse('setup-station', args=there)}?{urlencode({'at': found.what.code})}"
    if found.away is None or not found.away.leaves or found.carries:
        return ""
    return f"{reverse('hand-out')}?{urlencode({'to': found.away.code})}"


@require_POST
def enter(request: HttpRequest) -> HttpResponse:
    """One beat: a place is entered; anything else goes to the place, or says where it is."""
    code, to = _said(request.POST.get("code")), _said(request.POST.get("to"))
    check_can(request.user, Verb.MOVE_PIECES)
    if order := order_called(code):
        return redirect("regrind-order", order)
    try:
        check_no_badge(by=person_of(request), text=code)
        found = scan_answer(code, at=timezone.now())
    except ToolingError as error:
        if not to or error.code == BADGE_SCANNED:
            return _page(request, error=error)
        return _record(request, code=code, to=to, how=How.TYPED)
    what = found.what
    if what.is_place and not (to and what.code.startswith("C") and takes_cart(to, what.code)):
        if go := _leaves_by(found):
            return redirect(go)
        _remember(request, what.code)
        return redirect("scan")
    if not to and found.count is not None:
        return redirect("stock-line", what.code)
    if not to:
        return _page(request, told=found, told_url=_url(what))
    if found.count is not None and "quantity" not in request.POST and _is_away(to):
        return _page(request, how_many=found)
    if found.count is not None and "quantity" not in request.POST and not to.startswith("K"):
        return redirect(f"{reverse('stock-line', args=[what.code])}?{urlencode({'to': to})}")
    return _record(request, code=code, to=to, how=How.TYPED)


def _is_away(to: str) -> bool:
    try:
        return scan_answer(to, at=timezone.now()).away is not None
    except ToolingError:
        return False


@require_GET
def about(request: HttpRequest, act: str) -> HttpResponse:
    """Where the piece of a scan is stopped (``act`` stop) or its condition is said."""
    check_can(request.user, Verb.STOP_PIECES)
    try:
        code = scanned_piece(scan=request.GET.get("scan", ""), code=_said(request.GET.get("code")))
    except ToolingError as error:
        return _page(request, error=error)
    return redirect(f"piece-{act}", code)


@require_POST
def tick(request: HttpRequest) -> HttpResponse:
    """A piece ticked on a list, its label being unreadable."""
    check_can(request.user, Verb.MOVE_PIECES)
    to = _said(request.POST.get("to"))
    if not to:
        error = ToolingError("no_place", _("First scan where: a rack, a cart, a station, a kit."))
        return _page(request, error=error)
    code, keeps = _said(request.POST.get("code")), not request.POST.get("there")
    return _record(request, code=code, to=to, how=How.TICK, remembers=keeps)


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


def _record(request: HttpRequest, *, remembers: bool = True, **said: Any) -> HttpResponse:
    """One scan through the same service as a device's batch; a form sent twice counts once."""
    by, now = person_of(request), timezone.now()
    try:
        said |= _asked_for(request)
        check_no_badge(by=by, text=said["code"])
        check_no_badge(by=by, text=said["to"])
    except ToolingError as error:
        return _page(request, error=error)
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
    if said["to"] and remembers:
        _remember(request, said["to"])
    if result.status == scans.REFUSED:
        return _page(request, error=_as_error(result, said["code"]))
    return redirect("scan")


def _asked_for(request: HttpRequest) -> dict[str, Any]:
    """How many of a bin, and the day it is due back, where the form asks for them.

    Raises ToolingError ``absurd_quantity`` or ``not_a_day``.
    """
    found: dict[str, Any] = {}
    if "quantity" in request.POST:
        number = whole(request.POST["quantity"])
        if number is None or number < 1:
            text = _said(request.POST["quantity"])
            raise ToolingError(
                "absurd_quantity",
                _("“{quantity}” is no number of pieces. Write a whole number."),
                quantity=text[:20],
            )
        found["quantity"] = number
    if request.POST.get("due_on") is not None:
        found["due_on"] = a_day(request.POST["due_on"])
    return found


def _url(found: WhatItIs) -> str:
    """The page of what was read, if it has one."""
    return reverse(found.page, args=[found.key]) if found.page else ""


def _as_error(result: scans.ScanResult, code: str) -> ToolingError:
    """The refusal with its values where the code by itself is the trouble, else its sentence and
    the page of what was scanned."""
    try:
        found = what_is(code)
    except ToolingError as error:
        if result.code == "void_label":
            return error
        return ToolingError(result.code, "{said}", said=result.message)
    return ToolingError(result.code, "{said}", said=result.message, page=_url(found))


def _way_out(request: HttpRequest, error: ToolingError) -> dict[str, str]:
    """Where a refused thing has a page, that page; for a void label what whoever may print labels
    can do about it."""
    if error.values.get("page"):
        return {"todo": gettext("Show it"), "todo_url": error.values["page"]}
    if error.code != "void_label" or not can(request.user, Verb.ISSUE_LABELS):
        return {}
    newer = error.values.get("newer")
    if not newer:
        return {"todo": gettext("Give a new code"), "todo_url": reverse("labels") + "#void"}
    said = gettext("Print {code} again").format(code=newer)
    return {"todo": said, "todo_url": f"{reverse('labels')}?{urlencode({'codes': newer})}"}
