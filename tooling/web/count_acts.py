"""What people do with a count: open it, count, take back, drop it. All works without script."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Count, How, Owner, SetCopy
from tooling.permissions import Verb
from tooling.queries.counts import count_page, find_count
from tooling.queries.find import find_place
from tooling.queries.scans import what_is
from tooling.services import count_entries, counts
from tooling.services.badge_scans import check_no_badge
from tooling.services.count_entries import said_of_row
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import REFUSED, ScanResult
from tooling.web.count_plan import plan_answer
from tooling.web.counts import asked_place, count_answer, count_url, live_context
from tooling.web.doors import require, signed
from tooling.web.rows import get_place, get_row
from tooling.web.sessions import person_of


@require_POST
def open_count(request: HttpRequest) -> HttpResponse:
    """A count of a ``place``, a ``copy`` of a set (by its id) or the tooling of an ``owner``."""
    require(request, Verb.CLOSE_COUNTS)
    try:
        count = counts.open_count(**signed(request), **_subject(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return plan_answer(request, error=error, typed=request.POST)
    return redirect(count_url(count))


def _subject(request: HttpRequest) -> dict[str, Any]:
    place, copy, owner = (request.POST.get(name, "").strip() for name in ("place", "copy", "owner"))
    found: dict[str, Any] = {}
    if place:
        found["place"] = find_place(place[:600])
    if copy:
        key = copy if copy.isdecimal() and len(copy) < 19 else 0
        rows = SetCopy.objects.select_related("tool_set", "home", "owner")
        found["set_copy"] = get_row(rows, said=copy[:60], pk=key)
    if owner:
        found["owner"] = get_row(Owner.objects.all(), said=owner[:60], code=owner.upper()[:20])
    return found


@require_POST
def enter(request: HttpRequest, number: int) -> HttpResponse:
    """One beat: a place is entered; anything else is counted there."""
    require(request, Verb.TAKE_COUNTS)
    code, to = _said(request, "code"), _said(request, "to")
    count = find_count(number)
    try:
        found = what_is(code)
    except ToolingError:
        found = None
    if found is not None and found.is_place:
        return redirect(f"{count_url(count)}?{urlencode({'at': found.code})}")
    return _record(request, count, code=code, to=to, how=How.TYPED, quantity=_quantity(request))


@require_POST
def tick(request: HttpRequest, number: int) -> HttpResponse:
    """A piece ticked on the list: it is where the record has it."""
    require(request, Verb.TAKE_COUNTS)
    return _record(request, find_count(number), code=_said(request, "code"), to="", how=How.TICK)


@require_POST
def tick_row(request: HttpRequest, number: int) -> HttpResponse:
    """Everything that is missing at one place is there."""
    require(request, Verb.TAKE_COUNTS)
    count = find_count(number)

    def act() -> str:
        place = get_place(_said(request, "place")[:20])
        made = count_entries.tick_row(**signed(request), count=count, place=place)
        return said_of_row(made, place)

    return _done(request, count, act)


@require_POST
def undo(request: HttpRequest, number: int) -> HttpResponse:
    """Take marks back; ``entry`` may be given several times."""
    require(request, Verb.TAKE_COUNTS)
    count = find_count(number)

    def act() -> str:
        entries = [_uuid(text) for text in request.POST.getlist("entry")[:1000]]
        count_entries.take_back(**signed(request), count=count, entries=entries)
        return _("Taken back.")

    return _done(request, count, act)


@require_POST
def drop(request: HttpRequest, number: int) -> HttpResponse:
    """End the count as if it had not been."""
    require(request, Verb.CLOSE_COUNTS)
    count = find_count(number)

    def act() -> str:
        note = request.POST.get("note", "")
        counts.drop(**signed(request), count=count, note=note)
        return _("Count {number} is dropped; nothing was changed.").format(number=number)

    return _done(request, count, act)


def _said(request: HttpRequest, name: str) -> str:
    """What was typed or scanned, without what no label, mark or name can hold."""
    text = request.POST.get(name, "")
    return "".join(each for each in text if each.isprintable()).strip()[:200]


def _quantity(request: HttpRequest) -> int | None:
    text = request.POST.get("quantity", "").strip()
    if not text:
        return None
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1


def _uuid(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError:
        return uuid.UUID(int=0)


def _record(request: HttpRequest, count: Count, **said: Any) -> HttpResponse:
    """One mark through the same service as a device's batch; a form sent twice counts once."""
    key, now = _uuid(request.POST.get("id", "")), timezone.now()

    def act() -> str:
        by = person_of(request)
        check_no_badge(by=by, text=said["code"])
        [result] = count_entries.record_batch(
            by=by, at=now, count=count, device=f"desk of {by.username}", device_now=now,
            scans=[ScanIn(id=key if key.int else uuid.uuid4(), happened_at=now, **said)],
        )  # fmt: skip
        return _accepted(result)

    return _done(request, count, act)


def _accepted(result: ScanResult) -> str:
    if result.status == REFUSED:
        raise ToolingError(result.code, "{said}", said=result.message)
    return result.message


def _done(request: HttpRequest, count: Count, act: Callable[[], str]) -> HttpResponse:
    """Do it and go back to the page, or say there what was wrong. A part of the page that asked
    by itself gets its part anew."""
    in_part = request.headers.get("HX-Request") == "true"
    try:
        said = act()
    except NotAllowed:
        raise
    except ToolingError as error:
        return count_answer(request, count.number, error=error)
    if in_part:
        page = count_page(count.number, at_place=asked_place(request))
        return _part(request, live_context(request, page))
    messages.success(request, said)
    at = asked_place(request)
    return redirect(count_url(count) + (f"?{urlencode({'at': at})}" if at else ""))


def _part(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    return render(request, "counts/live.html", context)
