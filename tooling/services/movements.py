"""Moving pieces: the rows go into the ledger, staging is asked before and told after."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import connection
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, Unknown
from tooling.models import How, Kit, KitPosition, KitState, Movement, Person, Piece, Place
from tooling.permissions import Verb, check_can
from tooling.queries.prepared import Prepared, one_trip
from tooling.queries.scan_lookup import Lookup
from tooling.services import staging
from tooling.services.due_back import USUAL, Departure, DueOn, note_departures
from tooling.services.piece_ledger import (
    PieceNow,
    Stamp,
    add_piece_rows,
    ask_pieces,
    origin,
    piece_row,
    pieces_now,
    refold,
    standing,
    verb_for,
)
from tooling.services.piece_rows import PieceRow
from tooling.services.write import lock, writing

__all__ = [
    "PieceNow",
    "PieceRow",
    "Stamp",
    "add_piece_rows",
    "ask_pieces",
    "check_place_is_used",
    "find_movement",
    "lock_lookup",
    "lock_pieces",
    "move_pieces",
    "moves_of",
    "origin",
    "piece_row",
    "pieces_now",
    "refold",
    "row",
    "standing",
    "verb_for",
]


_CLAIMING = Prepared(
    lambda ids: (
        KitPosition.objects.filter(piece_id__in=ids, is_open=True).order_by().values_list("kit_id")
    )
)
_GATHERING = Prepared(
    lambda codes: (
        Kit.objects.exclude(state=KitState.CLOSED)
        .filter(place__code__in=codes)
        .order_by()
        .values_list("pk")
    )
)


def row(
    *,
    stamp: Stamp,
    by: Person | None,
    how: str,
    id: uuid.UUID | None = None,
    **fields: Any,
) -> Movement:
    """An unsaved movement with its times, device and maker filled in."""
    return Movement(
        uuid=id or uuid.uuid4(),
        device=stamp.device,
        device_sequence=stamp.device_sequence,
        happened_at=stamp.happened_at,
        received_at=stamp.received_at,
        effective_at=stamp.effective_at,
        clock_offset_ms=stamp.clock_offset_ms,
        clock_is_off=stamp.clock_is_off,
        how=how,
        by=by,
        **fields,
    )


def move_pieces(
    *,
    by: Person,
    at: datetime,
    pieces: Iterable[Piece],
    to: Place,
    how: str = How.TICK,
    kit_id: int | None = None,
    note: str = "",
    sees: bool = True,
    due_on: DueOn = USUAL,
) -> list[Movement]:
    """Move pieces to a place as one act: all of them or none. ``due_on`` matters where it is away.

    Raises NotAllowed, ``place_not_used``, or what ``staging.check_may_move`` says of a piece.
    """
    check_can(by, Verb.MOVE_PIECES)
    check_place_is_used(to)
    ids = {piece.pk for piece in pieces}
    with writing():
        lock_pieces(piece_ids=ids, places=[to])
        now = pieces_now(pk__in=ids)
        moves = moves_of(now.values(), to_place_id=to.pk, kit_id=kit_id)
        for error in staging.check_may_move(moves=moves, at=at).values():
            raise error
        placed = {pk: piece.placed_by_id for pk, piece in now.items() if piece.place_id == to.pk}
        rows = [
            piece_row(
                stamp=Stamp.of(at),
                by=by,
                how=how,
                piece_id=piece.id,
                from_seen_id=piece.place_id,
                to=to,
                kit_id=kit_id,
                sees=sees,
                note=note,
            )
            for piece in now.values()
        ]
        add_piece_rows(rows=rows, now=now)
        gone = [Departure(row.uuid, to, at, due_on, placed.get(row.piece_id)) for row in rows]
        note_departures(by=by, at=at, departures=gone)
        staging.after_moves(by=by, at=at, moves=moves)
    return list(Movement.objects.filter(uuid__in=[row.uuid for row in rows]))


def lock_pieces(*, piece_ids: Iterable[int], places: Iterable[Place]) -> None:
    """Hold the pieces and, before them, the open kits that their move can touch."""
    if not connection.features.has_select_for_update:
        return
    ids = set(piece_ids)
    lock(kits=kits_around(piece_ids=ids, places=places), pieces=ids)


def lock_lookup(found: Lookup) -> None:
    """Hold all that a batch of different kinds of scans names, before the first is taken: taken
    one after the other they would be locked in the order of the scans."""
    if not connection.features.has_select_for_update:
        return
    pieces = {*found.pieces.values(), *(pk for each in found.marks.values() for pk in each)}
    places = [*found.places.values(), *(each.place for each in found.stations.values())]
    places += [place for each in found.names.values() for place in each]
    places += [kit.place for kit in found.kits.values() if kit.place is not None]
    lock(
        kits=kits_around(piece_ids=pieces, places=places) | {k.pk for k in found.kits.values()},
        places={place.pk for place in places},
        pieces=pieces,
        stock={line.pk for line in found.stock.values()},
    )


def kits_around(*, piece_ids: Iterable[int], places: Iterable[Place]) -> set[int]:
    """The open kits that moves of these pieces to these places can touch. Two queries."""
    around = {code for place in places for code in place.path.split("/") if code}
    with one_trip():
        claiming, gathering = _CLAIMING.ask(set(piece_ids)), _GATHERING.ask(around)
    return {kit for (kit,) in (*claiming.rows(), *gathering.rows())}


def moves_of(
    pieces: Iterable[PieceNow], *, to_place_id: int, kit_id: int | None = None
) -> list[staging.Moved]:
    """What staging is told when these pieces, as they stand now, go to a place."""
    return [
        staging.Moved(
            piece_id=piece.id,
            from_place_id=piece.place_id,
            to_place_id=to_place_id,
            kit_id=kit_id,
        )
        for piece in pieces
    ]


def check_place_is_used(to: Place) -> None:
    """Raise ``place_not_used`` for a place that the shop gave up."""
    if not to.is_active:
        raise Conflict(
            "place_not_used",
            _("{place} ({label}) is no longer used. Choose another place."),
            place=to.path_name or to.name,
            label=to.code,
        )


def find_movement(scan: uuid.UUID) -> Movement:
    """The movement, or the first row of a whole set, that this scan made.

    Raises Unknown ``unknown_scan``.
    """
    found = Movement.objects.filter(uuid=scan).first()
    if found is None:
        raise Unknown(
            "unknown_scan",
            _("No movement came from the scan {scan}, so there is nothing to put right."),
            scan=scan,
        )
    return found
