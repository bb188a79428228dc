"""Pieces made to an older revision of their drawing: taken as they are, reworked, scrapped."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import (
    DIMENSIONS,
    Drawing,
    DrawingRevision,
    Person,
    Piece,
    Place,
    PlaceKind,
    Work,
    WorkKind,
)
from tooling.permissions import Verb, check_can
from tooling.queries.old_pieces import lies_in_no_scrap
from tooling.services.edits import apply_edit
from tooling.services.movements import move_pieces
from tooling.services.touched import touch_kits_of
from tooling.services.work import record_work
from tooling.services.write import lock, writing


def use_as_is(
    *, by: Person, at: datetime, drawing: Drawing, pieces: Sequence[Piece], reason: str = ""
) -> int:
    """Take pieces to older revisions as good for the current one, as they are. How many.

    A size that nobody measured and that is drawn otherwise now is written down as made, so that
    the piece keeps the size it has. Raises ``other_drawing``, ``not_an_old_piece``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        lock(pieces=[piece.pk for piece in pieces])
        current = drawing.revisions.get(is_current=True)
        fresh = _old(pieces, drawing)
        for piece in fresh:
            apply_edit(
                by=by,
                at=at,
                row=piece,
                key=piece.code,
                fields={"revision": current, **kept_sizes(piece, current)},
                what="used as it is",
                reason=reason.strip()[:400],
            )
        touch_kits_of(pieces=[piece.pk for piece in fresh], drawings=[drawing.pk])
    return len(fresh)


def use_all_as_is(*, by: Person, at: datetime, drawing: Drawing, reason: str = "") -> int:
    """The same of every piece of the drawing that is to an older revision and not scrapped."""
    old = Piece.objects.filter(lies_in_no_scrap(), drawing=drawing, revision__is_current=False)
    return use_as_is(by=by, at=at, drawing=drawing, pieces=list(old), reason=reason)


def reworked(*, by: Person, at: datetime, drawing: Drawing, pieces: Sequence[Piece]) -> list[Work]:
    """Their recontour to the current revision was done today. Raises as ``record_work``, and
    ``other_drawing``, ``not_an_old_piece``."""
    day = timezone.localtime(at).date()
    with writing():
        return [
            record_work(by=by, at=at, piece=piece, kind=WorkKind.RECONTOUR, done_on=day)
            for piece in _old(pieces, drawing)
        ]


def scrapped(*, by: Person, at: datetime, drawing: Drawing, pieces: Sequence[Piece]) -> Place:
    """They went to the scrap, for what the newer revision says. Raises ``no_scrap_place``,
    ``other_drawing``, ``not_an_old_piece`` and what moving them raises."""
    check_can(by, Verb.EDIT_RECORDS)
    old = _old(pieces, drawing)
    place = Place.objects.filter(kind=PlaceKind.SCRAP, is_active=True).first()
    if place is None:
        raise Conflict(
            "no_scrap_place",
            _("The shop has no place for scrap yet. Make one under Shop, Places, then say so "
              "again."),
        )  # fmt: skip
    note = str(_("to an older revision of {drawing}")).format(drawing=drawing.number)
    move_pieces(by=by, at=at, pieces=old, to=place, note=note[:200])
    return place


def kept_sizes(piece: Piece, current: DrawingRevision) -> dict[str, Any]:
    """Sizes as drawn before that the current revision draws otherwise and nobody wrote down."""
    found = {}
    for name in DIMENSIONS:
        drawn = getattr(piece.revision, f"{name}_nm")
        known = getattr(piece, f"made_{name}_nm") is not None
        if drawn is not None and not known and drawn != getattr(current, f"{name}_nm"):
            found[f"made_{name}_nm"] = drawn
    return found


def _old(pieces: Sequence[Piece], drawing: Drawing) -> list[Piece]:
    """The pieces as they are now, if they are old ones of the drawing."""
    rows = Piece.objects.filter(pk__in=[piece.pk for piece in pieces]).order_by("code")
    fresh = list(rows.select_related("revision__drawing", "drawing"))
    for piece in fresh:
        _check_old(piece, drawing)
    return fresh


def _check_old(piece: Piece, drawing: Drawing) -> None:
    if piece.drawing_id != drawing.pk:
        raise Conflict(
            "other_drawing",
            _("{code} is not made to {drawing}."),
            code=piece.code,
            drawing=drawing.number,
        )
    if piece.revision.is_current:
        raise Conflict(
            "not_an_old_piece",
            _("{code} is to the current revision already. Load the page again."),
            code=piece.code,
        )
