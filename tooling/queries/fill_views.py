"""What "fill the shafts" is worked out from and what it says, as frozen facts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from tooling.engineering.stacks.specs import Fill, Problem, Shaft, ShaftKey
from tooling.models import Kit, KitPosition, Piece


@dataclass(frozen=True)
class Stuff:
    """What a source of the problem is: a marked piece, or one of a drawing's count."""

    key: str
    drawing_id: int
    drawing: str
    piece: Piece | None
    length_nm: int
    unit: str
    is_shim: bool

    @property
    def name(self) -> str:
        """What is stamped on it, else what it is made to."""
        return (self.piece.mark or self.piece.code) if self.piece is not None else self.drawing


@dataclass(frozen=True)
class Spot:
    """Where a fill is. ``after``: the set's order of the position that a middle fill follows."""

    station: int
    pass_number: int
    shaft: str
    fill: str
    after: int = 0

    @property
    def key(self) -> str:
        tail = f"-{self.after}" if self.fill == "middle" else ""
        return f"{self.station}-{self.shaft}-{self.fill}{tail}"


@dataclass(frozen=True)
class LeftOut:
    """A shaft that cannot be reckoned. ``code``: station_unknown, shaft_unknown, width_unknown,
    guide_point_unknown, guide_offset_unknown, is_mounted."""

    station: int
    shaft: str
    code: str
    said: str


@dataclass(frozen=True)
class FillProblem:
    """A kit's shafts as the computation takes them, with the way back to the kit.

    ``rows``: by shaft its positions from the shoulder; ``standing``: by fill the positions in it;
    ``unmeasured``: by shaft what nobody has measured, in words; ``mounted``: shafts that nobody
    changes any more; ``gone``: positions whose spacer was looked for in vain.
    """

    kit: Kit
    problem: Problem
    is_turned: bool
    stuff: Mapping[str, Stuff]
    spots: Mapping[str, Spot]
    rows: Mapping[ShaftKey, tuple[KitPosition, ...]]
    standing: Mapping[str, tuple[KitPosition, ...]]
    left_out: tuple[LeftOut, ...]
    unmeasured: Mapping[ShaftKey, tuple[str, ...]]
    mounted: frozenset[ShaftKey] = field(default=frozenset())
    gone: frozenset[int] = field(default=frozenset())

    @cached_property
    def fills(self) -> dict[str, tuple[ShaftKey, Shaft, Fill]]:
        """Every fill by its key, with its shaft."""
        return {
            fill.key: ((station.number, shaft.which), shaft, fill)
            for station, shaft, fill in self.problem.fills
        }

    def keys_of(self, fill: str) -> tuple[str, ...]:
        """What stands in a fill now, as sources, from the shoulder."""
        return tuple(source_key(row) for row in self.standing.get(fill, ()))

    def spot_of(self, row: KitPosition) -> str | None:
        """The fill in which a position of the kit stands."""
        for key, rows in self.standing.items():
            if any(each.pk == row.pk for each in rows):
                return key
        return None


def source_key(row: KitPosition) -> str:
    """The source that a spacer of a fill is one of; piece and drawing must be loaded."""
    return row.piece.code if row.piece is not None else pooled_key(row.drawing.number)


def pooled_key(drawing: str) -> str:
    """The source of what is counted of a drawing; no label code has a space."""
    return f"of {drawing}"
