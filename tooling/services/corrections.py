"""Putting a movement right by a further one that names it; nothing is changed or deleted.

The correcting row stands where the corrected one stood in time, so what happened since holds. It
says one of three things: the place that the wrong row should have named; what the wrong row had
itself put right, as it was; or, of a row that put nothing right, that it did not happen. Such a
row names no place of its own, so that what stood before says it, whatever becomes of that later.
"""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import How, Movement, Person, Place, What
from tooling.permissions import Verb, check_can
from tooling.services import staging
from tooling.services.carts import check_may_stand, refold_cart
from tooling.services.due_back import note_corrections
from tooling.services.movements import (
    Stamp,
    check_place_is_used,
    origin,
    pieces_now,
    refold,
    row,
    standing,
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
    """Correct a movement: as if it had not been, or to the place it should name. Undoing what put
    another right brings that one back.

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
    same = Movement.objects.filter(pk=movement.pk)
    if movement.scan is not None:
        same = Movement.objects.filter(received_at=movement.received_at, scan=movement.scan)
    return list(same.select_related("corrects__to").order_by("id"))


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
    held: dict[int | None, list[Movement]] = {}
    for other in standing(piece_id__in=ids, without=[wrong.pk for wrong, _right in pairs]):
        held.setdefault(other.piece_id, []).append(other)
    moves = []
    for wrong, right in pairs:
        piece = now[wrong.piece_id]  # type: ignore[index]
        place = _say(wrong, right, to, others=held.get(piece.id, []), name=piece.name)
        if place != piece.place_id:
            moves.append(staging.Moved(piece.id, piece.place_id, place, None))
    check = staging.check_may_stage if to is None else staging.check_may_move
    for error in check(moves=moves, at=at).values():
        raise error
    Movement.objects.bulk_create(right for _wrong, right in pairs)
    refold(now)
    for wrong, _right in pairs:
        settle_slip(by=by, at=at, opened_at=wrong.received_at, pieces=[wrong.piece_id or 0])
    staging.after_moves(by=by, at=at, moves=moves)


def _correct_cart(
    *, by: Person, at: datetime, wrong: Movement, right: Movement, to: Place | None
) -> None:
    lock(places={wrong.cart_id or 0})
    cart = Place.objects.get(journeys=wrong)
    others = list(standing(cart=cart, without=[wrong.pk]))
    _say(wrong, right, to, others=others, name=cart.name)
    if not right.takes_back and right.to is not None:
        check_may_stand(cart, right.to)
    right.save(force_insert=True)
    refold_cart(by=by, at=at, cart=cart)


def _say(
    wrong: Movement, right: Movement, to: Place | None, *, others: Sequence[Movement], name: str
) -> int:
    """Fill in what the correcting row says; give the id of the place where the thing is with it.

    ``others``: the rows of the same piece or cart that stand besides the wrong one, the newest
    last. Raises ``nothing_before`` for what first entered it.
    """
    restored = wrong.corrects
    right.from_seen_id = wrong.to_id
    if to is not None:
        right.to = to
    elif restored is not None and not restored.takes_back:
        right.to, right.kit_id, right.sees = restored.to, restored.kit_id, restored.sees
    else:
        return _take_back(wrong, right, others=others, name=name)
    assert right.to is not None
    right.what = verb_for(right.to) if wrong.piece_id is not None else What.MOVE
    is_newest = not others or _key(others[-1]) <= _key(right)
    return right.to.pk if is_newest else others[-1].to_id or 0


def _key(row_: Movement) -> tuple[datetime, datetime]:
    return (row_.effective_at, row_.received_at)


def _take_back(wrong: Movement, right: Movement, *, others: Sequence[Movement], name: str) -> int:
    subject = {"piece": wrong.piece_id} if wrong.piece_id is not None else {"cart": wrong.cart_id}
    was_somewhere = wrong.from_seen_id is not None or any(_is_before(e, wrong) for e in others)
    if not was_somewhere and not Movement.objects.filter(**subject, pk__lt=wrong.pk).exists():
        raise Conflict(
            "nothing_before",
            _("Nothing says where {name} was before that. Move it to where it is."),
            name=name,
        )
    right.what, right.quantity = What.COUNT, 0
    right.to_id = others[-1].to_id if others else origin(**subject)
    return right.to_id or 0


def _is_before(row_: Movement, wrong: Movement) -> bool:
    return (*_key(row_), row_.pk) < (*_key(wrong), wrong.pk)
