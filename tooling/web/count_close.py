"""Closing a count: the list of what is missing with where to look, and a reason for each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Count
from tooling.permissions import Verb
from tooling.queries.count_candidates import Missing, missing_pieces
from tooling.queries.count_state import state_of
from tooling.queries.counts import BinView, bin_view, find_count, head_of
from tooling.services import count_close
from tooling.services.counts import check_open
from tooling.web.counts import count_answer, count_url
from tooling.web.doors import require, rights, signed

REASON = "reason-"


@dataclass(frozen=True)
class CloseRow:
    """A missing piece with the reason as it was typed."""

    missing: Missing
    reason: str


@dataclass(frozen=True)
class CloseBin:
    """A bin whose number differs, with the reason as it was typed."""

    bin: BinView
    reason: str


@require_http_methods(["GET", "POST"])
def close(request: HttpRequest, number: int) -> HttpResponse:
    """GET shows what is missing. POST closes; a refusal shows the list again as it was filled."""
    require(request, Verb.CLOSE_COUNTS)
    count = find_count(number)
    reasons = {key.removeprefix(REASON): str(text) for key, text in request.POST.items()
               if key.startswith(REASON)}  # fmt: skip
    if request.method == "POST":
        try:
            closed = count_close.close(
                **signed(request),
                count=count,
                reasons=reasons,
                otherwise=request.POST.get("otherwise", ""),
                listed=request.POST.getlist("listed"),
                note=request.POST.get("note", ""),
            )
        except NotAllowed:
            raise
        except ToolingError as error:
            return _list(request, count, reasons, error)
        messages.success(request, _said(closed))
        return redirect(count_url(closed))
    return _list(request, count, reasons, None)


def _said(count: Count) -> str:
    lost = ngettext("{n} is lost from now on.", "{n} are lost from now on.", count.missing)
    said = _("Count {number} is closed.").format(number=count.number)
    return f"{said} {lost.format(n=count.missing)}" if count.missing else said


def _list(
    request: HttpRequest, count: Count, reasons: Mapping[str, str], error: ToolingError | None
) -> HttpResponse:
    """The list as it is now, with the reasons as they were typed."""
    count = find_count(count.number)
    try:
        check_open(count)
    except ToolingError as closed:
        return count_answer(request, count.number, error=error or closed)
    state = state_of(count)
    bins = [bin_view(state, each) for each in state.bins]
    context = {
        "head": head_of(count),
        "figures": state.figures,
        "missing": [CloseRow(row, reasons.get(row.piece.code, ""))
                    for row in missing_pieces(state)],
        "differing": [CloseBin(row, reasons.get(row.code, "")) for row in bins if row.difference],
        "uncounted": [row for row in bins if row.counted is None],
        "otherwise": request.POST.get("otherwise", _("still looking")),
        "note": request.POST.get("note", ""),
        "error": error,
        **rights(request),
    }  # fmt: skip
    return render(request, "counts/close.html", context, status=error.status if error else 200)
