"""Counts of pooled stock: receive, make, move, use up, scrap, count. Never below nothing.

A line's count is the sum of its rows that nothing corrects: what it received and made, plus what
was moved to it, less what left it, plus the differences that counts found.
"""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.db.models import F
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import ApprovalKind, How, Movement, Person, Place, StockLine, What
from tooling.permissions import Verb, check_can
from tooling.services import lost_and_found, staging
from tooling.services.codes import next_codes
from tooling.services.due_back import USUAL, Departure, DueOn, note_departures
from tooling.services.movements import Stamp, check_place_is_used, row
from tooling.services.owner_gate import check_line, check_may_leave, raise_first
from tooling.services.owner_reports import settle_slip
from tooling.services.stock_staging import check_may_come, kit_into
from tooling.services.write import lock, writing

COMES_IN = (What.RECEIVE, What.MAKE, What.COUNT)
GOES_OUT = (What.USE_UP, What.SCRAP)
MAY_PUT_RIGHT: dict[str, Verb] = {What.MOVE: Verb.MOVE_PIECES, What.USE_UP: Verb.USE_STOCK}
"""Who may take back a row of this kind; the rest is for those who change counts."""


def receive(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    quantity: int,
    note: str = "",
    id: uuid.UUID | None = None,
) -> Movement:
    """Pieces came into the shop. Raises NotAllowed, ``absurd_quantity``."""
    check_can(by, Verb.COUNT_STOCK)
    return _change(by=by, at=at, line=line, what=What.RECEIVE, quantity=quantity, note=note, id=id)


def make(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    quantity: int,
    note: str = "",
    id: uuid.UUID | None = None,
) -> Movement:
    """The shop made some. Raises NotAllowed, ``absurd_quantity``."""
    check_can(by, Verb.COUNT_STOCK)
    return _change(by=by, at=at, line=line, what=What.MAKE, quantity=quantity, note=note, id=id)


def use_up(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    quantity: int,
    note: str = "",
    id: uuid.UUID | None = None,
) -> Movement:
    """Some are gone in use: shims that stay in the stack, keys that broke. Raises NotAllowed,
    ``stock_short``, ``absurd_quantity``."""
    check_can(by, Verb.USE_STOCK)
    return _change(by=by, at=at, line=line, what=What.USE_UP, quantity=quantity, note=note, id=id)


def scrap(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    quantity: int,
    note: str = "",
    id: uuid.UUID | None = None,
) -> Movement:
    """Some were thrown away. Raises NotAllowed, ``stock_short``, ``absurd_quantity``,
    ``owner_approval_missing``."""
    check_can(by, Verb.COUNT_STOCK)
    owned = StockLine.objects.select_related("owner", "drawing").get(pk=line.pk)
    check_line(line=owned, kind=ApprovalKind.SCRAP, at=at)
    return _change(by=by, at=at, line=line, what=What.SCRAP, quantity=quantity, note=note, id=id)


def count(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    counted: int,
    note: str = "",
    id: uuid.UUID | None = None,
) -> Movement:
    """So many are really there; the row carries the difference, which may be nothing.

    Raises NotAllowed, ``absurd_quantity`` for a count below 0.
    """
    check_can(by, Verb.COUNT_STOCK)
    if not 0 <= counted <= MOST:
        raise _absurd(counted)
    with writing():
        lock(stock={line.pk})
        fresh = StockLine.objects.get(pk=line.pk)
        added = row(
            stamp=Stamp.of(at),
            by=by,
            how=How.COUNT,
            id=id,
            what=What.COUNT,
            stock=fresh,
            quantity=counted - fresh.count,
            to_id=fresh.place_id,
            note=note,
            scan=id,
        )
        added.save(force_insert=True)
        apply(line=fresh, difference=added.quantity, seen_at=at)
        _tell_kits(by=by, at=at, line=fresh)
        lost_and_found.after_stock(by=by, at=at, line=fresh, quantity=-added.quantity, to=None)
    return added


def move(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    quantity: int,
    to: Place,
    how: str = How.TICK,
    stamp: Stamp | None = None,
    id: uuid.UUID | None = None,
    due_on: DueOn = USUAL,
    **fields: Any,
) -> Movement:
    """Move some of a line to another place, to that place's own line of the same drawing.
    ``due_on`` matters where it is away.

    Raises NotAllowed, ``stock_short``, ``absurd_quantity``, ``place_not_used``,
    ``already_there``, ``owner_approval_missing``; into a kit also ``piece_held`` and
    ``piece_not_fit``.
    """
    check_can(by, Verb.MOVE_PIECES)
    check_place_is_used(to)
    _check_quantity(quantity)
    with writing():
        lock(places={to.pk}, stock={line.pk})
        line = StockLine.objects.select_related("drawing", "place", "owner").get(pk=line.pk)
        if line.place_id == to.pk:
            raise Conflict(
                "already_there",
                _("{drawing} of bin {label} already lies in {place}."),
                drawing=line.drawing.number,
                label=line.code,
                place=to.path_name or to.name,
            )
        stamp = stamp or Stamp.of(at)
        _kept, kept = check_may_leave(pieces=(), lines=[line.pk], to=to, at=stamp.effective_at)
        raise_first(kept.values())
        kit = kit_into(to=to, kit=fields.get("kit"))
        if kit is not None:
            check_may_come(line=line, kit=kit)
        target = line_at(like=line, place=to)
        added = row(
            stamp=stamp,
            by=by,
            how=how,
            id=id,
            what=What.MOVE,
            stock=line,
            stock_to=target,
            quantity=quantity,
            from_seen_id=line.place_id,
            to=to,
            **fields,
        )
        added.save(force_insert=True)
        apply(line=line, difference=-quantity, seen_at=added.effective_at)
        apply(line=target, difference=quantity, seen_at=added.effective_at)
        gone = Departure(added.uuid, to, added.effective_at, due_on, reason=added.note)
        note_departures(by=by, at=at, departures=[gone])
        moved = staging.StockMoved(line.pk, target.pk, quantity, added.kit_id)
        staging.after_stock_moves(by=by, at=at, moves=[moved])
        lost_and_found.after_stock(by=by, at=at, line=line, quantity=quantity, to=to)
    return added


