"""Putting a movement right by a further one that names it; nothing is changed or deleted.

The correcting row stands where the corrected one stood in time, so what happened since holds.
"""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import How, Movement, Person, Place, What
from tooling.permissions import Verb, check_can
from tooling.services import staging
from tooling.services.carts import check_may_stand, refold_cart
from tooling.services.due_back import note_corrections
from tooling.services.movements import (
    PieceNow,
    Stamp,
    check_place_is_used,
    pieces_now,
    refold,
    row,
    verb_for,
)
from tooling.services.owner_reports import settle_slip
from tooling.services.stock import correct_stock
from tooling.services.write import lock, writing

NAMESPACE = uuid.UUID("5a4f1f2e-6a3e-5d0c-9d2b-3f3a1b6c7d8e")


def undo(
    *,
    by: Person,
    at: datetime,
    movement: Movement,
    to: Place | None = None,
    how: str = How.TICK,
    stamp: Stamp | None = None,
    scan: uuid.UUID | None = None,
    code_read: str = "",
    content_hash: str = "",
) -> list[Movement]:
    """Correct a movement: back to where things were before it, or to the place it should name.

    What one scan or tick moved together is put right as a whole. Raises NotAllowed,
    ``already_corrected``, ``nothing_before``, and what a move to that place may raise.
    """
    check_can(by, Verb.MOVE_PIECES)
    scan = scan or uuid.uuid4()
    with writing():
        wrong = _rows_of_the_same_scan(movement)
        _check_not_corrected(wrong)
        if to is not None:
            check_place_is_used(to)
        stamp = dataclasses.replace(stamp or Stamp.of(at), effective_at=movement.effective_at)
        right = [
            row(
                stamp=stamp,
                by=by,
                how=how,
                id=scan if number == 0 else uuid.uuid5(scan, str(number)),
                scan=scan,
                what=each.what,
                corrects=each,
                code_read=code_read,
                content_hash=content_hash,
                piece_id=each.piece_id,
                cart_id=each.cart_id,
                stock_id=each.stock_id,
                kit_id=None,
                sees=to is not None and each.sees,
            )
            for number, each in enumerate(wrong)
        ]
        _correct(by=by, at=at, wrong=wrong, right=right, to=to)
        note_corrections(by=by, at=at, rows=right)
    return right


def _correct(
    *, by: Person, at: datetime, wrong: Sequence[Movement], right: Sequence[Movement],
    to: Place | None,
) -> None:  # fmt: skip
    """The pieces together, then each cart and each count by itself."""
    pairs = list(zip(wrong, right, strict=True))
    pieces = [pair for pair in pairs if pair[0].piece_id is not None]
    if pieces:
        _correct_pieces(by=by, at=at, pairs=pieces, to=to)
    for each, row_ in pairs:
        if each.cart_id is not None:
            _correct_cart(by=by, at=at, wrong=each, right=row_, to=to)
        elif each.stock_id is not None:
            correct_stock(by=by, at=at, wrong=each, right=row_, to=to)


def _rows_of_the_same_scan(movement: Movement) -> list[Movement]:
    if movement.scan is None:
        return [movement]
    same = Movement.objects.filter(received_at=movement.received_at, scan=movement.scan)
    return list(same.order_by("id"))


def _check_not_corrected(rows: Sequence[Movement]) -> None:
    if Movement.objects.filter(corrects__in=[row.pk for row in rows]).exists():
        raise Conflict(
            "already_corrected",
            _("That movement was already put right. Look at the piece's history, and move it "
              "from where it is now."),
        )  # fmt: skip


def _correct_pieces(
    *,
    by: Person,
    at: datetime,
    pairs: Sequence[tuple[Movement, Movement]],
    to: Place | None,
) -> None:
    ids = {wrong.piece_id for wrong, _right in pairs if wrong.piece_id is not None}
    lock(pieces=ids)
    now = pieces_now(pk__in=ids)
    moves = []
    for each, row_ in pairs:
        piece = now[each.piece_id]  # type: ignore[index]
        place = to or _place_before(each, piece)
        row_.to, row_.what, row_.from_seen_id = place, verb_for(place), each.to_id
        if piece.placed_by_id == each.pk and place.pk != piece.place_id:
            moves.append(staging.Moved(piece.id, piece.place_id, place.pk, None))
    check = staging.check_may_stage if to is None else staging.check_may_move
    for error in check(moves=moves, at=at).values():
        raise error
    Movement.objects.bulk_create(row_ for _wrong, row_ in pairs)
    refold(now)
    for each, _row in pairs:
        settle_slip(by=by, at=at, opened_at=each.received_at, pieces=[each.piece_id or 0])
    staging.after_moves(by=by, at=at, moves=moves)


def _place_before(wrong: Movement, piece: PieceNow) -> Place:
    """Where the piece was before the wrong row; for a correction, what it had corrected."""
    if wrong.corrects is not None and wrong.corrects.to is not None:
        return wrong.corrects.to
    earlier = Movement.objects.filter(_before(wrong), piece_id=piece.id, corrected_by=None)
    return _first_place(earlier.order_by("-effective_at", "-received_at", "-id"), wrong, piece.name)


def _before(wrong: Movement) -> Q:
    same = Q(effective_at=wrong.effective_at)
    return (
        Q(effective_at__lt=wrong.effective_at)
        | (same & Q(received_at__lt=wrong.received_at))
        | (same & Q(received_at=wrong.received_at, pk__lt=wrong.pk))
    )


def _first_place(earlier: object, wrong: Movement, name: str) -> Place:
    found = earlier.select_related("to").first()  # type: ignore[attr-defined]
    place = found.to if found is not None else wrong.from_seen
    if place is None:
        raise Conflict(
            "nothing_before",
            _("Nothing says where {name} was before that. Move it to where it is."),
            name=name,
        )
    return place


def _correct_cart(
    *, by: Person, at: datetime, wrong: Movement, right: Movement, to: Place | None
) -> None:
    cart = Place.objects.get(journeys=wrong)
    lock(places={cart.pk})
    if to is None and wrong.corrects is not None:
        to = wrong.corrects.to
    if to is None:
        earlier = Movement.objects.filter(_before(wrong), cart=cart, corrected_by=None)
        ordered = earlier.order_by("-effective_at", "-received_at", "-id")
        to = _first_place(ordered, wrong, cart.name)
    check_may_stand(cart, to)
    right.to, right.what, right.from_seen_id = to, What.MOVE, wrong.to_id
    right.save(force_insert=True)
    refold_cart(by=by, at=at, cart=cart)
