"""Scans of all else than single labels: marks, stock, carts, whole sets, kits, corrections."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext as _count

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import (
    AWAY_KINDS,
    Kit,
    KitPosition,
    Movement,
    Person,
    Place,
    PlaceKind,
    StockLine,
    ToolSet,
)
from tooling.queries.scan_lookup import Lookup, Target
from tooling.services import staging, stock
from tooling.services.carts import move_cart
from tooling.services.corrections import undo
from tooling.services.movements import (
    Stamp,
    add_piece_rows,
    find_movement,
    lock_pieces,
    moves_of,
    piece_row,
    pieces_now,
)
from tooling.services.paper_sets import copy_named, unfold
from tooling.services.scan_moves import Aimed, ScanIn, Taken, aim, take_wave, that_hold

STAYS_AWAY = (*AWAY_KINDS, PlaceKind.LOST, PlaceKind.SCRAP)
"""A whole set that is put somewhere does not bring back what is at the grinder or lost."""


def take_one(*, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, lookup: Lookup) -> Taken:
    """Take a scan that is no plain piece by its label: a mark, stock, cart, set, kit, correction.

    Raises whatever forbids it.
    """
    if scan.corrects is not None:
        return _correct(by=by, at=at, scan=scan, stamp=stamp, lookup=lookup)
    target = aim(scan, lookup)
    subject = lookup.subject(scan.code, kit=target.kit)
    if isinstance(subject, int):
        return _take_by_mark(by=by, at=at, each=Aimed(scan, stamp, target, subject))
    if isinstance(subject, StockLine):
        return _take_stock(by=by, at=at, scan=scan, stamp=stamp, line=subject, target=target)
    if isinstance(subject, Place):
        moved = move_cart(by=by, at=at, cart=subject, to=target.place, how=scan.how, stamp=stamp,
                          **_named(scan))  # fmt: skip
        return _is_now(subject.name, moved.to or target.place)
    if isinstance(subject, ToolSet):
        return _take_set(by=by, at=at, scan=scan, stamp=stamp, tool_set=subject, target=target)
    return _take_kit(by=by, at=at, scan=scan, stamp=stamp, kit=subject, target=target)


def _named(scan: ScanIn) -> dict[str, Any]:
    return {
        "id": scan.id,
        "scan": scan.id,
        "code_read": scan.code[:60],
        "content_hash": scan.content_hash,
    }


def _is_now(what: str, place: Place) -> Taken:
    said = _now("{what} is in {place}.")
    return Taken(said.format(what=what, place=place.path_name or place.name), place)


def _take_by_mark(*, by: Person, at: datetime, each: Aimed) -> Taken:
    lock_pieces(piece_ids=[each.piece_id], places=[each.target.place])
    now = pieces_now(pk=each.piece_id)
    [(_scan, outcome)] = take_wave(by=by, at=at, wave=[each], now=now)
    if isinstance(outcome, ToolingError):
        raise outcome
    return outcome


def _take_stock(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, line: StockLine, target: Target
) -> Taken:
    """Into a kit go as many as it still wants of this bin; elsewhere all that is in it."""
    quantity = scan.quantity
    kit_id = target.kit.pk if target.kit else None
    if quantity is None and kit_id is not None:
        wanted = KitPosition.objects.filter(kit_id=kit_id, stock_line=line, is_staged=False)
        quantity = wanted.count()
        if quantity == 0:
            raise Conflict(
                "wrong_position",
                _("{drawing} from bin {label} belongs in {place}; kit {kit} wants none of it, or "
                  "has them already."),
                drawing=line.drawing.number,
                label=line.code,
                place=line.place.path_name or line.place.name,
                kit=target.kit,
                kit_id=kit_id,
            )  # fmt: skip
    elif quantity is None:
        quantity = max(line.count, 1)
    stock.move(by=by, at=at, line=line, quantity=quantity, to=target.place, how=scan.how,
               stamp=stamp, kit=target.kit, **_named(scan))  # fmt: skip
    said = _count("{count} of {what} is in {place}.", "{count} of {what} are in {place}.", quantity)
    where = target.place.path_name or target.place.name
    return Taken(said.format(count=quantity, what=line.drawing.number, place=where), target.place)


def _take_set(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, tool_set: ToolSet, target: Target
) -> Taken:
    """A whole copy at once; what is away, lost or bound to another kit stays where it is."""
    copies = list(tool_set.copies.order_by("letter"))
    copy = copy_named(scan.code, copies)
    if copy is None:
        raise Conflict(
            "which_copy",
            _("Set {set} has the copies {letters}. Type the copy's letter after the code, such "
              "as {example}, or scan its pieces."),
            set=tool_set.number,
            letters=", ".join(copy.letter for copy in copies) or "-",
            example=f"{tool_set.code}-{copies[0].letter if copies else 'A'}",
        )  # fmt: skip
    if copy.from_paper_count is not None:
        unfold(by=by, at=at, copy=copy)
    pieces = {
        "allotments__copy": copy,
    }
    name = f"{tool_set.number}-{copy.letter}"
    return _take_many(by=by, at=at, scan=scan, stamp=stamp, where=pieces, target=target, name=name)


def _take_kit(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, kit: Kit, target: Target
) -> Taken:
    """The kit's own cart or plate moves; from pegs, the pieces that are staged there."""
    if kit.place is not None and kit.place.moves:
        moved = move_cart(by=by, at=at, cart=kit.place, to=target.place, how=scan.how,
                          stamp=stamp, **_named(scan))  # fmt: skip
        return _is_now(kit.place.name, moved.to or target.place)
    pieces = {"kit_positions__kit": kit, "kit_positions__is_staged": True}
    return _take_many(by=by, at=at, scan=scan, stamp=stamp, where=pieces, target=target,
                      name=kit.number)  # fmt: skip


