"""Stopping a piece, saying its condition, lifting a hold: for hands in gloves, a tap each."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import NOT_FIT, Incident, Piece
from tooling.permissions import Verb, can
from tooling.queries.holds import change_row, kits_that_lack, stop_choices
from tooling.queries.pictures import pictures_of_incidents
from tooling.services import holds
from tooling.web.doors import fill_in, go_on, require, rights, signed
from tooling.web.forms.pieces import LiftForm
from tooling.web.rows import get_piece, get_row


@require_http_methods(["GET", "POST"])
def stop(request: HttpRequest, code: str) -> HttpResponse:
    """Why it is stopped, each a button that holds it at once; then the picture."""
    require(request, Verb.STOP_PIECES)
    piece = get_piece(code)
    if request.method == "GET":
        return _stop(request, piece)
    what, note = request.POST.get("what", ""), request.POST.get("note", "")
    try:
        incident = holds.stop(
            **signed(request), piece=piece, what=what, note=note, uuid=_uuid(request)
        )
    except NotAllowed:
        raise
    except ToolingError as error:
        return _stop(request, piece, error=error, note=note)
    return go_on(request, reverse("piece-stopped", args=[piece.code, incident.pk]))


def _stop(request: HttpRequest, piece: Piece, **answer: Any) -> HttpResponse:
    error = answer.get("error")
    context = {
        "piece": piece,
        "choices": stop_choices(holds.StopFor),
        "next_id": uuid.uuid4(),
        **answer,
    }
    return render(request, "pieces/stop.html", context, status=error.status if error else 200)


def _uuid(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get("id", ""))
    except ValueError:
        return None


@require_GET
def stopped(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """It is held. A picture, or none; and the way back from the wrong roll."""
    piece = get_piece(code)
    incident = _incident(piece, number)
    context = {
        "piece": piece,
        "incident": incident,
        "pictures": pictures_of_incidents({incident.pk}),
        "kits": kits_that_lack(piece),
        "is_build_up": incident.kind == "build_up",
    }
    return render(request, "pieces/stopped.html", {**context, **rights(request)})


@require_POST
def undo_stop(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """The wrong roll was stopped."""
    require(request, Verb.STOP_PIECES)
    piece = get_piece(code)
    holds.undo_stop(**signed(request), incident=_incident(piece, number))
    return redirect("piece", piece.code)


def _incident(piece: Piece, number: int) -> Incident:
    rows = Incident.objects.filter(pieces__piece=piece)
    found: Incident = get_row(rows, said=_("such incident"), pk=number)
    return found


@require_POST
def lift_hold(request: HttpRequest, code: str) -> HttpResponse:
    """Let a held piece be used again."""
    require(request, Verb.LIFT_HOLDS)
    piece = get_piece(code)
    return fill_in(
        request,
        LiftForm(request.POST),
        template="pieces/hold.html",
        save=lambda values: holds.lift_hold(**signed(request), piece=piece, **values),
        done=lambda row: (reverse("piece", args=[row.code]), _("The hold is lifted.")),
        piece=piece,
    )


@require_http_methods(["GET", "POST"])
def condition(request: HttpRequest, code: str) -> HttpResponse:
    """In which condition it is, each a button; the piece's page then offers the way back."""
    require(request, Verb.STOP_PIECES)
    piece = get_piece(code)
    if request.method == "GET":
        return _condition(request, piece)
    said, reason = request.POST.get("condition", ""), request.POST.get("reason", "")
    try:
        change = holds.say_condition(**signed(request), piece=piece, condition=said, reason=reason)
    except ToolingError as error:
        return _condition(request, piece, error=error, reason=reason)
    url = reverse("piece", args=[piece.code])
    return redirect(f"{url}?changed={change.pk}" if change else url)


def _condition(request: HttpRequest, piece: Piece, **answer: Any) -> HttpResponse:
    error = answer.get("error")
    context = {
        "piece": piece,
        "choices": stop_choices(holds.CHOSEN, now=piece.condition),
        "needs_word": piece.condition in NOT_FIT and not can(request.user, Verb.LIFT_HOLDS),
        "asks_reason": piece.condition in NOT_FIT,
        **answer,
    }
    return render(request, "pieces/condition.html", context, status=error.status if error else 200)


@require_POST
def undo_condition(request: HttpRequest, code: str) -> HttpResponse:
    """Back to the condition before the newest change."""
    require(request, Verb.STOP_PIECES)
    piece = get_piece(code)
    change = change_row(piece.code, request.POST.get("change", ""))
    holds.undo_condition(**signed(request), piece=piece, change=change)
    return redirect("piece", piece.code)
