"""What the wear engine is told of a gauge point: limits, readings, what ran since the cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from math import cos, isfinite, radians
from types import MappingProxyType
from typing import Literal

Hashable = str | int
Verdict = Literal["fits", "light", "fails"]
End = Literal["", "inboard", "outboard"]
NM_PER_UM = 1_000
NM_PER_KM = 10**12
CHROME_SPREAD = 0.4
"""Relative standard uncertainty of a plated thickness that nobody recorded; from memory."""
USUAL_CHROME_NM = 19_000
"""13 to 25 µm per side, the middle; from memory."""


class Says(StrEnum):
    """Whose numbers a forecast stands on."""

    OWN = "own"
    ESTIMATE = "estimate"
    POOL = "pool"
    NOTHING = "nothing"


@lru_cache(maxsize=1_024)
def _scale(is_diameter: bool, axial: bool, face_degrees: float) -> float:
    angle = radians(90 - face_degrees) if axial else radians(face_degrees)
    return (0.5 if is_diameter else 1.0) * cos(angle)


@dataclass(frozen=True)
class PointSpec:
    """One gauge point at one end of one piece, as it stands after its last cut.

    ``key`` names the piece's point (both ends of a point share it), ``alike`` the pool of like
    pieces. ``new_nm`` is the value when new, as drawn or as ordered from the grinder: it is used
    where no reading was taken after the cut, within ``new_within_nm`` each way. ``limit_nm`` is
    the value beyond which parts are bad; or ``depth_limit_nm`` the most depth lost since the cut,
    normal to the face. A point that ``grows`` (a groove) gets larger as it wears.

    ``is_diameter``: both sides of the value wear. ``face_degrees`` is the inclination of the face
    to the shaft: a value taken across the shaft that changed by Δ lost Δ·cos θ of the face, half
    of that on a diameter. ``axial`` values (widths) are taken along the shaft: Δ·sin θ.

    ``chrome_nm`` is the plated thickness at the cut: None for bare steel, 0 where it is plated and
    nobody knows how thick. ``sliding`` scales the pool's rate (see ``sliding.py``), 1 where nothing
    is known. ``light_share`` is the share of the limit from which a template reads light;
    ``template_nm`` the uncertainty (k = 1) with which a person tells.

    Raises ValueError for lengths, angles or shares that cannot be, and for a limit on the side to
    which the point does not wear.
    """

    key: Hashable = 0
    alike: str = ""
    end: End = ""
    new_nm: int | None = None
    new_within_nm: int = 20_000
    limit_nm: int | None = None
    depth_limit_nm: int | None = None
    grows: bool = False
    is_diameter: bool = True
    axial: bool = False
    face_degrees: float = 0.0
    chrome_nm: int | None = None
    sliding: float = 1.0
    light_share: float = 0.5
    template_nm: int = 10_000

    def __post_init__(self) -> None:
        if not 0 <= self.face_degrees <= 90:
            raise ValueError("a face is inclined by 0 to 90 degrees")
        if self.scale < 1e-3:
            raise ValueError("this face cannot be gauged across it: measure along the shaft")
        if self.new_within_nm < 0 or self.template_nm <= 0 or (self.chrome_nm or 0) < 0:
            raise ValueError("tolerances, templates and plating are not negative")
        if not (isfinite(self.sliding) and self.sliding > 0 and 0 < self.light_share < 1):
            raise ValueError("sliding is above 0, the light share between 0 and 1")
        if self.depth_limit_nm is not None and self.depth_limit_nm <= 0:
            raise ValueError("the depth limit is more than nothing")
        if self.limit_nm is not None and self.new_nm is not None and self.drawn_depth_nm() <= 0:
            raise ValueError("the limit lies on the side to which this point does not wear")

    @property
    def scale(self) -> float:
        """Depth normal to the face per unit of change of the value."""
        return _scale(self.is_diameter, self.axial, self.face_degrees)

    @property
    def sign(self) -> int:
        """+1 where wear makes the value less."""
        return -1 if self.grows else 1

    def drawn_depth_nm(self) -> float:
        """From the drawn value to the limit, normal to the face; needs both."""
        if self.limit_nm is None or self.new_nm is None:
            raise ValueError("no limit, or no value when new")
        return self.sign * (self.new_nm - self.limit_nm) * self.scale


@dataclass(frozen=True)
class ReadingAt:
    """One reading of a point since its last cut; the one taken after the cut has run nothing.

    ``run_nm`` is the strip run since the cut when it was read, by strip class. ``value_nm`` is
    what was read (corrected to 20 °C where a temperature was taken), ``u_nm`` its standard
    uncertainty (k = 1) without what the reading after the cut adds: see ``measuring.py``. A
    template's ``verdict`` or a finish grade has no value: ``depth_from_nm`` and ``depth_to_nm``
    are the depths between which the point is then (None: open), worked out from the verdict where
    they are not given. ``assumed`` names what nobody measured: ``gauge``, ``temperature``.
    ``moment`` (seconds of any clock) puts readings at the same strip length in the order in which
    they were taken.

    Raises ValueError for a reading that says nothing, or two things.
    """

    run_nm: Mapping[str, int] = field(default_factory=dict)
    value_nm: int | float | None = None
    u_nm: float = 0.0
    verdict: Verdict | None = None
    depth_from_nm: float | None = None
    depth_to_nm: float | None = None
    assumed: tuple[str, ...] = ()
    key: Hashable = ""
    moment: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "run_nm", MappingProxyType(dict(self.run_nm)))
        if any(run < 0 for run in self.run_nm.values()):
            raise ValueError("strip that ran is not negative")
        if (self.value_nm is None) != self.is_attribute:
            raise ValueError("a reading is a value or a verdict, one of the two")
        if not (isfinite(self.u_nm) and self.u_nm >= 0):
            raise ValueError("an uncertainty is not negative")
        low, high = self.depth_from_nm, self.depth_to_nm
        if low is not None and high is not None and low >= high:
            raise ValueError("a verdict's depths go from less to more")

    @property
    def is_attribute(self) -> bool:
        """Whether this is a verdict or a grade, no value."""
        return not (
            self.verdict is None and self.depth_from_nm is None and self.depth_to_nm is None
        )


@dataclass(frozen=True)
class LifeSaid:
    """What a finished life of the point said of its rate, by its own readings alone.

    ``log_rate_off``: its ln rate less the mean of like pieces; ``precision``: one over the variance
    of that. Raises ValueError for what is no precision.
    """

    log_rate_off: float
    precision: float

    def __post_init__(self) -> None:
        if not (isfinite(self.log_rate_off) and isfinite(self.precision) and self.precision > 0):
            raise ValueError("a precision is more than nothing")


@dataclass(frozen=True)
class History:
    """A point, its readings since the last cut in any order, what has run since and what will.

    ``run_nm`` is the strip since the cut up to now by class; ``ahead_nm`` the run whose chance of
    crossing is asked. ``earlier``: what its lives before that cut said, see ``earlier.py``.
    Raises ValueError where a reading has run more than the piece.
    """

    spec: PointSpec
    readings: tuple[ReadingAt, ...] = ()
    run_nm: Mapping[str, int] = field(default_factory=dict)
    ahead_nm: Mapping[str, int] = field(default_factory=dict)
    earlier: tuple[LifeSaid, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "run_nm", MappingProxyType(dict(self.run_nm)))
        object.__setattr__(self, "ahead_nm", MappingProxyType(dict(self.ahead_nm)))
        if any(run < 0 for run in (*self.run_nm.values(), *self.ahead_nm.values())):
            raise ValueError("strip that ran or will run is not negative")
        for reading in self.readings:
            for kind, run in reading.run_nm.items():
                if run > self.run_nm.get(kind, 0):
                    raise ValueError("a reading was taken after more strip than the piece has run")


@dataclass(frozen=True)
class Rules:
    """How forecasts are told. Settings of the shop.

    ``confidence`` of the length left that is safe to plan with; ``own_readings``: values since
    the cut below which the pool still leads and no date is given; ``guard_k`` of the guard band
    and of what counts as beyond uncertainty; ``off_line``: standard deviations from what the other
    readings and like pieces say, beyond which a reading breaks from the line. From memory, but
    the guard band, which is common practice.
    """

    confidence: float = 0.9
    own_readings: int = 2
    guard_k: float = 2.0
    off_line: float = 3.5

    def __post_init__(self) -> None:
        if not 0.5 <= self.confidence <= 0.999:
            raise ValueError("a confidence from 50 to 99.9 percent")
        if self.own_readings < 1 or self.guard_k <= 0 or self.off_line <= 0:
            raise ValueError("rules are more than nothing")
