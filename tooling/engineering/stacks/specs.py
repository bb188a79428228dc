"""What the spacer stacks of a mill are worked out from. Lengths are whole nanometres.

Signs: the shoulder offset is positive when the shoulder stands outboard of the datum plane; a
guide error is positive when the guide point lies outboard of the guide plane; the closing window
is of (stack total − roll space), positive when the stack stands proud.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from tooling.engineering.stacks.eligibility import Body, Seat, suits

SourceKind = Literal["spacer", "shim"]
FillKind = Literal["inboard", "middle", "outboard"]
Which = Literal["top", "bottom"]
Closing = Literal["nut", "housing"]
ShaftKey = tuple[int, str]
"""Station and shaft."""
Pieces = tuple[str, ...]
"""Keys of sources in order from the shoulder; a pooled source stands once per piece."""


@dataclass(frozen=True)
class Source:
    """A stock line (``count`` at nominal width) or a marked piece (with its own width).

    ``tolerance_nm`` is the drawing's ±; it counts only where the width was not measured. ``body``
    None: its shape is no question anywhere.
    """

    key: str
    length_nm: int
    count: int = 1
    kind: SourceKind = "spacer"
    place: str = ""
    measured: bool = False
    tolerance_nm: int = 0
    body: Body | None = None

    def __post_init__(self) -> None:
        if self.length_nm <= 0 or self.count < 0 or self.tolerance_nm < 0:
            raise ValueError(f"{self.key}: length, count or tolerance cannot be")


@dataclass(frozen=True)
class Fill:
    """A place for spacers. A middle fill has its drawn length and window, the others have theirs
    from the guide plane and from how the shaft closes.

    ``seat``: what a spacer must suit here; ``only``: the sources that may be used here, whatever
    their shape; None for both: every source.
    """

    key: str
    kind: FillKind
    target_nm: int | None = None
    below_nm: int = 25_000
    above_nm: int = 25_000
    seat: Seat | None = None
    only: frozenset[str] | None = None

    def __post_init__(self) -> None:
        if (self.kind == "middle") != (self.target_nm is not None):
            raise ValueError(f"{self.key}: a middle fill, and no other, has a drawn length")
        if self.below_nm < 0 or self.above_nm < 0 or (self.target_nm or 0) < 0:
            raise ValueError(f"{self.key}: a length or window is negative")

    @property
    def window_nm(self) -> tuple[int, int] | None:
        """Least and most of a middle fill."""
        if self.target_nm is None:
            return None
        return max(0, self.target_nm - self.below_nm), self.target_nm + self.above_nm


@dataclass(frozen=True)
class Roll:
    """A piece of the pass. Exactly one of a shaft has ``guide_offset_nm``, its inboard face to the
    guide point as it is now."""

    name: str
    width_nm: int
    guide_offset_nm: int | None = None

    def __post_init__(self) -> None:
        if self.width_nm <= 0:
            raise ValueError(f"{self.name}: a width is more than nothing")


@dataclass(frozen=True)
class Shaft:
    """One shaft with its parts in order from the shoulder. ``unmeasured`` names what of
    ``shoulder_offset_nm``, ``guide_offset_nm`` and ``rolls_nm`` nobody has measured."""

    which: Which
    roll_space_nm: int
    parts: tuple[Fill | Roll, ...]
    shoulder_offset_nm: int = 0
    unmeasured: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.roll_space_nm <= 0:
            raise ValueError("a roll space is more than nothing")
        if sum(roll.guide_offset_nm is not None for roll in self.rolls) != 1:
            raise ValueError(f"{self.which}: exactly one roll carries the guide point")
        kinds = [fill.kind for fill in self.fills]
        first, last = kinds.count("inboard"), kinds.count("outboard")
        if first > 1 or last > 1:
            raise ValueError(f"{self.which}: one inboard and one outboard fill at most")
        if first and not (isinstance(self.parts[0], Fill) and self.parts[0].kind == "inboard"):
            raise ValueError(f"{self.which}: the inboard fill lies at the shoulder")
        if last and not (isinstance(self.parts[-1], Fill) and self.parts[-1].kind == "outboard"):
            raise ValueError(f"{self.which}: the outboard fill comes last")

    @cached_property
    def fills(self) -> tuple[Fill, ...]:
        return tuple(part for part in self.parts if isinstance(part, Fill))

    @cached_property
    def rolls(self) -> tuple[Roll, ...]:
        return tuple(part for part in self.parts if isinstance(part, Roll))

    @cached_property
    def guide(self) -> Roll:
        """The roll that carries the guide point."""
        return next(roll for roll in self.rolls if roll.guide_offset_nm is not None)

    @cached_property
    def before(self) -> int:
        """How many fills lie before the guide roll."""
        at = self.parts.index(self.guide)
        return sum(isinstance(part, Fill) for part in self.parts[:at])

    @cached_property
    def rolls_before_nm(self) -> int:
        at = self.parts.index(self.guide)
        return sum(part.width_nm for part in self.parts[:at] if isinstance(part, Roll))

    @cached_property
    def rolls_nm(self) -> int:
        return sum(roll.width_nm for roll in self.rolls)


@dataclass(frozen=True)
class Station:
    """A station (or one bank of it) with its one or two shafts.

    ``carried``: by shaft the pieces of each fill as they stand on the mill now, offered only where
    the rolls between them stay too; None where the station must be opened anyway.
    """

    number: int
    shafts: tuple[Shaft, ...]
    carried: Mapping[str, tuple[Pieces, ...]] | None = None

    def __post_init__(self) -> None:
        names = [shaft.which for shaft in self.shafts]
        if not names or len(set(names)) < len(names):
            raise ValueError(f"station {self.number}: one or two shafts, each once")
        if self.carried is not None and set(self.carried) != set(names):
            raise ValueError(f"station {self.number}: carried is told of every shaft or of none")


@dataclass(frozen=True)
class MakeGrid:
    """The lengths that the shop makes: every ``step_nm`` from ``least_nm`` to ``most_nm``."""

    step_nm: int
    least_nm: int
    most_nm: int

    def __post_init__(self) -> None:
        if self.step_nm <= 0 or not 0 < self.least_nm <= self.most_nm:
            raise ValueError("make grid: a step, and lengths from least to most")
        if self.most_nm // self.step_nm > 20_000:
            raise ValueError("make grid: more than 20,000 lengths")

    def lengths_nm(self) -> tuple[int, ...]:
        first = -(-self.least_nm // self.step_nm) * self.step_nm
        return tuple(range(first, self.most_nm + 1, self.step_nm))


@dataclass(frozen=True)
class Rules:
    """The mill's and the shop's numbers. Windows are (least, most) signed.

    ``guide_nm``: guide point − guide plane; ``difference_nm``: top − bottom of one station;
    ``closing_nm``: stack total − roll space. ``most_shims`` per fill.
    """

    guide_plane_nm: int
    closing: Closing
    closing_nm: tuple[int, int]
    guide_nm: tuple[int, int] = (-50_000, 50_000)
    difference_nm: tuple[int, int] = (-25_000, 25_000)
    most_shims: int = 2
    make: MakeGrid | None = None

    def __post_init__(self) -> None:
        for name in ("closing_nm", "guide_nm", "difference_nm"):
            least, most = getattr(self, name)
            if least > most:
                raise ValueError(f"{name}: the least is more than the most")
        if self.closing == "nut" and self.closing_nm[0] < 0:
            raise ValueError("closing_nm: under a nut the stack stands proud, its least is not < 0")
        if self.closing == "housing" and self.closing_nm[1] > 0:
            raise ValueError("closing_nm: a housing closes on a stack that is short, most ≤ 0")
        if not 0 <= self.most_shims <= 10:
            raise ValueError("most_shims: from 0 to 10")


@dataclass(frozen=True)
class Problem:
    """Everything that one solve needs.

    ``places``: in walking order; a place that is not among them comes after all of them. ``pins``:
    by fill the pieces that a person wants there. ``forbid``: sources not to be used. ``keep``: by
    (station, shaft) the pieces of each fill of an earlier answer; as few of these shafts as
    possible are changed. Raises ValueError where anything named does not exist or stands twice.
    """

    rules: Rules
    stations: tuple[Station, ...]
    sources: tuple[Source, ...]
    places: tuple[str, ...] = ()
    pins: Mapping[str, Pieces] = field(default_factory=dict)
    forbid: frozenset[str] = frozenset()
    keep: Mapping[ShaftKey, tuple[Pieces, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _once("station", (station.number for station in self.stations))
        _once("fill", (fill.key for _station, _shaft, fill in self.fills))
        _once("source", (source.key for source in self.sources))
        _once("place", self.places)
        strangers = set(self.pins) - {fill.key for _s, _h, fill in self.fills}
        if strangers:
            raise ValueError(f"pins of no fill: {sorted(strangers)[0]}")
        for key, stack in self.keep.items():
            if key not in self.shafts:
                raise ValueError(f"keep of no shaft: {key[0]} {key[1]}")
            if len(stack) != len(self.shafts[key].fills):
                raise ValueError(f"keep {key[0]} {key[1]}: one list of pieces per fill")
        for station in self.stations:
            for shaft in station.shafts:
                there = (station.carried or {}).get(shaft.which)
                if there is not None and len(there) != len(shaft.fills):
                    raise ValueError(f"carried {station.number}: one list of pieces per fill")
        named = {key for pieces in self.pins.values() for key in pieces}
        named |= {key for stack in self.keep.values() for pieces in stack for key in pieces}
        for station in self.stations:
            for stack in (station.carried or {}).values():
                named |= {key for pieces in stack for key in pieces}
        named |= self.forbid
        if not named <= set(self.by_key):
            raise ValueError(f"no such source: {sorted(named - set(self.by_key))[0]}")

    @cached_property
    def fills(self) -> tuple[tuple[Station, Shaft, Fill], ...]:
        return tuple((s, h, f) for s in self.stations for h in s.shafts for f in h.fills)

    @cached_property
    def shafts(self) -> dict[ShaftKey, Shaft]:
        return {(s.number, h.which): h for s in self.stations for h in s.shafts}

    @cached_property
    def by_key(self) -> dict[str, Source]:
        return {source.key: source for source in self.sources}

    @cached_property
    def rank(self) -> dict[str, int]:
        """Walking rank of every place of a source, from 1."""
        rank = {place: turn for turn, place in enumerate(self.places, start=1)}
        others = sorted({source.place for source in self.sources} - set(rank))
        return rank | {place: turn for turn, place in enumerate(others, start=len(rank) + 1)}

    def may_use(self, source: Source, fill: Fill) -> bool:
        """Whether a source is eligible in a fill."""
        if source.key in self.forbid or (fill.only is not None and source.key not in fill.only):
            return False
        return suits(source.body, fill.seat)


def _once(what: str, keys: Iterable[object]) -> None:
    seen: set[object] = set()
    for key in keys:
        if key in seen:
            raise ValueError(f"{what} {key} is given twice")
        seen.add(key)
