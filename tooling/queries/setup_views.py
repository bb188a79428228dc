"""What pages and programs are shown of a setup. Frozen; made by ``setups`` and its kin."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.queries.strip_measures import StripView


class MountState(StrEnum):
    """How a shaft stands while it is mounted; exactly one holds."""

    TO_MOUNT = "to_mount"
    NOT_HERE = "not_here"
    MOUNTED = "mounted"
    LEFT_OUT = "left_out"


WORDS: dict[str, Any] = {
    MountState.TO_MOUNT: _("to mount"),
    MountState.NOT_HERE: _("not all here"),
    MountState.MOUNTED: _("on the shaft"),
    MountState.LEFT_OUT: _("left out"),
}
SHAPES = {
    MountState.TO_MOUNT: "to_fetch",
    MountState.NOT_HERE: "missing",
    MountState.MOUNTED: "here",
    MountState.LEFT_OUT: "held",
}
"""Each state's shape, from those that pages draw."""


@dataclass(frozen=True)
class HandoverView:
    """The last handover that stands. ``by_id`` is the writer's."""

    at: datetime
    by: str
    by_id: int | None
    note: str


@dataclass(frozen=True)
class SetupHead:
    """What every page of a setup names."""

    number: str
    version: int
    state: str
    state_word: str
    is_kit_open: bool
    job: str
    set_number: str
    set_name: str
    mill: str
    mill_number: str
    unit: str
    is_turned: bool
    needs_proving: bool
    check_level: str
    check_word: str
    plate: str
    is_docked: bool
    started_at: datetime
    started_by: str
    good_at: datetime | None
    struck_at: datetime | None

    @property
    def is_up(self) -> bool:
        return self.struck_at is None

    @property
    def may_mount(self) -> bool:
        return self.is_up and self.is_kit_open

    @property
    def is_off_line(self) -> bool:
        """Built on a plate that is not docked yet."""
        return bool(self.plate) and not self.is_docked


@dataclass(frozen=True)
class ShaftMark:
    """One shaft in the strip of stations. ``note``: why it or some of it was left out."""

    station: int
    shaft: str
    state: MountState
    count: int
    by: str = ""
    at: datetime | None = None
    note: str = ""
    checked: str = ""

    @property
    def word(self) -> str:
        return str(WORDS[self.state])

    @property
    def shape(self) -> str:
        return SHAPES[self.state]

    @property
    def is_done(self) -> bool:
        return self.state in (MountState.MOUNTED, MountState.LEFT_OUT)


@dataclass(frozen=True)
class StationMarks:
    """One station in the strip; idle where the kit puts nothing. ``gaps_set`` of ``gaps_wanted``
    numbers that the chart asks for."""

    number: int
    code: str
    pass_number: int | None
    shafts: tuple[ShaftMark, ...]
    gaps_set: int = 0
    gaps_wanted: int = 0

    @property
    def is_idle(self) -> bool:
        return not self.shafts

    @property
    def is_mounted(self) -> bool:
        return all(each.is_done for each in self.shafts)

    @property
    def gravest(self) -> ShaftMark | None:
        """The shaft that says the most of what is still to do."""
        order = (
            MountState.NOT_HERE,
            MountState.TO_MOUNT,
            MountState.LEFT_OUT,
            MountState.MOUNTED,
        )
        return min(self.shafts, key=lambda each: order.index(each.state), default=None)

    @property
    def said(self) -> str:
        """Each shaft with its word."""
        words = {"top": _("top"), "bottom": _("bottom"), "side": _("side rolls")}
        return ", ".join(f"{words[each.shaft]} {each.word}" for each in self.shafts)


@dataclass(frozen=True)
class Remaining:
    """What is done and what remains, as a handover says it."""

    shafts: int
    mounted: int
    left_out: int
    gaps_wanted: int
    gaps_set: int
    checks: int
    checks_good: int
    to_mount: tuple[str, ...]

    @property
    def shafts_left(self) -> int:
        return self.shafts - self.mounted - self.left_out

    @property
    def gaps_left(self) -> int:
        return self.gaps_wanted - self.gaps_set


@dataclass(frozen=True)
class CheckView:
    """One characteristic with its limits and what was last found of it."""

    id: int
    name: str
    unit: str
    is_length: bool
    nominal_nm: int | None
    least_nm: int | None
    most_nm: int | None
    nominal: float | None
    least: float | None
    most: float | None
    value_nm: int | None = None
    value: float | None = None
    is_good: bool | None = None
    by: str = ""
    at: datetime | None = None


@dataclass(frozen=True)
class OtherSetup:
    """Another setup of the same set, to compare with."""

    number: str
    mill: str
    started_at: datetime


@dataclass(frozen=True)
class SetupPage:
    """A setup as its page shows it."""

    head: SetupHead
    stations: tuple[StationMarks, ...]
    remaining: Remaining
    checks: tuple[CheckView, ...]
    handover: HandoverView | None
    others: tuple[OtherSetup, ...]
    summary: tuple[str, ...]
    strip: StripView

    @property
    def left_out(self) -> tuple[ShaftMark, ...]:
        """Shafts that are off, or on without some of theirs."""
        return tuple(each for row in self.stations for each in row.shafts if each.note)

    @property
    def next_station(self) -> StationMarks | None:
        """The first at which something is to be mounted."""
        return next((row for row in self.stations if not row.is_mounted), None)

    @property
    def next_gap(self) -> StationMarks | None:
        return next((row for row in self.stations if row.gaps_set < row.gaps_wanted), None)

    @property
    def is_proved_ready(self) -> bool:
        """A good part came, and every characteristic is good."""
        return self.head.good_at is not None and all(each.is_good for each in self.checks)


@dataclass(frozen=True)
class StackRow:
    """One thing of a shaft, in order from the shoulder. Lengths in nm."""

    turn: int
    order: int
    kind: str
    fill: str
    drawing: str
    mark: str
    code: str
    unit: str
    length_nm: int | None
    diameter_nm: int | None
    mass_kg: float | None
    caution: str
    faces: str
    is_split: bool
    is_here: bool
    place: str
    is_substitute: bool
    substitute_reason: str
    is_scanned: bool = False
    side: str = ""

    @property
    def is_spacer(self) -> bool:
        return self.kind in ("spacer", "shim")


@dataclass(frozen=True)
class ShaftAnswer:
    """One shaft of a station: its stack and how it stands."""

    mark: ShaftMark
    rows: tuple[StackRow, ...]

    @property
    def shaft(self) -> str:
        return self.mark.shaft

    @property
    def mass_kg(self) -> float:
        return sum(each.mass_kg or 0.0 for each in self.rows)


@dataclass(frozen=True)
class StationAnswer:
    """What somebody needs who stands at a station."""

    head: SetupHead
    number: int
    code: str
    pass_number: int | None
    pass_name: str
    gap_point: str
    target_nm: int | None
    shafts: tuple[ShaftAnswer, ...]
    gaps_set: int
    gaps_wanted: int
    before: int | None
    after: int | None
    to_mount: int | None
    """The next station at which something is to be mounted."""
