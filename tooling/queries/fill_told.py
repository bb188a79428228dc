"""What pages and programs are shown of filled shafts. Frozen; made by ``fill_page``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tooling.engineering.stacks.answer import FIGURES
from tooling.queries.fill_views import Spot
from tooling.queries.setups import SHAFT_WORDS

Window = tuple[int, int]


@dataclass(frozen=True)
class Spacer:
    """One spacer of a fill. ``position``: of the kit; ``is_measured``: its own width is known."""

    position: int
    order: int
    name: str
    code: str
    drawing: str
    length_nm: int
    is_shim: bool
    is_measured: bool


@dataclass(frozen=True)
class FillTold:
    """One fill from the shoulder. ``aim_nm``: the length it should have; ``window_nm``: what it may
    have while the others stay. ``is_pinned``: a person put it there."""

    spot: Spot
    spacers: tuple[Spacer, ...]
    length_nm: int
    aim_nm: int
    window_nm: Window
    is_pinned: bool

    @property
    def as_written(self) -> str:
        """As a person writes such a stack by hand."""
        return " + ".join(each.name for each in self.spacers)


@dataclass(frozen=True)
class ShaftTold:
    """One shaft. ``error_nm`` is the guide point's distance from the guide plane, ``over_nm`` the
    stack's total less the roll space; both with what unmeasured widths may add at k = 2.
    ``state``: filled (within its windows), off (no more within them), empty."""

    station: int
    pass_number: int
    shaft: str
    fills: tuple[FillTold, ...]
    state: str
    guide_from_shoulder_nm: int
    guide_nm: int
    error_nm: int
    spread_nm: int
    total_nm: int
    roll_space_nm: int
    over_nm: int
    total_spread_nm: int
    unmeasured: tuple[str, ...]
    is_mounted: bool
    is_struck: bool = False

    @property
    def spacers(self) -> int:
        return sum(len(each.spacers) for each in self.fills)


@dataclass(frozen=True)
class DifferenceTold:
    """Top against bottom of a station of which both shafts are filled."""

    station: int
    difference_nm: int
    spread_nm: int
    holds: bool


@dataclass(frozen=True)
class LackTold:
    """What stock could not meet: of which fill, what would be needed, what comes nearest."""

    spot: Spot
    window_nm: Window
    below_nm: int | None
    above_nm: int | None
    in_whole_stock: bool


@dataclass(frozen=True)
class MakeTold:
    """A piece to make; ``window_nm``: it must be ground to that. ``shaft_nm`` and
    ``key_width_nm``: what it goes over; 0 where the shaft is not known any more, or has no key
    along it."""

    spot: Spot
    length_nm: int
    window_nm: Window | None
    shaft_nm: int
    key_width_nm: int


@dataclass(frozen=True)
class Missing:
    """Why a shaft, or the whole kit (no station), cannot be reckoned."""

    code: str
    said: str
    station: int | None = None
    shaft: str = ""


@dataclass(frozen=True)
class Answer:
    """The last answer. ``figures`` and ``bound`` as the computation names them; ``not_there``: what
    somebody looked for in vain."""

    solved_at: datetime
    by: str
    is_proven: bool
    stopped: bool
    figures: tuple[int, ...]
    bound: tuple[int | None, ...]
    lacks: tuple[LackTold, ...]
    make: tuple[MakeTold, ...]
    make_total_nm: int
    make_is_proven: bool
    impossible: tuple[Spot, ...]
    how: tuple[Mapping[str, Any], ...]
    not_there: tuple[str, ...]
    left_out: int = 0
    struck: int = 0

    @property
    def is_solved(self) -> bool:
        """Whether it was ever worked out; people may have filled shafts by hand before that."""
        return bool(self.figures)

    @property
    def fills_most(self) -> bool:
        """Whether no other choice fills more shafts."""
        return bool(self.figures) and self.figures[0] == self.bound[0]

    @property
    def least_spacers(self) -> int | None:
        """So many spacers it takes at least, shims apart; None where that is not known."""
        at = FIGURES.index("spacers")
        return self.bound[at] if self.fills_most and len(self.bound) > at else None


@dataclass(frozen=True)
class TaskTold:
    """The work on it: under way, or ended otherwise than done."""

    id: int
    state: str
    is_over: bool
    progress: float
    message: str
    code: str


@dataclass(frozen=True)
class FillPage:
    """All of it. ``windows``: guide, difference and closing, nm."""

    kit: str
    job: str
    mill: str
    mill_number: str
    version: int
    is_open: bool
    unit: str
    shafts: tuple[ShaftTold, ...]
    differences: tuple[DifferenceTold, ...]
    missing: tuple[Missing, ...]
    answer: Answer | None
    task: TaskTold | None
    windows: Mapping[str, Window]

    @property
    def filled(self) -> int:
        return sum(each.state == "filled" for each in self.shafts)

    @property
    def mounted_bare(self) -> tuple[str, ...]:
        """Shafts that are mounted without a fill."""
        return tuple(
            f"{each.station} {SHAFT_WORDS[each.shaft]}"
            for each in self.missing if each.code == "is_mounted"
        )  # fmt: skip

    @property
    def off(self) -> tuple[ShaftTold, ...]:
        return tuple(each for each in self.shafts if each.state == "off")

    @property
    def is_any(self) -> bool:
        """Whether anything stands in any fill."""
        return any(each.spacers for each in self.shafts)

    @property
    def summary(self) -> FillSummary:
        """The same in short, as a kit's page has it."""
        told = self.answer
        lacks = {(each.spot.station, each.spot.shaft) for each in told.lacks} if told else set()
        return FillSummary(
            spacers=sum(each.spacers for each in self.shafts),
            solved_at=told.solved_at if told and told.is_solved else None,
            lacks=len(lacks),
            left_out=told.left_out if told else 0,
            is_proven=told.is_proven if told else False,
            struck=told.struck if told else 0,
            task=self.task,
        )

    def shaft(self, station: int, which: str) -> ShaftTold | None:
        for each in self.shafts:
            if (each.station, each.shaft) == (station, which):
                return each
        return None


@dataclass(frozen=True)
class FillSummary:
    """What a kit's page says of its fills. ``struck``: shafts whose fills other rolls took out."""

    spacers: int
    solved_at: datetime | None
    lacks: int
    left_out: int
    is_proven: bool
    struck: int
    task: TaskTold | None
