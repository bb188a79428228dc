"""What the fit of a set to a mill is computed from. Lengths are whole nanometres.

A field that may be None was never measured or entered; a check that needs it says so.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

ShaftName = Literal["top", "bottom"]
Where = Literal["top", "bottom", "side"]
KeyStyle = Literal["full", "loose", "two", "pin", "none"]
Drive = Literal["driven", "idle", "joint"]
RollKind = Literal["roll", "spacer", "shim", "sleeve", "side_roll"]


def _positive(what: str, *values: int | None) -> None:
    if any(value is not None and value <= 0 for value in values):
        raise ValueError(f"{what}: a length is more than nothing")


@dataclass(frozen=True)
class ShaftSpec:
    """One shaft of a station. ``shoulder_offset_nm`` is positive outboard of the datum plane.

    ``key_height_nm``: how far the key stands above the shaft. ``joint_level_centre_nm``: the
    vertical centres at which the universal joint runs straight.
    """

    which: ShaftName
    diameter_nm: int
    roll_space_nm: int
    key_style: KeyStyle = "full"
    key_width_nm: int | None = None
    key_height_nm: int | None = None
    shoulder_offset_nm: int = 0
    shoulder_measured: bool = True
    drive: Drive = "driven"
    rpm_factor: Fraction = Fraction(1)
    joint_length_nm: int | None = None
    joint_most_degrees: float | None = None
    joint_level_centre_nm: int | None = None

    def __post_init__(self) -> None:
        _positive("shaft", self.diameter_nm, self.roll_space_nm, self.joint_length_nm)


@dataclass(frozen=True)
class StationSpec:
    """One station. ``ratio`` is D_top / D_bottom at equal surface speed."""

    number: int
    shafts: tuple[ShaftSpec, ...]
    ratio: Fraction = Fraction(1)
    centre_to_next_nm: int | None = None
    vertical_least_nm: int | None = None
    vertical_most_nm: int | None = None
    stand_clearance_nm: int | None = None
    side_roll_room_nm: int | None = None
    side_roll_mounting: str = ""

    def __post_init__(self) -> None:
        if self.ratio <= 0:
            raise ValueError("a gear ratio is more than nothing")
        _positive("station", self.centre_to_next_nm, self.stand_clearance_nm)

    def shaft(self, which: str) -> ShaftSpec | None:
        """The shaft of that name, or None where the station has none."""
        return next((shaft for shaft in self.shafts if shaft.which == which), None)


@dataclass(frozen=True)
class MillSpec:
    """A mill. ``guide_plane_nm`` is the distance from the datum plane to the guide plane.

    ``closing_most_nm`` is the most of (stack total − roll space); ``base_clearance_nm`` the room
    under the bottom shaft's axis at its lowest.
    """

    number: str
    stations: tuple[StationSpec, ...]
    hand: str = ""
    guide_plane_nm: int | None = None
    closing_most_nm: int | None = None
    base_clearance_nm: int | None = None

    def station(self, number: int) -> StationSpec | None:
        """The station of that number, or None."""
        return next((each for each in self.stations if each.number == number), None)


@dataclass(frozen=True)
class RollSpec:
    """One piece at its position of a pass, with present dimensions where measured.

    ``gap_nm`` is its diameter at the pass's gap point. ``drawn_bore_nm`` tells a worn bore from a
    bore made for another shaft. ``unmeasured`` names dimensions that are drawn, not measured.
    """

    name: str
    where: Where
    order: int
    kind: RollKind = "roll"
    bore_nm: int | None = None
    drawn_bore_nm: int | None = None
    keyway_width_nm: int | None = None
    keyway_depth_nm: int | None = None
    face_width_nm: int | None = None
    guide_offset_nm: int | None = None
    carries_guide_point: bool = False
    drive_diameter_nm: int | None = None
    outside_diameter_nm: int | None = None
    gap_nm: int | None = None
    idles: bool = False
    unmeasured: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        _positive(
            self.name, self.bore_nm, self.face_width_nm, self.drive_diameter_nm,
            self.outside_diameter_nm, self.gap_nm,
        )  # fmt: skip

    def largest_nm(self) -> int | None:
        """The outside diameter, or the drive diameter where no other is known."""
        return self.outside_diameter_nm or self.drive_diameter_nm


@dataclass(frozen=True)
class PassSpec:
    """A pass with its pieces in order from the shoulder, and the station it is charted to.

    ``has_gap`` is False where the gap is set by spacers or the pass has one shaft only.
    """

    number: int
    rolls: tuple[RollSpec, ...]
    station: int | None = None
    has_gap: bool = True

    def on(self, where: str) -> tuple[RollSpec, ...]:
        """The pieces of a shaft (or the side) in order from the shoulder."""
        return tuple(
            sorted((r for r in self.rolls if r.where == where), key=lambda roll: roll.order)
        )

    def driving(self, where: str) -> RollSpec | None:
        """The roll that runs at strip speed: the largest drive diameter that does not idle."""
        rolls = [r for r in self.on(where) if r.drive_diameter_nm and not r.idles]
        return max(rolls, key=lambda roll: roll.drive_diameter_nm or 0, default=None)

    def at_gap_point(self, where: str) -> RollSpec | None:
        """The roll whose diameter at the gap point is known."""
        return next((roll for roll in self.on(where) if roll.gap_nm), None)


@dataclass(frozen=True)
class SetSpec:
    """A tool set with its passes in order. Empty ``grades`` means none was ever approved."""

    number: str
    passes: tuple[PassSpec, ...]
    thickness_least_nm: int | None = None
    thickness_most_nm: int | None = None
    grades: tuple[str, ...] = ()
    hand: str = ""
    side_roll_mounting: str = ""


@dataclass(frozen=True)
class StripSpec:
    """The strip of a job: measured or ordered thickness and the signed allowance for the gap."""

    thickness_nm: int
    grade: str = ""
    allowance_nm: int = 0
    measured: bool = False

    def __post_init__(self) -> None:
        _positive("strip", self.thickness_nm)
        if self.thickness_nm + self.allowance_nm <= 0:
            raise ValueError("strip and allowance leave no gap")


@dataclass(frozen=True)
class SleeveSpec:
    """A sleeve that the shop has, by name, to put a larger bore on a shaft."""

    name: str
    bore_nm: int
    outside_diameter_nm: int


@dataclass(frozen=True)
class FitLimits:
    """Settings of the shop; the defaults are usual values (no source) that a shop changes.

    ``play_most_nm``: bore over shaft before it counts as worn or needs a sleeve.
    ``ratio_no``: beyond it the set was cut for another gearing.
    """

    play_most_nm: int = 75_000
    key_play_most_nm: int = 150_000
    ratio_warn: Fraction = Fraction(1, 1000)
    ratio_no: Fraction = Fraction(2, 100)
    clear_least_nm: int = 1_000_000


@dataclass(frozen=True)
class Fitting:
    """One question: does this set, for this strip, fit this mill?"""

    mill: MillSpec
    tool_set: SetSpec
    strip: StripSpec | None = None
    sleeves: tuple[SleeveSpec, ...] = ()
    limits: FitLimits = field(default_factory=FitLimits)
