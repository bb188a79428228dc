"""What was found: stacks by shaft with exact numbers, figures and bounds by aim, what lacks."""

from __future__ import annotations

from dataclasses import dataclass, field

from tooling.engineering.how import Step
from tooling.engineering.stacks.specs import Pieces

FIGURES = (
    "uncompleted_shafts", "opened_stations", "changed_shafts", "shims", "spacers", "places",
    "walk",
)  # fmt: skip
"""The aims in their order; each is made least while those before it stay as found. ``walk`` is
the sum of the walking ranks of the places."""


@dataclass(frozen=True)
class FillAnswer:
    """Pieces in order from the shoulder, and the least and most that the fill may be while all
    others of its station stay as they are."""

    fill: str
    pieces: Pieces
    length_nm: int
    window_nm: tuple[int, int]


@dataclass(frozen=True)
class ShaftAnswer:
    """One completed shaft. ``spread_nm`` at k = 2 and ``worst_nm`` come from unmeasured widths: of
    the guide error; ``total_spread_nm`` and ``total_worst_nm`` of the whole stack."""

    station: int
    shaft: str
    fills: tuple[FillAnswer, ...]
    guide_error_nm: int
    total_nm: int
    over_nm: int
    spread_nm: int
    worst_nm: int
    total_spread_nm: int
    total_worst_nm: int
    kept_closed: bool
    kept: bool


@dataclass(frozen=True)
class StationAnswer:
    """Top minus bottom where both shafts are completed."""

    station: int
    difference_nm: int
    spread_nm: int
    worst_nm: int


@dataclass(frozen=True)
class Lack:
    """A fill that keeps its shaft from being completed.

    ``below_nm`` and ``above_nm``: the nearest lengths that what is left of the stock gives, None
    where it gives none; ``in_whole_stock``: whether the stock would do if no other shaft used it.
    """

    station: int
    shaft: str
    fill: str
    window_nm: tuple[int, int]
    below_nm: int | None
    above_nm: int | None
    in_whole_stock: bool


@dataclass(frozen=True)
class Make:
    """One piece to make for a fill; ``window_nm`` where it must be ground to length."""

    fill: str
    length_nm: int
    window_nm: tuple[int, int] | None = None


@dataclass(frozen=True)
class MakeList:
    """The pieces that complete every shaft, with the bounds of their number and total length.

    ``impossible``: fills that no piece can put right (less than nothing, or shorter than the
    shortest that can be made).
    """

    pieces: tuple[Make, ...]
    total_nm: int
    bound_ground: int | None
    bound_pieces: int | None
    bound_nm: int | None
    impossible: tuple[str, ...]
    stopped: bool

    @property
    def ground(self) -> int:
        """How many of the pieces must be ground to length."""
        return sum(each.window_nm is not None for each in self.pieces)

    @property
    def is_proven(self) -> bool:
        """Whether fewer pieces, or less length, is impossible."""
        return (self.bound_ground, self.bound_pieces, self.bound_nm) == (
            self.ground, len(self.pieces), self.total_nm,
        )  # fmt: skip


@dataclass(frozen=True)
class Stacks:
    """The answer. ``figures`` and ``bound`` by ``FIGURES``; a bound is None where nothing is known
    and holds while the aims before it are as found. ``stopped``: cut off before it was done."""

    shafts: tuple[ShaftAnswer, ...]
    stations: tuple[StationAnswer, ...]
    figures: tuple[int, ...]
    bound: tuple[int | None, ...]
    lacks: tuple[Lack, ...] = ()
    make: MakeList | None = None
    stopped: bool = False
    steps: tuple[Step, ...] = field(default=())

    @property
    def is_proven(self) -> tuple[bool, ...]:
        """By aim whether nothing better is possible."""
        return tuple(f == b for f, b in zip(self.figures, self.bound, strict=True))
