"""``compute strip``: how much strip has run, by every way that is given, and which counts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, told_findings
from tooling.engineering.compute.schemas import BOOLEAN, FINDINGS, INTEGER, many, number, obj
from tooling.engineering.findings import steps_of
from tooling.engineering.strip import (
    DIFFER_COIL_PERCENT,
    DIFFER_PARTS_PERCENT,
    ESTIMATES,
    ORDER,
    Length,
    by_coil,
    by_counter,
    by_mass,
    by_parts,
    by_pounds_per_inch,
    judge,
)

LONGEST_NM = 10**16
"""10,000 km: more than a mill runs between two readings of its counter."""


def _strip(about: str, *, least: int = 1) -> dict[str, Any]:
    return {"type": "integer", "minimum": least, "maximum": LONGEST_NM, "description": about}


DENSITY = number("Of the strip, kg/m³.", least=100, most=30_000)
INPUT = obj(
    [],
    counter=obj(
        ["start_nm", "end_nm"],
        start_nm=_strip("The counter before.", least=0),
        end_nm=_strip("The counter after."),
    ),
    parts=obj(
        ["parts", "part_nm"],
        parts={"type": "integer", "minimum": 1, "maximum": 10**9},
        part_nm=_strip("Length of one part."),
        scrap_nm=_strip("Cut off or scrapped; default 0.", least=0),
        threading_nm=_strip("Run to thread the mill, all entries together; default 0.", least=0),
    ),
    coil=obj(
        ["outside_nm", "inside_nm", "thickness_nm"],
        outside_nm=_strip("Outside diameter of the coil."),
        inside_nm=_strip("Inside diameter, or what is left.", least=0),
        thickness_nm=_strip("Over the coating."),
    ),
    mass=obj(
        ["mass_kg", "width_nm", "thickness_nm", "kg_per_m3"],
        mass_kg=number(least=1e-6, most=1e6),
        width_nm=_strip("Strip width."),
        thickness_nm=_strip("Over the coating."),
        kg_per_m3=DENSITY,
    ),
    pounds_per_inch=obj(
        ["lb_per_in", "thickness_nm", "kg_per_m3"],
        lb_per_in=number("Pounds per inch of width.", least=1e-6, most=1e6),
        thickness_nm=_strip("Over the coating."),
        kg_per_m3=DENSITY,
    ),
    differ_parts_percent=number("Setting; default 2.", most=100),
    differ_coil_percent=number("Setting; default 5.", most=100),
) | {"minProperties": 1, "anyOf": [{"required": [way]} for way in ORDER]}
WAY = obj(
    ["way", "length_nm", "is_estimate"],
    way={"enum": list(ORDER)},
    length_nm=INTEGER,
    is_estimate=BOOLEAN,
)
ANSWER = obj(["counts", "others", "findings"], counts=WAY, others=many(WAY), findings=FINDINGS)
WAYS: dict[str, Callable[..., Length]] = {
    "counter": by_counter,
    "parts": by_parts,
    "coil": by_coil,
    "mass": by_mass,
    "pounds_per_inch": by_pounds_per_inch,
}


def solve(given: dict[str, Any]) -> Answer:
    """The length that counts; what differs from it is told and overrides nothing."""
    ways = [make(**given[way]) for way, make in WAYS.items() if way in given]
    run = judge(
        ways,
        differ_parts_percent=given.get("differ_parts_percent", DIFFER_PARTS_PERCENT),
        differ_coil_percent=given.get("differ_coil_percent", DIFFER_COIL_PERCENT),
    )
    answer = {
        "counts": _told(run.length),
        "others": [_told(each) for each in run.others],
        "findings": told_findings(run.findings),
    }
    steps = tuple(each.step for each in (run.length, *run.others))
    return Answer(answer, steps + steps_of(run.findings))


def _told(length: Length) -> dict[str, Any]:
    estimate = length.way in ESTIMATES
    return {"way": length.way, "length_nm": length.length_nm, "is_estimate": estimate}


COMPUTATION = Computation(
    "strip",
    "Strip length by counter, parts, coil diameters, coil mass or pounds per inch of width; a "
    "counter counts before parts, both before an estimate.",
    INPUT,
    ANSWER,
    solve,
)
