"""How much strip has run: by a counter, by parts, or estimated from the coil. Lengths in nm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi
from types import MappingProxyType
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding
from tooling.engineering.how import Step

Way = Literal["counter", "parts", "coil", "mass", "pounds_per_inch"]
ORDER: tuple[Way, ...] = ("counter", "parts", "mass", "pounds_per_inch", "coil")
"""Which way is believed before which: a counter before parts, and both before any estimate."""
ESTIMATES: frozenset[Way] = frozenset({"coil", "mass", "pounds_per_inch"})
DIFFER_PARTS_PERCENT = 2.0
DIFFER_COIL_PERCENT = 5.0
"""Defaults from memory; the shop sets its own."""
WAY_WORDS: Mapping[str, object] = MappingProxyType(
    {
        "counter": _("counter"),
        "parts": _("parts"),
        "coil": _("coil diameters"),
        "mass": _("coil mass"),
        "pounds_per_inch": _("pounds per inch of width"),
    }
)
NM_PER_M = 10**9
LB_PER_KG = 1 / 0.45359237
NM_PER_IN = 25_400_000
COUNTING = "counting"
GEOMETRY = "geometry: the area of the wound ring is that of the strip's edge"


@dataclass(frozen=True)
class Length:
    """Strip length by one way, whole nm. Estimates never override a counter."""

    way: Way
    length_nm: int
    step: Step

    @property
    def is_estimate(self) -> bool:
        return self.way in ESTIMATES


@dataclass(frozen=True)
class Run:
    """The length that counts, every other way beside it, and where they differ too much."""

    length: Length
    others: tuple[Length, ...]
    findings: tuple[Finding, ...]


def by_counter(*, start_nm: int, end_nm: int) -> Length:
    """What the counter moved. Raises ValueError when it runs backwards or did not move."""
    if end_nm <= start_nm:
        raise ValueError("a counter runs forwards; a reset is recorded as one")
    value = end_nm - start_nm
    step = Step(
        what="strip by counter",
        formula="end − start",
        source=COUNTING,
        inputs={"start_nm": start_nm, "end_nm": end_nm},
        value=value,
    )
    return Length("counter", value, step)


def by_parts(*, parts: int, part_nm: int, scrap_nm: int = 0, threading_nm: int = 0) -> Length:
    """Parts × length, what was cut off or scrapped, and what was run to thread the mill: all of it
    wears the rolls. Raises ValueError for less than one part or a negative length."""
    if parts < 1 or part_nm <= 0 or scrap_nm < 0 or threading_nm < 0:
        raise ValueError("parts and their length are more than nothing, the rest is not negative")
    value = parts * part_nm + scrap_nm + threading_nm
    step = Step(
        what="strip by parts",
        formula="parts × length + scrap + threading",
        source=COUNTING,
        inputs={
            "parts": parts,
            "part_nm": part_nm,
            "scrap_nm": scrap_nm,
            "threading_nm": threading_nm,
        },
        value=value,
    )
    return Length("parts", value, step)


def by_coil(*, outside_nm: int, inside_nm: int, thickness_nm: int) -> Length:
    """L = π (OD² − ID²) / (4 t), t over the coating. High by the air between the wraps.

    Raises ValueError unless 0 ≤ ID < OD and 0 < t.
    """
    if not 0 <= inside_nm < outside_nm or thickness_nm <= 0:
        raise ValueError("a coil is larger outside than inside and the strip has a thickness")
    value = round(pi * (outside_nm**2 - inside_nm**2) / (4 * thickness_nm))
    step = Step(
        what="strip by coil diameters",
        formula="π (OD² − ID²) / (4 t)",
        source=GEOMETRY,
        inputs={
            "outside_nm": outside_nm,
            "inside_nm": inside_nm,
            "thickness_nm": thickness_nm,
        },
        value=value,
        rounding="whole nm",
    )
    return Length("coil", value, step)


def by_mass(*, mass_kg: float, width_nm: int, thickness_nm: int, kg_per_m3: float) -> Length:
    """mass / (width × thickness over the coating × density). Raises ValueError for nothing."""
    if mass_kg <= 0 or width_nm <= 0 or thickness_nm <= 0 or kg_per_m3 <= 0:
        raise ValueError("mass, width, thickness and density are more than nothing")
    metres = mass_kg / ((width_nm / NM_PER_M) * (thickness_nm / NM_PER_M) * kg_per_m3)
    value = round(metres * NM_PER_M)
    step = Step(
        what="strip by coil mass",
        formula="mass / (width × thickness × density)",
        source="conservation of mass",
        inputs={
            "mass_kg": mass_kg,
            "width_nm": width_nm,
            "thickness_nm": thickness_nm,
            "kg_per_m3": kg_per_m3,
        },
        value=value,
        rounding="whole nm",
    )
    return Length("mass", value, step)


def by_pounds_per_inch(*, lb_per_in: float, thickness_nm: int, kg_per_m3: float) -> Length:
    """A coil's pounds per inch of width / (thickness × density), whatever its width.

    Raises ValueError for nothing.
    """
    if lb_per_in <= 0 or thickness_nm <= 0 or kg_per_m3 <= 0:
        raise ValueError("pounds per inch, thickness and density are more than nothing")
    lb_per_in3 = kg_per_m3 * LB_PER_KG * (NM_PER_IN / NM_PER_M) ** 3
    inches = lb_per_in / (thickness_nm / NM_PER_IN * lb_per_in3)
    value = round(inches * NM_PER_IN)
    step = Step(
        what="strip by pounds per inch of width",
        formula="PIW / (thickness × density)",
        source="conservation of mass",
        inputs={"lb_per_in": lb_per_in, "thickness_nm": thickness_nm, "kg_per_m3": kg_per_m3},
        value=value,
        rounding="whole nm",
    )
    return Length("pounds_per_inch", value, step)


def judge(
    ways: Sequence[Length],
    *,
    differ_parts_percent: float = DIFFER_PARTS_PERCENT,
    differ_coil_percent: float = DIFFER_COIL_PERCENT,
) -> Run:
    """Which way counts, and which of the others differ from it by more than the shop allows.

    A counter counts before parts, both before an estimate; the rest is shown and overrides
    nothing. Raises ValueError without a way, or with one way twice.
    """
    if not ways:
        raise ValueError("say in one way at least how much has run")
    by_way = {each.way: each for each in ways}
    if len(by_way) < len(ways):
        raise ValueError("each way once")
    ranked = sorted(ways, key=lambda each: ORDER.index(each.way))
    best, others = ranked[0], tuple(ranked[1:])
    findings = [
        _compared(best, each, differ_coil_percent if each.is_estimate else differ_parts_percent)
        for each in others
    ]
    return Run(best, others, tuple(findings))


def _compared(best: Length, other: Length, limit: float) -> Finding:
    percent = 100 * (other.length_nm - best.length_nm) / best.length_nm
    step = Step(
        what=f"{other.way} against {best.way}",
        formula="100 × (other − counted) / counted",
        source="arithmetic",
        inputs={"counted_nm": best.length_nm, "other_nm": other.length_nm},
        value=percent,
    )
    differs = abs(percent) > limit
    return Finding(
        check="strip_length",
        level="warn" if differs else "ok",
        code="lengths_differ" if differs else "lengths_agree",
        template=_("By {way} it is {other}, {percent:+.1f} % off the {counted} by {best}."),
        values={
            "way": str(WAY_WORDS[other.way]),
            "best": str(WAY_WORDS[best.way]),
            "other_nm": other.length_nm,
            "counted_nm": best.length_nm,
            "percent": percent,
        },
        steps=(step,),
    )
