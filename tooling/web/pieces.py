"""Pieces: searching them, one piece with its history, making and editing them."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import ToolingError
from tooling.models import Condition, DrawingKind, Owner, Piece, PieceAlias
from tooling.permissions import Verb
from tooling.queries.find import find_drawing
from tooling.queries.holds import hold_part
from tooling.queries.keeping import piece_keeping
from tooling.queries.owners import owner_side
from tooling.queries.pictures import pictures_of_piece
from tooling.queries.piece_history import piece_history
from tooling.queries.piece_page import piece_page
from tooling.queries.piece_spot import piece_spot
from tooling.queries.pieces import Filters, find_exactly, search_pieces
from tooling.queries.receipts import came_with
from tooling.services import pieces as services
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.pieces import AliasForm, EditPiece, LiftForm, NewPieces
from tooling.web.rows import get_piece


@require_GET
def show_pieces(request: HttpRequest) -> HttpResponse:
    """The search. A text that only one piece answers to leads straight to it."""
    get = request.GET.get
    filters = Filters(
        text=get("q", "").strip(),
        owner=get("owner", ""),
        kind=get("kind", ""),
        condition=get("condition", ""),
        place=get("place", ""),
        unseen=bool(get("unseen")),
    )
    exact = find_exactly(filters.text) if filters.text and "after" not in request.GET else ""
    if exact:
        return redirect("piece", exact)
    found = search_pieces(filters, after=get("after", ""), unit=unit_of(request.user, "mm"))
    context = {
        "found": found,
        "filters": filters,
        "owners": list(Owner.objects.values_list("code", "name").order_by("-is_shop", "name")),
        "kinds": DrawingKind.choices,
        "conditions": Condition.choices,
        "is_narrowed": any((filters.text, filters.owner, filters.kind, filters.condition,
                            filters.place, filters.unseen)),
    }  # fmt: skip
    return render(request, "pieces/list.html", {**context, **rights(request)})


@require_GET
def show_piece(request: HttpRequest, code: str) -> HttpResponse:
    """One piece: what and where it is, its sizes, and its whole history."""
    piece = piece_page(code)
    context = {
        "piece": piece,
        "history": piece_history(piece.code, after=request.GET.get("after", "")),
        "is_older": "after" in request.GET,
        "lift_form": LiftForm(),
        "hold": hold_part(
            code=piece.code,
            is_held=piece.is_held,
            by=request.user,
            changed=request.GET.get("changed", ""),
        ),
        "alias_form": AliasForm(),
        "side": owner_side(piece.code, at=timezone.now()),
        "pictures": pictures_of_piece(piece.code),
        "came": came_with(piece.code),
        "keeping": piece_keeping(piece.code, at=timezone.now()),
        "spot": piece_spot(piece.id),
    }
    return render(request, "pieces/piece.html", {**context, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_pieces(request: HttpRequest) -> HttpResponse:
    """Make N pieces of a drawing; ``?drawing=`` and ``?place=`` fill the form."""
    require(request, Verb.EDIT_RECORDS)
    drawing, place = request.GET.get("drawing", ""), request.GET.get("place", "")
    initial = {
        "drawing": drawing,
        "place": place,
        "owner": Owner.objects.filter(is_shop=True).first(),
    }
    unit = unit_of(request.user, _drawn_in(request.POST.get("drawing", drawing)))
    form = NewPieces(data_of(request), unit=unit, initial=initial)

    def save(values: dict[str, Any]) -> list[Piece]:
        revision = values.pop("drawing").revisions.select_related("drawing").get(is_current=True)
        return services.create_pieces(**signed(request), revision=revision, **values)

    def done(made: list[Piece]) -> tuple[str, str]:
        sentence = ngettext("{n} piece made: {codes}.", "{n} pieces made: {codes}.", len(made))
        codes = made[0].code if len(made) == 1 else f"{made[0].code} – {made[-1].code}"
        url = reverse("piece", args=[made[0].code])
        if len(made) > 1:
            url = f"{reverse('pieces')}?q={made[0].drawing.number}"
        return url, sentence.format(n=len(made), codes=codes)

    return fill_in(request, form, template="pieces/new.html", save=save, done=done)


def _drawn_in(number: str) -> str:
    try:
        revision = find_drawing(number).revisions.filter(is_current=True).first()
    except ToolingError:
        return "mm"
    return revision.unit if revision else "mm"


@require_http_methods(["GET", "POST"])
def edit_piece(request: HttpRequest, code: str) -> HttpResponse:
    """Change what an edit may change."""
    require(request, Verb.EDIT_RECORDS)
    piece = get_piece(code)
    form = EditPiece(data_of(request), piece=piece, unit=unit_of(request.user, piece.unit))
    return fill_in(
        request,
        form,
        template="pieces/edit.html",
        save=lambda values: services.edit_piece(**signed(request), piece=piece, **values),
        done=lambda row: (reverse("piece", args=[row.code]), _("Saved.")),
        piece=piece,
    )


@require_POST
def add_alias(request: HttpRequest, code: str) -> HttpResponse:
    """A further old number."""
    require(request, Verb.EDIT_RECORDS)
    piece = get_piece(code)
    return fill_in(
        request,
        AliasForm(request.POST),
        template="pieces/hold.html",
        save=lambda values: services.add_alias(**signed(request), piece=piece, **values),
        done=lambda row: (reverse("piece", args=[code]), _("Old number kept.")),
        piece=piece,
    )


@require_POST
def remove_alias(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """An old number that was never this piece's."""
    alias = PieceAlias.objects.select_related("piece").filter(pk=number, piece__code=code).first()
    if alias is not None:
        services.remove_alias(**signed(request), alias=alias)
    return redirect("piece", code)
