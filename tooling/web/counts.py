"""A count as people read it: the page that two of them work on, what is polled, the sheet."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from tooling.errors import ToolingError
from tooling.models import Count, StockLine
from tooling.permissions import Verb, check_can
from tooling.queries.count_words import subject_of
from tooling.queries.counts import (
    BinView,
    CountPage,
    PieceView,
    count_page,
    count_sheet,
    count_token,
    find_count,
)
from tooling.queries.scans import what_is
from tooling.queries.settings import setting_values
from tooling.services.badge_scans import check_no_badge
from tooling.templatetags.counting import outcome_word
from tooling.web.count_sheets import sheet_answer
from tooling.web.doors import require, rights
from tooling.web.rows import get_line
from tooling.web.sessions import person_of
from tooling.web.show_whole import show_whole

SETTINGS = ["scan_context_idle", "scan_same_label_guard"]
HEADINGS = ("Count", "What", "Code", "Mark", "Drawing", "Owner", "Expected at", "Place",
            "Outcome", "Expected", "Counted", "Counted by", "When", "Reason")  # fmt: skip


@require_GET
def show_count(request: HttpRequest, number: int) -> HttpResponse:
    """The page; ``at`` unfolds a place, ``bin`` asks how many are in one."""
    return count_answer(request, number)


def count_answer(request: HttpRequest, number: int, **more: Any) -> HttpResponse:
    """A count's page with what there is to say; a refusal in its place."""
    page = count_page(number, at_place=asked_place(request))
    error = more.get("error")
    context = {
        **live_context(request, page),
        **setting_values(SETTINGS),
        "bin": _bin(request.GET.get("bin", "")),
        "next_id": uuid.uuid4(),
        **more,
    }
    template = "counts/count.html" if page.head.is_open else "counts/result.html"
    return render(request, template, context, status=error.status if error else 200)


def _bin(code: str) -> StockLine | None:
    return get_line(code[:20]) if code else None


def asked_place(request: HttpRequest) -> str:
    """The place whose rows are wanted, as the address or the form says."""
    return (request.POST.get("at") or request.GET.get("at") or "")[:40]


@require_GET
def show_live(request: HttpRequest, number: int) -> HttpResponse:
    """What moves while people count; 204 while the screen has all of it; the result at its end."""
    if request.GET.get("v") == count_token(number):
        return HttpResponse(status=204)
    page = count_page(number, at_place=asked_place(request))
    if not page.head.is_open:
        url = reverse("count", args=[number])
        return show_whole(request, url, _("This count is over: show what came of it"))
    return render(request, "counts/live.html", live_context(request, page))


def live_context(request: HttpRequest, page: CountPage) -> dict[str, Any]:
    """What ``counts/live.html`` is filled from."""
    return {"count": page, "head": page.head, **rights(request)}


@require_GET
@never_cache
def read(request: HttpRequest, number: int) -> HttpResponse:
    """What a code is, for the page's script: a place to look at, the count itself, a bin."""
    try:
        check_can(request.user, Verb.TAKE_COUNTS)
        count, code = find_count(number), request.GET.get("code", "").strip()[:200]
        if code in ("", str(number)):
            return JsonResponse(_told(True, str(number), subject_of(count), ""))
        check_no_badge(by=person_of(request), text=code)
        found = what_is(code)
    except ToolingError as error:
        return JsonResponse({"code": error.code, "message": error.message}, status=error.status)
    said = found.said if found.is_place or not found.code.startswith("B") else ""
    return JsonResponse(_told(found.is_place, found.code, found.name, said))


def _told(is_place: bool, code: str, name: str, said: str) -> dict[str, Any]:
    return {"is_place": is_place, "code": code, "name": name, "said": said, "url": ""}


@require_GET
def count_csv(request: HttpRequest, number: int) -> HttpResponse:
    """Every piece and bin of a count with what became of it."""
    require(request, Verb.EXPORT)
    sheet = count_sheet(number)
    rows = [_piece_cells(number, piece) for piece in sheet.pieces]
    rows += [_bin_cells(number, each) for each in sheet.bins]
    return sheet_answer(f"count-{number}.csv", HEADINGS, rows)


def _piece_cells(number: int, piece: PieceView) -> list[Any]:
    counted = 1 if piece.outcome in ("found", "extra", "came") else 0
    expected = 1 if piece.outcome in ("found", "missing") else 0
    return [number, _("piece"), piece.code, piece.mark, piece.drawing, piece.owner, piece.was_at,
            piece.place, outcome_word(piece.outcome), expected, counted, piece.by, piece.at,
            piece.reason]  # fmt: skip


def _bin_cells(number: int, each: BinView) -> list[Any]:
    outcome = "uncounted" if each.counted is None else "differs" if each.difference else "agrees"
    return [number, _("bin"), each.code, "", each.drawing, each.owner, each.place, each.place,
            outcome_word(outcome), each.expected, each.counted, each.by, each.at,
            each.reason]  # fmt: skip


def count_url(count: Count) -> str:
    """The page of a count."""
    return reverse("count", args=[count.number])
