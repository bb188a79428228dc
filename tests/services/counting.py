"""Short ways for tests to count."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from tests.world import World
from tooling.models import Count, Person, Piece, Place, StockLine
from tooling.queries.count_state import state_of
from tooling.services import count_close, count_entries, counts
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import ScanResult

PHONE = "6a1d9c9e-2f6b-4b39-8d43-0a4f1f0f6a02"
MINUTE = timedelta(minutes=1)


class Rack:
    """A rack with two shelves, a row of pegs on the second, a bin; and another rack beside it.

    Of the six pieces three lie on the first shelf, two on pegs of the second and one on the rack
    itself; the bin holds ten spacers.
    """

    def __init__(self, world: World) -> None:
        self.world = world
        self.rack = world.place("Rack A", walking_order=1)
        self.shelf = world.place("Shelf 1", kind="shelf", parent=self.rack, walking_order=2)
        self.row = world.place("Shelf 2", kind="shelf", parent=self.rack, walking_order=3)
        self.pegs = [
            world.place(f"Peg {n}", kind="peg", parent=self.row, walking_order=3 + n)
            for n in (1, 2)
        ]
        self.other = world.place("Rack B", walking_order=9)
        self.drawing = world.drawing("D1")
        spots = [self.shelf, self.shelf, self.shelf, *self.pegs, self.rack]
        self.pieces: list[Piece] = [
            world.piece(self.drawing, spot, mark=f"M{n}") for n, spot in enumerate(spots)
        ]
        self.bin: StockLine = world.stock(world.drawing("SP", kind="spacer"), self.rack, 10)

    def count(self, by: Person, at: datetime) -> Count:
        return counts.open_count(by=by, at=at, place=self.rack)


def see(
    by: Person,
    at: datetime,
    count: Count,
    what: Piece | StockLine | str,
    place: Place | None = None,
    **fields: Any,
) -> ScanResult:
    """One scan into a count, at a place or where the record has it."""
    code = what if isinstance(what, str) else what.code
    [result] = send(by, at, count, a_mark(code, at, place, **fields))
    return result


def a_mark(code: str, at: datetime, place: Place | None = None, **fields: Any) -> ScanIn:
    fields.setdefault("id", uuid.uuid4())
    return ScanIn(happened_at=at, to=place.code if place else "", code=code, **fields)


def send(
    by: Person, at: datetime, count: Count, *marks: ScanIn, phone: str = PHONE
) -> list[ScanResult]:
    return count_entries.record_batch(
        by=by, at=at, count=count, device=phone, device_now=at, scans=list(marks)
    )


def close(by: Person, at: datetime, count: Count, **fields: Any) -> Count:
    fields.setdefault("otherwise", "still looking")
    return count_close.close(by=by, at=at, count=count, **fields)


def figures(count: Count) -> tuple[int, int, int, int]:
    """Expected, found, missing, extra, as they stand now."""
    fresh = Count.objects.select_related("place").get(pk=count.pk)
    told = state_of(fresh).figures
    return told.expected, told.found, told.missing, told.extra


def kept(count: Count) -> tuple[int, int, int, int]:
    """The same as they were stored when the count closed."""
    count.refresh_from_db()
    return count.expected, count.found, count.missing, count.extra
