"""What a setup sheet says, in numbers. Frozen; made by ``setup_sheet``. Lengths are nm."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from tooling.engineering.feelers import Pack
from tooling.engineering.how import Step
from tooling.engineering.last_good import Struck
from tooling.queries.kit_views import JobView, PositionView
from tooling.queries.strip_measures import StripView

Proof = Literal["proved", "unproved", "drawn", "none"]
"""Of the chart's numbers: a good run proved them; a piece under them was recut since; they are as
drawn; there is no chart."""

Means = Literal["feelers", "other", "spacers", ""]
"""What finds a gap: two packs; a strip sample, plug or solder; nothing, as spacers set it."""


@dataclass(frozen=True)
class SheetPiece:
    """One thing on a shaft. ``turn`` counts from the shoulder; ``fill`` is empty for what the set
    calls for; ``length_nm`` what it fills of the shaft."""

    turn: int
    faces: str
    fill: str
    length_nm: int | None
    position: PositionView


@dataclass(frozen=True)
class SheetShaft:
    """A shaft's stack in order from the shoulder."""

    which: str
    pieces: tuple[SheetPiece, ...]

    @property
    def mass_kg(self) -> float:
        return sum(each.position.mass_kg or 0.0 for each in self.pieces)


@dataclass(frozen=True)
class SheetGap:
    """How a pass is gapped. ``method`` is how the chart wants it found; ``packs`` names what finds
    it: feelers, ``other`` (strip sample, plug, solder) or spacers. ``is_by_drive``: no diameters at
    the gap point are kept, drive diameters stand in. ``centres_problem``: below_stop, above_most.
    """

    target_nm: int | None
    allowance_nm: int | None
    strip_nm: int | None
    method: str
    is_loaded: bool
    point: str
    degrees: float
    packs: Means
    feeler_nm: int | None
    go: Pack | None
    no_go: Pack | None
    centres_nm: int | None
    centres_problem: str
    is_by_drive: bool
    unmeasured: tuple[str, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class SheetMoves:
    """How far things stand from where they stood at the last good setup; down is negative."""

    pass_line_nm: int
    top_nm: int
    bottom_nm: int
    top_turns: float | None
    bottom_turns: float | None
    reset: bool

    @property
    def is_none(self) -> bool:
        return not (self.pass_line_nm or self.top_nm or self.bottom_nm)


@dataclass(frozen=True)
class LastGood:
    """A number of the last good setup: as it was, as it should read now, or why it is struck out.

    Lengths stand in ``…_nm``, anything else in the plain ones.
    """

    was_nm: int | None
    was: float | None
    now_nm: int | None
    now: float | None
    method: str
    struck: tuple[Struck, ...]
    reset: bool


@dataclass(frozen=True)
class SheetSetting:
    """One number to set. ``name`` empty: the gap, at ``end``. ``last`` is None where none is
    kept."""

    name: str
    end: str
    unit: str
    target_nm: int | None
    target: float | None
    last: LastGood | None


@dataclass(frozen=True)
class SheetSide:
    """A side roll with how it stands."""

    position: PositionView
    height_nm: int | None
    in_out_nm: int | None
    tilt_degrees: float | None


@dataclass(frozen=True)
class SheetStation:
    """One station of the mill; idle where the kit puts nothing."""

    number: int
    code: str
    pass_number: int | None
    pass_name: str
    pass_line_rise_nm: int
    note: str
    top: SheetShaft
    bottom: SheetShaft
    side: tuple[SheetSide, ...]
    gap: SheetGap | None
    moves: SheetMoves | None
    settings: tuple[SheetSetting, ...]

    @property
    def is_idle(self) -> bool:
        return not (self.top.pieces or self.bottom.pieces or self.side)


@dataclass(frozen=True)
class LastSetup:
    """The last good setup of the set: its kit, its mill, when its first good part came, the strip
    it ran."""

    number: str
    mill: str
    is_this_mill: bool
    good_at: datetime
    strip_nm: int | None


@dataclass(frozen=True)
class SetupSheetView:
    """A whole setup sheet."""

    number: str
    version: int
    made_at: datetime
    job: JobView
    set_revision: str
    copy_letter: str
    unit: str
    drive_side: str
    entry_left: bool
    chart_revision: str
    proof: Proof
    is_turned: bool
    is_begun: bool
    state_word: str
    header: str
    kg: float
    unknown_masses: int
    last: LastSetup | None
    strip: StripView
    stations: tuple[SheetStation, ...]
    line: tuple[PositionView, ...]

    @property
    def idle(self) -> tuple[int, ...]:
        return tuple(each.number for each in self.stations if each.is_idle)

    @property
    def occupied(self) -> tuple[SheetStation, ...]:
        return tuple(each for each in self.stations if not each.is_idle)

    @property
    def off_the_chart(self) -> tuple[int, ...]:
        """Stations where the kit puts a pass that the chart does not place there."""
        return tuple(each.number for each in self.occupied if each.gap is None)
