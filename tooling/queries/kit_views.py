"""What pages, lists and the API are shown of a kit. Frozen; made by ``kits`` and ``pull_list``."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from enum import StrEnum


class State(StrEnum):
    """How a position of a kit stands; exactly one holds."""

    HERE = "here"
    TO_FETCH = "to_fetch"
    MISSING = "missing"
    WORN = "worn"
    MAY_NOT_LAST = "may_not_last"
    HELD = "held"
    OUT = "out"
    TAKEN = "taken"
    DOES_NOT_FIT = "does_not_fit"


TROUBLE = frozenset(State) - {State.HERE, State.TO_FETCH}
"""States in which the run is in danger."""


@dataclass(frozen=True)
class Counts:
    """Positions by state; they add up to all positions."""

    here: int = 0
    to_fetch: int = 0
    missing: int = 0
    worn: int = 0
    may_not_last: int = 0
    held: int = 0
    out: int = 0
    taken: int = 0
    does_not_fit: int = 0

    @property
    def total(self) -> int:
        return sum(self.as_dict().values())

    @property
    def trouble(self) -> int:
        return self.total - self.here - self.to_fetch

    def as_dict(self) -> dict[str, int]:
        return {each.name: getattr(self, each.name) for each in fields(self)}


@dataclass(frozen=True)
class Alternative:
    """A free, fit piece of the same drawing, or stock elsewhere. ``kind``: piece or stock."""

    kind: str
    code: str
    mark: str
    place: str
    place_code: str
    count: int = 1

    @property
    def said(self) -> str:
        """Code, mark and place in one line."""
        name = f"{self.code} ({self.mark})" if self.mark else self.code
        return f"{name}, {self.place}"


@dataclass(frozen=True)
class Verdict:
    """The answer for one position: its state, why in one sentence, where the piece is now.

    ``revision_note``: what a newer revision says to mind of a piece made to an older one;
    ``is_new``: the set was not proved with it yet; ``to_sharpen``: it is line tooling and its
    strokes are the trouble; ``ruling``: what newer revisions say of it, such as rework.
    ``stock``: the bin from which it comes, whose it is and how many lie
    there.
    """

    state: State
    reason: str
    place: str = ""
    place_code: str = ""
    alternative: Alternative | None = None
    due_back: datetime | None = None
    back_in_time: bool | None = None
    other_kit: str = ""
    not_yet_seen: bool = False
    revision_note: str = ""
    is_new: bool = False
    to_sharpen: bool = False
    ruling: str = ""
    stock: str = ""
    stock_owner: str = ""
    stock_count: int = 0


@dataclass(frozen=True)
class PositionView:
    """One position. Sizes are the piece's present ones (measured, else made), else drawn; nm.

    ``piece`` is a label code, empty when nothing or a count is claimed; ``stock`` a bin's code,
    empty while a count is claimed (``is_pooled``) whose bin is still to be chosen.
    ``revision_note`` and ``is_new`` as in the verdict; ``where`` it stands on the line. ``fill``:
    it fills the shaft, the set does not call for it; ``is_pinned``: a person put it there.
    ``due_back``: when it comes back, what is out by the end of that day; ``back_in_time``: whether
    that is before the kit is gathered.
    """

    id: int
    station: int
    pass_number: int
    shaft: str
    order: int
    drawing: str
    kind: str
    piece: str
    mark: str
    copy_letter: str
    owner: str
    stock: str
    state: State
    reason: str
    place: str
    place_code: str
    alternative: Alternative | None
    due_back: datetime | None
    other_kit: str
    not_yet_seen: bool
    is_staged: bool
    is_substitute: bool
    substitute_reason: str
    mark_faces: str
    is_split: bool
    side: str
    unit: str
    face_width_nm: int | None
    drive_diameter_nm: int | None
    root_diameter_nm: int | None
    outside_diameter_nm: int | None
    bore_nm: int | None
    mass_kg: float | None
    caution: str
    peg: str
    peg_code: str
    back_in_time: bool | None = None
    revision_note: str = ""
    is_new: bool = False
    to_sharpen: bool = False
    ruling: str = ""
    where: str = ""
    is_pooled: bool = False
    stock_count: int = 0
    fill: str = ""
    is_pinned: bool = False

    @property
    def is_on_the_line(self) -> bool:
        """Line tooling or hardware, on none of the shafts."""
        return self.shaft == "line"

    @property
    def is_trouble(self) -> bool:
        return self.state in TROUBLE

    @property
    def greatest_diameter_nm(self) -> int | None:
        """The outline's diameter, as pictures and lists show it; None when no size is known."""
        known = (self.outside_diameter_nm, self.drive_diameter_nm, self.root_diameter_nm)
        return max((each for each in known if each), default=None)

    @property
    def code(self) -> str:
        """The label code of what is claimed, piece or bin; empty when nothing is."""
        return self.piece or self.stock


