"""What a count says of one piece, of one bin, and of all together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from uuid import UUID

from tooling.models import Place
from tooling.queries.count_words import Figures


class Outcome(StrEnum):
    """What a count says of a piece."""

    FOUND = "found"
    MISSING = "missing"
    MOVED = "moved"
    AWAY = "away"
    EXTRA = "extra"
    CAME = "came"


@dataclass(frozen=True, slots=True)
class Seen:
    """Who saw it, when and how. ``entry`` takes it back; a scan of another page has none."""

    by: str
    by_id: int | None
    at: datetime
    how: str
    place_id: int | None
    quantity: int = 1
    entry: UUID | None = None
    from_place_id: int | None = None
    moved: bool = False
    movement_id: int | None = None


@dataclass(frozen=True, slots=True)
class PieceNow:
    """A piece of a count. ``was_at_id`` is where it was expected, ``place_id`` where it is now."""

    piece_id: int
    code: str
    mark: str
    drawing: str
    owner: str
    is_shops: bool
    place_id: int
    was_at_id: int
    outcome: Outcome
    seen: Seen | None = None
    line_id: int | None = None
    reason: str = ""

    @property
    def figures(self) -> Figures:
        return {
            Outcome.FOUND: Figures(1, 1, 0, 0),
            Outcome.MISSING: Figures(1, 0, 1, 0),
            Outcome.EXTRA: Figures(0, 0, 0, 1),
        }.get(self.outcome, Figures())


@dataclass(frozen=True, slots=True)
class BinNow:
    """A bin of a count: ``expected`` by the record at the moment it was counted, ``counted`` or
    None as long as nobody did. ``is_overtaken``: counted anew elsewhere since."""

    stock_id: int
    code: str
    drawing: str
    owner: str
    is_shops: bool
    place_id: int
    expected: int
    counted: int | None = None
    seen: Seen | None = None
    line_id: int | None = None
    reason: str = ""
    is_overtaken: bool = False

    @property
    def difference(self) -> int:
        return 0 if self.counted is None else self.counted - self.expected

    @property
    def figures(self) -> Figures:
        """Of a bin that nobody counted: none."""
        if self.counted is None:
            return Figures()
        found = min(self.expected, self.counted)
        return Figures(
            self.expected, found, self.expected - found, max(0, self.counted - self.expected)
        )


@dataclass(frozen=True)
class State:
    """All that a count says, with the places that it names by id. ``inside`` is the path of the
    place that is counted, empty for a copy's or an owner's count."""

    pieces: tuple[PieceNow, ...] = ()
    bins: tuple[BinNow, ...] = ()
    places: Mapping[int, Place] = field(default_factory=dict)
    inside: str = ""

    @property
    def figures(self) -> Figures:
        pieces = sum((piece.figures for piece in self.pieces), Figures())
        return sum((each.figures for each in self.bins), pieces)

    def those(self, *outcomes: Outcome) -> tuple[PieceNow, ...]:
        return tuple(piece for piece in self.pieces if piece.outcome in outcomes)