def _take_many(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, where: dict[str, Any],
    target: Target, name: str,
) -> Taken:  # fmt: skip
    away = dict(pieces_now(**where, place__kind__in=STAYS_AWAY))
    there = pieces_now(**where)
    going = {pk: piece for pk, piece in there.items() if pk not in away}
    lock_pieces(piece_ids=going, places=[target.place])
    now = {pk: piece for pk, piece in pieces_now(pk__in=list(going)).items() if pk in going}
    kit_id = target.kit.pk if target.kit else None
    moves = moves_of(now.values(), to_place_id=target.place.pk, kit_id=kit_id)
    refused = staging.check_may_stage(moves=moves, at=at)
    moves = [move for move in moves if move.piece_id not in refused]
    if not moves:
        raise next(iter(refused.values()), None) or Conflict(
            "nothing_to_move",
            _("No piece of {name} is where it could be moved from. Look at its page for where "
              "each piece is."),
            name=name,
        )  # fmt: skip
    rows = [
        piece_row(
            stamp=stamp,
            by=by,
            how=scan.how,
            id=scan.id if number == 0 else uuid.uuid5(scan.id, str(number)),
            scan=scan.id,
            piece_id=move.piece_id,
            from_seen_id=move.from_place_id,
            to=target.place,
            kit_id=kit_id,
            sees=False,
            code_read=scan.code[:60],
            content_hash=scan.content_hash,
        )
        for number, move in enumerate(moves)
    ]
    add_piece_rows(rows=rows, now=now)
    staging.after_moves(by=by, at=at, moves=that_hold(moves, now))
    return Taken(_said_many(len(moves), name, target.place, len(there) - len(moves)), target.place)


def _said_many(moved: int, name: str, place: Place, stayed: int) -> str:
    said = _count(
        "{count} piece of {name} is in {place}.", "{count} pieces of {name} are in {place}.", moved
    ).format(count=moved, name=name, place=place.path_name or place.name)
    if not stayed:
        return said
    rest = _count(
        "{count} is away or bound elsewhere and stays there.",
        "{count} are away or bound elsewhere and stay there.",
        stayed,
    )
    return f"{said} {rest.format(count=stayed)}"


def _correct(*, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, lookup: Lookup) -> Taken:
    """Put an earlier scan right: back to before it or, when a place is named, there instead."""
    assert scan.corrects is not None
    wrong = find_movement(scan.corrects)
    _check_same_subject(scan, wrong, lookup)
    to = None if _means_undo(scan, wrong) else aim(scan, lookup).place
    right = undo(
        by=by,
        at=at,
        movement=wrong,
        to=to,
        how=scan.how,
        stamp=stamp,
        scan=scan.id,
        code_read=scan.code[:60],
        content_hash=scan.content_hash,
    )
    place = right[0].to
    assert place is not None
    said = _now("Put right: {what} is back in {place}.") if to is None else _now(
        "Put right: {what} is in {place}.")  # fmt: skip
    what = wrong.code_read or scan.code
    return Taken(said.format(what=what, place=place.path_name or place.name), place)


def _means_undo(scan: ScanIn, wrong: Movement) -> bool:
    """No place, or the very place or kit of the wrong row: not there, but back."""
    to = fold(scan.to)
    theirs = {wrong.to.code if wrong.to else "", wrong.kit.number if wrong.kit else ""}
    return to in {"", *theirs}


def _check_same_subject(scan: ScanIn, wrong: Movement, lookup: Lookup) -> None:
    if not scan.code.strip() or scan.code.strip().upper() == wrong.code_read.strip().upper():
        return
    subject = lookup.subject(scan.code)
    matches = {
        wrong.piece_id if isinstance(subject, int) else None: subject,
        wrong.cart_id if isinstance(subject, Place) else None: getattr(subject, "pk", None),
        wrong.stock_id if isinstance(subject, StockLine) else None: getattr(subject, "pk", None),
    }
    if not any(key is not None and key == value for key, value in matches.items()):
        raise Conflict(
            "corrects_another",
            _("The movement to be put right is of something else than {label}. Open that piece's "
              "history and undo it there."),
            label=scan.code,
        )  # fmt: skip
