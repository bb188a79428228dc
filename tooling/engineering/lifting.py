"""The revised NIOSH lifting equation: recommended weight limit and lifting index.

Source: DHHS (NIOSH) Publication 94-110. The manual prints the equation in two systems that are not
exact conversions of each other (23 kg and 25 cm; 51 lb and 10 in): one is chosen and named. The
index tells a risk, it never says that a lift is safe.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from tooling.engineering.how import Step
from tooling.engineering.tables.lifting import (
    COUPLING,
    FREQUENCIES,
    FREQUENCY,
    Coupling,
    Duration,
)

SOURCE = "Waters, Putz-Anderson, Garg: NIOSH Publication 94-110"
POUND_KG = 0.45359237
System = Literal["metric", "us"]

CONDITIONS: tuple[str, ...] = (
    "one_handed",
    "seated_or_kneeling",
    "restricted_space",
    "unstable_load",
    "carrying_pushing_pulling",
    "wheelbarrow_or_shovel",
    "fast",
    "slippery_floor",
    "hot_cold_or_humid",
    "two_people",
)
"""Conditions under which the equation does not apply (94-110, section 1.2)."""


@dataclass(frozen=True)
class _Constants:
    load: float
    horizontal: float
    horizontal_most: float
    vertical_slope: float
    knuckle: float
    vertical_most: float
    distance: float
    distance_least: float
    unit_nm: int
    unit_kg: float


_PRINTED: dict[System, _Constants] = {
    "metric": _Constants(23, 25, 63, 0.003, 75, 175, 4.5, 25, 10_000_000, 1.0),
    "us": _Constants(51, 10, 25, 0.0075, 30, 70, 1.8, 10, 25_400_000, POUND_KG),
}


@dataclass(frozen=True)
class Hands:
    """Where the hands are at one end of a lift. Lengths in nm, asymmetry in degrees."""

    horizontal_nm: int
    vertical_nm: int
    asymmetry_degrees: float = 0.0

    def __post_init__(self) -> None:
        if self.horizontal_nm < 0 or self.vertical_nm < 0 or not 0 <= self.asymmetry_degrees <= 180:
            raise ValueError("hands are in front, above the floor and within half a turn")


@dataclass(frozen=True)
class Lift:
    """One lift from origin to destination.

    ``control_at_destination``: the load is placed with care, so the destination counts too.
    ``hours`` is how long such lifting goes on with the recovery the manual asks for.
    """

    mass_kg: float
    origin: Hands
    destination: Hands
    lifts_per_minute: float
    hours: float
    coupling: Coupling
    control_at_destination: bool = True
    conditions: frozenset[str] = frozenset()
    system: System = "metric"

    def __post_init__(self) -> None:
        if self.mass_kg <= 0 or self.lifts_per_minute < 0 or self.hours <= 0:
            raise ValueError("a lift has a mass, a frequency and a duration")
        strangers = self.conditions - set(CONDITIONS)
        if strangers:
            raise ValueError(f"unknown conditions: {', '.join(sorted(strangers))}")


@dataclass(frozen=True)
class Limit:
    """The recommended weight limit at one end of a lift, with its six multipliers."""

    point: Literal["origin", "destination"]
    limit_kg: float
    multipliers: dict[str, float]
    step: Step


@dataclass(frozen=True)
class LiftAnswer:
    """The limits evaluated, the lower of them, and the index mass / limit.

    ``not_applicable`` lists why the equation says nothing here; then there are no limits.
    ``index`` is None then and when the limit is zero (the lift must be changed).
    """

    limits: tuple[Limit, ...]
    limit_kg: float | None
    index: float | None
    not_applicable: tuple[str, ...]
    steps: tuple[Step, ...]


def assess(lift: Lift) -> LiftAnswer:
    """Recommended weight limit RWL = LC · HM · VM · DM · AM · FM · CM and index LI = L / RWL.

    At full precision, not on the rounded multipliers of the printed worksheets.
    """
    reasons = sorted(lift.conditions) + (["more_than_8_hours"] if lift.hours > 8 else [])
    if reasons:
        return LiftAnswer((), None, None, tuple(reasons), ())
    limits = [_limit(lift, "origin")]
    if lift.control_at_destination:
        limits.append(_limit(lift, "destination"))
    lowest_kg = min(limit.limit_kg for limit in limits)
    index = lift.mass_kg / lowest_kg if lowest_kg > 0 else None
    index_step = Step(
        what="lifting index",
        formula="LI = L / RWL",
        source=SOURCE,
        inputs={"mass_kg": lift.mass_kg, "limit_kg": lowest_kg},
        value=index,
    )
    steps = (*(limit.step for limit in limits), index_step)
    return LiftAnswer(tuple(limits), lowest_kg, index, (), steps)


def _limit(lift: Lift, point: Literal["origin", "destination"]) -> Limit:
    printed = _PRINTED[lift.system]
    hands = lift.origin if point == "origin" else lift.destination
    travel_nm = abs(lift.destination.vertical_nm - lift.origin.vertical_nm)
    multipliers = {
        "HM": horizontal_multiplier(hands.horizontal_nm, lift.system),
        "VM": vertical_multiplier(hands.vertical_nm, lift.system),
        "DM": distance_multiplier(travel_nm, lift.system),
        "AM": asymmetry_multiplier(hands.asymmetry_degrees),
        "FM": frequency_multiplier(
            lift.lifts_per_minute, lift.hours, _is_high(lift.origin, printed)
        ),
        "CM": COUPLING[lift.coupling, _is_high(hands, printed)],
    }
    limit_kg = printed.load * printed.unit_kg
    for multiplier in multipliers.values():
        limit_kg *= multiplier
    step = Step(
        what=f"recommended weight limit at the {point}, kg",
        formula="RWL = LC · HM · VM · DM · AM · FM · CM",
        source=f"{SOURCE}, {lift.system} constants",
        inputs={"LC_kg": printed.load * printed.unit_kg, **multipliers},
        value=limit_kg,
    )
    return Limit(point, limit_kg, multipliers, step)


def _is_high(hands: Hands, printed: _Constants) -> bool:
    return hands.vertical_nm >= printed.knuckle * printed.unit_nm


def horizontal_multiplier(horizontal_nm: int, system: System) -> float:
    """25 / H (cm) or 10 / H (in); nearer counts as that, beyond 63 cm (25 in) it is 0."""
    printed = _PRINTED[system]
    horizontal = horizontal_nm / printed.unit_nm
    if horizontal > printed.horizontal_most:
        return 0.0
    return printed.horizontal / max(horizontal, printed.horizontal)


def vertical_multiplier(vertical_nm: int, system: System) -> float:
    """1 − 0.003 |V − 75| (cm) or 1 − 0.0075 |V − 30| (in); above 175 cm (70 in) it is 0."""
    printed = _PRINTED[system]
    vertical = vertical_nm / printed.unit_nm
    if vertical > printed.vertical_most:
        return 0.0
    return 1 - printed.vertical_slope * abs(vertical - printed.knuckle)


def distance_multiplier(travel_nm: int, system: System) -> float:
    """0.82 + 4.5 / D (cm) or 0.82 + 1.8 / D (in); 1 up to 25 cm (10 in), 0 beyond 175 (70)."""
    printed = _PRINTED[system]
    travel = travel_nm / printed.unit_nm
    if travel > printed.vertical_most:
        return 0.0
    return min(1.0, 0.82 + printed.distance / max(travel, printed.distance_least))


def asymmetry_multiplier(degrees: float) -> float:
    """1 − 0.0032 A; beyond 135 degrees it is 0."""
    return 0.0 if degrees > 135 else 1 - 0.0032 * degrees


def frequency_multiplier(per_minute: float, hours: float, is_high: bool) -> float:
    """The printed table, linear between its rows; 0 beyond the last frequency it allows.

    ``is_high``: the hands are at 75 cm (30 in) or higher at the origin. Raises ValueError beyond
    8 hours.
    """
    if hours > 8:
        raise ValueError("the table ends at 8 hours")
    duration: Duration = "short" if hours <= 1 else "moderate" if hours <= 2 else "long"
    allowed = [
        (row, value)
        for row, value in zip(FREQUENCIES, FREQUENCY[duration, is_high], strict=True)
        if value
    ]
    if per_minute <= FREQUENCIES[0]:
        return allowed[0][1]
    for (low, at_low), (high, at_high) in pairwise(allowed):
        if per_minute <= high:
            return at_low + (at_high - at_low) * (per_minute - low) / (high - low)
    return 0.0
