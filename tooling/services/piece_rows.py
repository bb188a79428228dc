"""Rows of single pieces written past the ORM, which would spend more on a thousand of them than the
database does.

SQLite prepares a statement once and runs it for each row; PostgreSQL would read and plan it anew
for each row, so there all rows are one statement.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection

from tooling.queries.prepared import hot_cursor

Values = Sequence[tuple[Any, ...]]


@dataclass(slots=True)
class PieceRow:
    """A movement of one piece as it is written; the fields are the table's columns."""

    uuid: UUID
    device_id: UUID | None
    device_sequence: int | None
    happened_at: datetime
    received_at: datetime
    effective_at: datetime
    clock_offset_ms: int
    clock_is_off: bool
    what: str
    piece_id: int
    from_seen_id: int | None
    to_id: int
    how: str
    kit_id: int | None
    by_id: int | None
    scan: UUID | None
    sees: bool
    code_read: str
    content_hash: str
    note: str


COLUMNS = {
    "uuid": "uuid", "device_id": "uuid", "device_sequence": "bigint", "happened_at": "timestamptz",
    "received_at": "timestamptz", "effective_at": "timestamptz", "clock_offset_ms": "bigint",
    "clock_is_off": "boolean", "what": "text", "piece_id": "bigint", "from_seen_id": "bigint",
    "to_id": "bigint", "how": "text", "kit_id": "bigint", "by_id": "bigint", "scan": "uuid",
    "sees": "boolean", "code_read": "text", "content_hash": "text", "note": "text",
}  # fmt: skip
"""A row's columns as ``PieceRow`` has them, with PostgreSQL's types."""


class Placed(NamedTuple):
    """Where a piece is now, since when, and the uuid of the row that says so."""

    place_id: int
    effective_at: datetime | None
    received_at: datetime | None
    row: UUID | None
    seen_at: datetime | None
    piece_id: int


PLACED = {
    "place_id": "bigint", "effective_at": "timestamptz", "received_at": "timestamptz",
    "row_uuid": "uuid", "seen_at": "timestamptz", "piece_id": "bigint",
}  # fmt: skip
SEEN = {"seen_at": "timestamptz", "piece_id": "bigint"}


def insert(rows: Sequence[PieceRow]) -> None:
    """Add these rows to the ledger in their order. One statement."""
    moment, key = _adapters()
    values = [
        (
            key(row.uuid), key(row.device_id), row.device_sequence, moment(row.happened_at),
            moment(row.received_at), moment(row.effective_at), row.clock_offset_ms,
            row.clock_is_off, row.what, row.piece_id, row.from_seen_id, row.to_id, row.how,
            row.kit_id, row.by_id, key(row.scan), row.sees, row.code_read, row.content_hash,
            row.note,
        )
        for row in rows
    ]  # fmt: skip
    into = f"INSERT INTO tooling_movement ({', '.join(COLUMNS)}, quantity)"
    _write(
        values,
        each=f"{into} VALUES ({', '.join(['%s'] * len(COLUMNS))}, 1)",
        together=f"{into} SELECT {', '.join(COLUMNS)}, 1 FROM {_given(COLUMNS)} ORDER BY turn",
    )


def write_placed(pieces: Sequence[Placed]) -> None:
    """Write where these pieces, each once, are now. One statement."""
    moment, key = _adapters()
    values = [
        (
            piece.place_id, moment(piece.effective_at), moment(piece.received_at), key(piece.row),
            moment(piece.seen_at), piece.piece_id,
        )
        for piece in pieces
    ]  # fmt: skip
    _write(
        values,
        each="UPDATE tooling_piece SET place_id = %s, placed_effective_at = %s, "
        "placed_received_at = %s, "
        "placed_by_id = (SELECT id FROM tooling_movement WHERE uuid = %s), seen_at = %s "
        "WHERE id = %s",
        together="UPDATE tooling_piece p SET place_id = given.place_id, "
        "placed_effective_at = given.effective_at, placed_received_at = given.received_at, "
        "placed_by_id = (SELECT m.id FROM tooling_movement m WHERE m.uuid = given.row_uuid), "
        f"seen_at = given.seen_at FROM {_given(PLACED)} WHERE p.id = given.piece_id",
    )


def write_seen(sights: Sequence[tuple[datetime | None, int]]) -> None:
    """Write when pieces, (moment, piece id), were last seen. One statement."""
    moment, _key = _adapters()
    _write(
        [(moment(when), piece) for when, piece in sights],
        each="UPDATE tooling_piece SET seen_at = %s WHERE id = %s",
        together="UPDATE tooling_piece p SET seen_at = given.seen_at "
        f"FROM {_given(SEEN)} WHERE p.id = given.piece_id",
    )


def _given(columns: dict[str, str]) -> str:
    """PostgreSQL's table of one array for each column."""
    arrays = ", ".join(f"%s::{kind}[]" for kind in columns.values())
    return f"unnest({arrays}) WITH ORDINALITY AS given ({', '.join(columns)}, turn)"


def _write(values: Values, *, each: str, together: str) -> None:
    if not values:
        return
    with hot_cursor(connection) as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(together, [list(column) for column in zip(*values, strict=True)])
        else:
            cursor.executemany(each, values)


def _adapters() -> tuple[Callable[[datetime | None], Any], Callable[[UUID | None], Any]]:
    """How this database takes a time and a uuid; a batch has few different times."""
    moment = lru_cache(maxsize=4096)(connection.ops.adapt_datetimefield_value)
    if connection.features.has_native_uuid_field:
        return moment, lambda value: value
    return moment, lambda value: value.hex if value is not None else None
