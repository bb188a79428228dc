"""``compute speeds``: the ratio of every pass and the progression along the mill."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, Status, told_findings
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    COUNT,
    FINDINGS,
    LEVEL,
    NUMBER,
    RATIO,
    as_ratio,
    length,
    many,
    maybe,
    number,
    obj,
)
from tooling.engineering.findings import steps_of, worst
from tooling.engineering.how import Step
from tooling.engineering.speeds import (
    SHAFTS,
    DrivePass,
    DriveRoll,
    SpeedLimits,
    check_speeds,
    speed_step,
)

ROLL = obj(
    ["diameter_nm"],
    diameter_nm=length("Present drive diameter."),
    drawn_nm=length("Drawn drive diameter."),
    uncertainty_nm=length("Expanded uncertainty, k = 2; absent: never measured.", least=0),
    driven=BOOLEAN,
    rpm_factor=RATIO,
)
INPUT = obj(
    ["passes"],
    passes=many(
        obj(["number"], number=COUNT, station=COUNT, ratio=RATIO, top=ROLL, bottom=ROLL), most=200
    ),
    rpm=number("Bottom shafts at rpm factor 1: asks for surface speeds.", most=100_000),
    limits=obj([], ratio_warn=RATIO, step_least=RATIO, step_most=RATIO),
)
SPEED = obj(
    ["pass", "shaft", "m_per_min"],
    **{"pass": COUNT},
    shaft={"enum": list(SHAFTS)},
    m_per_min=NUMBER,
)
ANSWER = obj(
    ["level", "findings", "speeds"],
    level=LEVEL,
    findings=FINDINGS,
    speeds=maybe({"type": "array", "items": SPEED}),
)


def solve(given: dict[str, Any]) -> Answer:
    """Every finding, gravest level first told; infeasible where strip would go slack."""
    passes = [_pass(each) for each in given["passes"]]
    limits = {name: as_ratio(value) for name, value in given.get("limits", {}).items()}
    findings = check_speeds(passes, SpeedLimits(**limits))
    told, how = _surface_speeds(passes, given.get("rpm"))
    level = worst(findings)
    answer = {"level": level, "findings": told_findings(findings), "speeds": told}
    status: Status = "infeasible" if level == "no" else "ok"
    return Answer(answer, (*steps_of(findings), *how), status=status)


def _pass(given: dict[str, Any]) -> DrivePass:
    return DrivePass(
        number=given["number"],
        top=_roll(given["top"]) if "top" in given else None,
        bottom=_roll(given["bottom"]) if "bottom" in given else None,
        station=given.get("station"),
        ratio=as_ratio(given.get("ratio", 1)),
    )


def _roll(given: dict[str, Any]) -> DriveRoll:
    return DriveRoll(
        diameter_nm=given["diameter_nm"],
        drawn_nm=given.get("drawn_nm"),
        uncertainty_nm=given.get("uncertainty_nm"),
        driven=given.get("driven", True),
        rpm_factor=as_ratio(given.get("rpm_factor", 1)),
    )


def _surface_speeds(
    passes: list[DrivePass], rpm: float | None
) -> tuple[list[dict[str, Any]] | None, list[Step]]:
    """Surface speed of every driven roll; the top shaft turns at 1 / ratio of the bottom's."""
    if rpm is None:
        return None, []
    told, how = [], []
    for each in passes:
        for shaft in SHAFTS:
            roll = each.driven(shaft)
            if roll is not None:
                turns = roll.rpm_factor / (each.ratio if shaft == "top" else 1)
                step = speed_step(roll.diameter_nm, rpm * float(turns))
                told.append({"pass": each.number, "shaft": shaft, "m_per_min": step.value})
                how.append(step)
    return told, how


COMPUTATION = Computation(
    "speeds",
    "The ratio of every pass and the step between occupied passes, compared with the drawing less "
    "the measurement uncertainty. Status infeasible: strip would go slack where the drawing has "
    "no drop.",
    INPUT,
    ANSWER,
    solve,
)
