"""Guided put-away: the walk through the racks with a cart, the next place on top."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.permissions import Verb, check_can
from tooling.queries.keeping import loaded_carts
from tooling.queries.put_away import put_away
from tooling.queries.scans import last_scans, what_is
from tooling.queries.settings import setting_values
from tooling.services.badge_scans import check_no_badge
from tooling.services.corrections import undo
from tooling.services.movements import find_movement
from tooling.services.put_away import put_stop_away
from tooling.web.doors import signed
from tooling.web.forms.loans import uuids
from tooling.web.rows import get_place
from tooling.web.sessions import person_of

SETTINGS = ["scan_context_idle", "scan_same_label_guard"]


@require_GET
def choose(request: HttpRequest) -> HttpResponse:
    """``from`` (a code or name) is what is put away; without it the loaded carts to choose."""
    check_can(request.user, Verb.MOVE_PIECES)
    said, error = request.GET.get("from", "").strip()[:200], None
    if said:
        try:
            check_no_badge(by=person_of(request), text=said)
            found = what_is(said)
            if not found.is_place:
                raise ToolingError(
                    "not_a_place",
                    _("{name} is no place. Scan the cart or plate that is to be put away."),
                    name=found.name,
                )
            return redirect("put-away-from", found.code)
        except ToolingError as problem:
            error = problem
    context = {"carts": loaded_carts(), "error": error}
    status = error.status if error else 200
    return render(request, "put_away/choose.html", context, status=status)


@require_GET
def show(request: HttpRequest, code: str) -> HttpResponse:
    """The walk; ``act`` is what was just done, to be undone."""
    check_can(request.user, Verb.MOVE_PIECES)
    return _page(request, code)


@require_GET
def walk(request: HttpRequest, code: str) -> HttpResponse:
    """The walk alone, as it is after a scan; 204 while the screen has all of it."""
    check_can(request.user, Verb.MOVE_PIECES)
    context = _walk(code)
    if request.GET.get("v") == context["page"].token:
        return HttpResponse(status=204)
    return render(request, "put_away/walk.html", context)


def _walk(code: str) -> dict[str, Any]:
    page = put_away(code, at=timezone.now())
    return {"page": page, "next": page.stops[0] if page.stops else None, "act": uuid.uuid4()}


def _page(request: HttpRequest, code: str, error: ToolingError | None = None) -> HttpResponse:
    settings = setting_values(SETTINGS)
    done = uuids(request.GET.getlist("act"))
    context = {
        **_walk(code),
        "error": error,
        "done": done[0] if done else None,
        "last_scans": last_scans(person_of(request)),
        "idle_s": settings["scan_context_idle"],
        "guard_s": settings["scan_same_label_guard"],
        "next_id": uuid.uuid4(),
    }
    return render(request, "put_away/page.html", context, status=error.status if error else 200)


@require_POST
def put_stop(request: HttpRequest, code: str) -> HttpResponse:
    """All that belongs at one stop is there now."""
    check_can(request.user, Verb.MOVE_PIECES)
    source, acts = get_place(code), uuids(request.POST.getlist("act"))
    try:
        act = put_stop_away(
            **signed(request),
            source=source,
            stop=request.POST.get("stop", "")[:20],
            act=acts[0] if acts else None,
        )
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, code, error)
    return redirect(f"{reverse('put-away-from', args=[source.code])}?act={act}")


@require_POST
def undo_stop(request: HttpRequest, code: str) -> HttpResponse:
    """What one tap put away is on the cart again."""
    check_can(request.user, Verb.MOVE_PIECES)
    try:
        acts = uuids(request.POST.getlist("act"))
        if not acts:
            raise ToolingError("unknown_scan", _("That is not known here. Load the page again."))
        undo(by=person_of(request), at=timezone.now(), movement=find_movement(acts[0]))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, code, error)
    return redirect("put-away-from", get_place(code).code)
