"""Contrary scans: what cannot both be right, and saying which is."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Contradiction
from tooling.permissions import Verb
from tooling.queries.by_code import place_of
from tooling.queries.contradictions import contrary_page
from tooling.services import contradictions
from tooling.web.doors import require, rights, signed
from tooling.web.rows import get_row


@require_GET
def show_contrary(request: HttpRequest) -> HttpResponse:
    """What waits to be settled, and what was settled lately."""
    return _page(request)


@require_POST
def settle(request: HttpRequest, number: int) -> HttpResponse:
    """Where the piece is, and how one knows; a refusal stands at that row with what was typed."""
    require(request, Verb.MOVE_PIECES)
    row = get_row(Contradiction.objects.all(), said=_("such contradiction"), pk=number)
    place, reason = request.POST.get("to", "").strip(), request.POST.get("reason", "")
    try:
        to = place_of(place) if place else None
        contradictions.settle(**signed(request), contradiction=row, to=to, reason=reason)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, error=error, at_row=number, reason=reason, to=place)
    messages.success(request, _("Settled."))
    return redirect("contrary")


def _page(
    request: HttpRequest, *, error: ToolingError | None = None, at_row: int = 0, reason: str = "",
    to: str = "",
) -> HttpResponse:  # fmt: skip
    context = {
        "page": contrary_page(),
        "error": error,
        "at_row": at_row,
        "reason": reason,
        "to": to,
    }
    status = error.status if error else 200
    return render(request, "contrary/list.html", {**context, **rights(request)}, status=status)
