"""Many things moved as one act: they share the id of the scan or tick that moved them, so one
undo puts all of them back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from tooling.errors import ToolingError
from tooling.models import Kit, Person, Place
from tooling.services import staging
from tooling.services.due_back import USUAL, Departure, DueOn, note_departures
from tooling.services.movements import (
    PieceNow,
    PieceRow,
    Stamp,
    add_piece_rows,
    lock_pieces,
    piece_row,
    pieces_now,
)
from tooling.services.scan_moves import that_hold


@dataclass(frozen=True)
class Act:
    """What one act says of each of its rows. ``scan`` is its id and that of its first row."""

    by: Person
    at: datetime
    stamp: Stamp
    how: str
    scan: uuid.UUID
    kit: Kit | None = None
    sees: bool = True
    code_read: str = ""
    content_hash: str = ""
    due_on: DueOn = USUAL
    note: str = ""

    def row_id(self, number: int) -> uuid.UUID:
        """The id of the act's n-th row, from 0; the same whenever it is asked for."""
        return self.scan if number == 0 else uuid.uuid5(self.scan, str(number))


def move_together(
    *, act: Act, going: Mapping[int, Place], first: int = 0
) -> tuple[list[PieceRow], dict[int, ToolingError]]:
    """Move each piece to its place; the rows written, and why which stayed where it was.

    ``first`` is the number of the act's first row that is written here.
    """
    places = {place.pk: place for place in going.values()}
    lock_pieces(piece_ids=going, places=places.values())
    now = pieces_now(pk__in=list(going))
    moves = _moves(act, going, now)
    refused = staging.check_may_move(moves=moves, at=act.at)
    moves = [move for move in moves if move.piece_id not in refused]
    before = {pk: (piece.place_id, piece.placed_by_id) for pk, piece in now.items()}
    rows = [
        piece_row(
            stamp=act.stamp,
            by=act.by,
            how=act.how,
            id=act.row_id(first + number),
            scan=act.scan,
            piece_id=move.piece_id,
            from_seen_id=move.from_place_id,
            to=going[move.piece_id],
            kit_id=move.kit_id,
            sees=act.sees,
            code_read=act.code_read,
            content_hash=act.content_hash,
            note=act.note,
        )
        for number, move in enumerate(moves)
    ]
    add_piece_rows(rows=rows, now=now)
    note_departures(by=act.by, at=act.at, departures=_departures(act, rows, going, before))
    staging.after_moves(by=act.by, at=act.at, moves=that_hold(moves, now))
    return rows, refused


def _moves(
    act: Act, going: Mapping[int, Place], now: Mapping[int, PieceNow]
) -> list[staging.Moved]:
    kit_id = act.kit.pk if act.kit else None
    then = act.stamp.effective_at
    return [
        staging.Moved(piece.id, piece.place_id, going[piece.id].pk, kit_id, then)
        for piece in now.values()
    ]


def _departures(
    act: Act,
    rows: Sequence[PieceRow],
    going: Mapping[int, Place],
    before: Mapping[int, tuple[int, int | None]],
) -> list[Departure]:
    return [
        Departure(
            movement=row.uuid,
            to=going[row.piece_id],
            moved_at=row.effective_at,
            due_on=act.due_on,
            before=before[row.piece_id][1] if before[row.piece_id][0] == row.to_id else None,
            reason=act.note,
        )
        for row in rows
    ]
