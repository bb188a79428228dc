"""What a changeover takes off, leaves on and puts on, shaft by shaft, and how long it takes.

Pieces come off from the outboard end, so what can stay on a shaft is the common beginning from the
shoulder. Lengths play no part here; masses are in kg.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from tooling.engineering.how import Step

SOURCE = "common practice: stacks come off from the outboard end"
TIMED_LEAST = 5
"""From so many timed setups of its own a mill forecasts from them: a default, from memory."""

Spot = tuple[int, str]
"""Station number and shaft."""


@dataclass(frozen=True)
class Mounted:
    """One thing on a shaft. ``key`` tells it from others: a piece's code, or the drawing and width
    of a pooled spacer, of which any will do."""

    key: str
    mass_kg: float = 0.0
    is_pooled: bool = False


@dataclass(frozen=True)
class Load:
    """What stands on a mill: per shaft, from the shoulder outwards. A shaft that is missing is
    empty. Stations in ``left_on`` carry nothing in this setup; what is on them stays, opened."""

    shafts: Mapping[Spot, tuple[Mounted, ...]]
    left_on: frozenset[int] = frozenset()


@dataclass(frozen=True, order=True)
class Effort:
    """Aims in their order: fewer stations opened, then shafts touched, pieces handled, mass."""

    stations: int = 0
    shafts: int = 0
    pieces: int = 0
    mass_kg: float = 0.0

    def __add__(self, other: Effort) -> Effort:
        return Effort(
            self.stations + other.stations,
            self.shafts + other.shafts,
            self.pieces + other.pieces,
            self.mass_kg + other.mass_kg,
        )


@dataclass(frozen=True)
class ShaftChange:
    """One shaft: what stays from the shoulder, what comes off outermost first, what goes on."""

    station: int
    shaft: str
    stays: tuple[Mounted, ...]
    off: tuple[Mounted, ...]
    on: tuple[Mounted, ...]
    reason: str = ""

    @property
    def is_touched(self) -> bool:
        return bool(self.off or self.on)


@dataclass(frozen=True)
class Change:
    """From one load to the next. ``opened`` are the stations whose stand must be opened."""

    shafts: tuple[ShaftChange, ...]
    opened: tuple[int, ...]
    effort: Effort
    step: Step


def change_between(
    now: Load, next_: Load, *, must_strip: Mapping[Spot, str] | None = None
) -> Change:
    """Every shaft of both loads, by station; top before the others as they sort.

    ``must_strip`` names shafts that come off whole, each with its reason: the shoulder check is
    due, the last run left an incident or build-up, the mill wants it. Pooled spacers at the end of
    what could stay count as touched when the roll beside them changes.
    """
    strip = dict(must_strip or {})
    spots = sorted(
        {*now.shafts, *next_.shafts}, key=lambda spot: (spot[0], spot[1] != "top", spot[1])
    )
    left = {station for station in next_.left_on if not _carries(next_, station)}
    shafts = tuple(_shaft(spot, now, next_, strip, spot[0] in left) for spot in spots)
    opened = tuple(
        sorted(left & {s for s, _w in now.shafts} | {c.station for c in shafts if c.is_touched})
    )
    touched = [each for each in shafts if each.is_touched]
    handled = [piece for each in touched for piece in (*each.off, *each.on)]
    effort = Effort(
        len(opened), len(touched), len(handled), sum(piece.mass_kg for piece in handled)
    )
    step = Step(
        what="changeover",
        formula="what stays is the common beginning from the shoulder; the rest comes off",
        source=SOURCE,
        inputs={"shafts": len(spots), "must_strip": len(strip), "left_on": len(left)},
        value={"stations": effort.stations, "shafts": effort.shafts, "pieces": effort.pieces,
               "mass_kg": effort.mass_kg},
    )  # fmt: skip
    return Change(shafts, opened, effort, step)


def _carries(load: Load, station: int) -> bool:
    return any(stack for (number, _shaft), stack in load.shafts.items() if number == station)


def _shaft(
    spot: Spot, now: Load, next_: Load, strip: Mapping[Spot, str], is_left: bool
) -> ShaftChange:
    before, after = now.shafts.get(spot, ()), next_.shafts.get(spot, ())
    if is_left:
        return ShaftChange(*spot, before, (), ())
    stays = 0 if spot in strip else _common(before, after)
    reason = strip.get(spot, "") if before or after else ""
    return ShaftChange(
        *spot, before[:stays], tuple(reversed(before[stays:])), after[stays:], reason
    )


def _common(before: Sequence[Mounted], after: Sequence[Mounted]) -> int:
    """How many stay. A pooled fill beside what changes is made up anew."""
    count = 0
    for one, other in zip(before, after, strict=False):
        if one.key != other.key:
            break
        count += 1
    if count == len(before) == len(after):
        return count
    while count and before[count - 1].is_pooled:
        count -= 1
    return count


@dataclass(frozen=True)
class Forecast:
    """Minutes that a changeover will take. ``timed`` says from how many of the mill's own."""

    minutes: float
    least: float
    most: float
    timed: int
    step: Step


def forecast(
    *, opened: int, timed: Sequence[tuple[int, float]], minutes_per_opened: float,
    timed_least: int = TIMED_LEAST,
) -> Forecast:  # fmt: skip
    """Minutes for so many opened stations.

    ``timed`` are the mill's own setups as (stations opened, minutes without delays). Until there
    are ``timed_least`` with a station opened, it is the setting's minutes per station; then the
    median of their minutes per station, with the least and the most of them as the range. Raises
    ValueError for a negative number of stations or minutes.
    """
    if opened < 0 or minutes_per_opened < 0 or any(n < 0 or m < 0 for n, m in timed):
        raise ValueError("stations and minutes are not negative")
    rates = [minutes / stations for stations, minutes in timed if stations]
    own = len(rates) >= timed_least
    used = rates if own else [minutes_per_opened]
    middle, least, most = (opened * each for each in (median(used), min(used), max(used)))
    step = Step(
        what="minutes",
        formula="stations opened × median of minutes per opened station" if own
        else "stations opened × the setting's minutes per opened station",
        source="arithmetic",
        inputs={"opened": opened, "timed": len(rates), "minutes_per_opened": minutes_per_opened},
        value=middle,
    )  # fmt: skip
    return Forecast(middle, least, most, len(rates) if own else 0, step)