def line_at(*, like: StockLine, place: Place) -> StockLine:
    """The place's line of the same drawing, condition and owner; made, with a bin code, if new."""
    same = {
        "drawing_id": like.drawing_id,
        "condition": like.condition,
        "owner_id": like.owner_id,
        "place": place,
    }
    found = StockLine.objects.filter(**same).first()
    return found or StockLine.objects.create(code=next_codes(kind="B")[0], **same)


def apply(*, line: StockLine, difference: int, seen_at: datetime) -> None:
    """Change the derived count by the difference; raise ``stock_short`` below nothing."""
    enough = StockLine.objects.filter(pk=line.pk, count__gte=-difference)
    if not enough.update(count=F("count") + difference):
        fresh = StockLine.objects.select_related("drawing", "place").get(pk=line.pk)
        raise Conflict(
            "stock_short",
            _("Only {count} of {drawing} are in {place}, not {wanted}. Count the bin, then "
              "write down what is really there."),
            count=fresh.count,
            drawing=fresh.drawing.number,
            place=fresh.place.path_name or fresh.place.name,
            wanted=-difference,
        )  # fmt: skip
    StockLine.objects.filter(pk=line.pk, seen_at=None).update(seen_at=seen_at)
    StockLine.objects.filter(pk=line.pk, seen_at__lt=seen_at).update(seen_at=seen_at)


def correct_stock(
    *, by: Person, at: datetime, wrong: Movement, right: Movement, to: Place | None
) -> None:
    """Save the correcting row of a stock row: as if it had not been, or moved to ``to`` instead.

    What only some may write down only they put right. Raises NotAllowed.
    """
    check_can(by, MAY_PUT_RIGHT.get(wrong.what, Verb.COUNT_STOCK))
    source = StockLine.objects.select_related("drawing", "place").get(movements=wrong)
    goes_elsewhere = to is not None and wrong.what == What.MOVE and to.pk != source.place_id
    undone = effects(wrong)
    if goes_elsewhere and to is not None:
        right.what, right.quantity = What.MOVE, wrong.quantity
        right.stock_to, right.to = line_at(like=source, place=to), to
    elif wrong.corrects is not None:
        again = wrong.corrects
        right.what, right.quantity, right.stock_to = again.what, again.quantity, again.stock_to
        right.to = again.to
    else:
        right.what, right.quantity, right.to = What.COUNT, 0, source.place
    lock(stock=set(undone) | set(effects(right)))
    right.save(force_insert=True)
    for pk, difference in effects(right).items():
        undone[pk] = undone.get(pk, 0) - difference
    for pk, difference in sorted(undone.items(), key=lambda item: item[1]):
        apply(line=StockLine.objects.get(pk=pk), difference=-difference, seen_at=at)
    if wrong.stock_to_id is not None:
        back = staging.StockMoved(wrong.stock_to_id, source.pk, wrong.quantity, None)
        staging.after_stock_moves(by=by, at=at, moves=[back])
    if right.stock_to_id is not None:
        anew = staging.StockMoved(source.pk, right.stock_to_id, right.quantity, right.kit_id)
        staging.after_stock_moves(by=by, at=at, moves=[anew])
    settle_slip(by=by, at=at, opened_at=wrong.received_at, lines=[source.pk])


def effects(movement: Movement) -> dict[int, int]:
    """What a row does to the counts of which lines."""
    if movement.stock_id is None:
        return {}
    if movement.what in COMES_IN:
        return {movement.stock_id: movement.quantity}
    gone = {movement.stock_id: -movement.quantity}
    if movement.stock_to_id is not None:
        gone[movement.stock_to_id] = movement.quantity
    return gone


MOST = 1_000_000


def _check_quantity(quantity: int) -> None:
    if not 1 <= quantity <= MOST:
        raise _absurd(quantity)


def _absurd(quantity: int) -> ToolingError:
    return ToolingError(
        "absurd_quantity",
        _("{quantity} cannot be a number of pieces here. Write a whole number from 1 to {most}; "
          "a count may be 0."),
        quantity=quantity,
        most=MOST,
    )  # fmt: skip


def _change(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    what: What,
    quantity: int,
    note: str,
    id: uuid.UUID | None,
) -> Movement:
    _check_quantity(quantity)
    with writing():
        lock(stock={line.pk})
        added = row(
            stamp=Stamp.of(at),
            by=by,
            how=How.TYPED,
            id=id,
            what=what,
            stock=line,
            quantity=quantity,
            to_id=line.place_id if what in COMES_IN else None,
            from_seen_id=line.place_id if what in GOES_OUT else None,
            note=note,
            scan=id,
        )
        added.save(force_insert=True)
        apply(line=line, difference=-quantity if what in GOES_OUT else quantity, seen_at=at)
        _tell_kits(by=by, at=at, line=line)
    return added


def _tell_kits(*, by: Person, at: datetime, line: StockLine) -> None:
    """The count changed where it lies: what is staged of it may have, too."""
    here = staging.StockMoved(line.pk, line.pk, 0, None)
    staging.after_stock_moves(by=by, at=at, moves=[here])