@dataclass(frozen=True)
class ShaftView:
    """A shaft of a station with its stack in order from the shoulder."""

    which: str
    diameter_nm: int | None
    roll_space_nm: int | None
    positions: tuple[PositionView, ...]

    @property
    def mass_kg(self) -> float:
        return sum(each.mass_kg or 0.0 for each in self.positions)


@dataclass(frozen=True)
class StationView:
    """One column of the ribbon. Idle: the kit puts nothing here."""

    number: int
    code: str
    pass_number: int | None
    pass_name: str
    gap_nm: int | None
    gap_point: str
    gear_ratio: Decimal
    top: ShaftView
    bottom: ShaftView
    side: ShaftView

    @property
    def positions(self) -> tuple[PositionView, ...]:
        return (*self.top.positions, *self.bottom.positions, *self.side.positions)

    @property
    def is_idle(self) -> bool:
        return not self.positions

    @property
    def states(self) -> tuple[State, ...]:
        """Every state that occurs here once, gravest first."""
        found = {each.state for each in self.positions}
        return tuple(state for state in GRAVEST_FIRST if state in found)

    @property
    def state(self) -> State | None:
        """The gravest state, for the strip of marks; None when idle."""
        return self.states[0] if self.states else None


GRAVEST_FIRST = (
    State.MISSING,
    State.DOES_NOT_FIT,
    State.WORN,
    State.HELD,
    State.TAKEN,
    State.OUT,
    State.MAY_NOT_LAST,
    State.TO_FETCH,
    State.HERE,
)


@dataclass(frozen=True)
class JobView:
    """The job a kit is for. Lengths in nm."""

    number: str
    set_number: str
    set_name: str
    variant: str
    mill: str
    mill_number: str
    customer: str
    grade: str
    unit: str
    thickness_nm: int | None
    width_nm: int | None
    coating: str
    strip_class: str
    length_nm: int
    starts_at: datetime
    ends_at: datetime
    gathers_at: datetime
    hours: float
    state: str


@dataclass(frozen=True)
class SharedPiece:
    """A piece that two kits claim, with its positions in both."""

    piece: str
    mark: str
    here: str
    there: str
    is_staged_there: bool


@dataclass(frozen=True)
class SharedCount:
    """A drawing of which one of two kits is short because the other has some: ``short`` of it,
    while the other has ``count`` ``until`` then. ``is_ours``: this kit is the short one."""

    drawing: str
    short: int
    count: int
    until: datetime
    is_ours: bool
    said: str


@dataclass(frozen=True)
class ConflictView:
    """Another open kit that claims some of the same pieces, or more of a count than there is,
    while its job binds them.

    ``gathers_first`` is the number of the job that has them first; ``due_back`` when they come
    free from it; ``counts`` what of counted stock one of the two is short.
    """

    kit: str
    job: str
    mill: str
    starts_at: datetime
    ends_at: datetime
    gathers_first: str
    is_ours_first: bool
    due_back: datetime
    pieces: tuple[SharedPiece, ...]
    said: str
    counts: tuple[SharedCount, ...] = ()


@dataclass(frozen=True)
class NextStep:
    """The one thing to do now. ``code``: assemble, choose_place, solve, measure, sharpen, fetch,
    close, closed."""

    code: str
    said: str
    position: PositionView | None = None


@dataclass(frozen=True)
class LoadView:
    """What the kit weighs, against the plate of its cart. ``level``: ok, warn, no."""

    kg: float
    unknown: int
    plate_kg: float | None
    level: str
    said: str


@dataclass(frozen=True)
class KitPage:
    """A kit as every page shows it."""

    number: str
    version: int
    state: str
    state_word: str
    is_open: bool
    is_short: bool
    short_reason: str
    was_complete: bool
    assembled_at: datetime | None
    closed_at: datetime | None
    job: JobView
    copy_letter: str
    place: str
    place_code: str
    entry_left: bool
    drive_side: str
    counts: Counts
    not_yet_seen: int
    paper_count: int | None
    header: str
    next_step: NextStep
    stations: tuple[StationView, ...]
    positions: tuple[PositionView, ...]
    conflicts: tuple[ConflictView, ...]
    load: LoadView
    guard_s: int = 3
    has_setup: bool = False

    @property
    def new_pieces(self) -> int:
        """How many of it are new: the set was not proved with them yet."""
        return sum(each.is_new for each in self.positions)

    @property
    def line(self) -> tuple[PositionView, ...]:
        """Line tooling and hardware, as the strip meets them."""
        return tuple(each for each in self.positions if each.is_on_the_line)

    @property
    def trouble_stations(self) -> tuple[int, ...]:
        """Numbers of the stations where something is wrong, to step through."""
        return tuple(s.number for s in self.stations if any(p.is_trouble for p in s.positions))


@dataclass(frozen=True)
class KitRow:
    """One job in the list of kits; ``number`` is empty while no kit is open for it."""

    number: str
    state: str
    state_word: str
    is_short: bool
    job: JobView
    place: str
    counts: Counts | None
    header: str
    conflicts: int
    has_setup: bool = False
