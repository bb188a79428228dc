"""``compute regrind``: what of a set to leave, cut, face or replace so that it runs true again."""

from __future__ import annotations

import time
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, Status, told_findings
from tooling.engineering.compute.regrind_schemas import ANSWER, INPUT
from tooling.engineering.compute.schemas import as_ratio
from tooling.engineering.findings import Finding, worst
from tooling.engineering.lengths import exact_mm
from tooling.engineering.regrinds import (
    Diameter,
    GapPoint,
    Keyway,
    Limits,
    Line,
    LinePass,
    Piece,
    Pin,
    Prices,
    Problem,
    ShaftRun,
    WearPoint,
    check_release,
)
from tooling.engineering.regrinds.engine import solve_regrind
from tooling.engineering.regrinds.told import as_json, bound_json

SECONDS = 30.0
RATIOS = ("ratio", "rpm_factor", "ratio_tolerance", "cents_per_mm", "life_cents_per_mm")
Json = dict[str, Any]


def solve(given: Json) -> Answer:
    """The plan, or with ``check`` whether the set may run with so much off its pieces."""
    problem = _problem(given)
    if "check" in given:
        return _checked(problem, given["check"])
    until = time.monotonic() + SECONDS
    solved = solve_regrind(problem, should_stop=lambda: time.monotonic() >= until)
    answer = as_json(solved, _said) | {"findings": []}
    how = solved.plan.how if solved.plan else ()
    return Answer(answer, how, status=solved.status, bound=bound_json(solved))


def _checked(problem: Problem, given: list[Json]) -> Answer:
    known = {piece.name for piece in problem.pieces}
    stranger = next((each["piece"] for each in given if each["piece"] not in known), None)
    if stranger is not None:
        raise ValueError(f"check names {stranger}, which is no piece of the problem")
    findings = check_release(problem, {each["piece"]: each["amount_nm"] for each in given})
    status: Status = "infeasible" if worst(findings) == "no" else "ok"
    answer = {
        "decisions": [], "lines": [], "aims": None, "proven": False, "baseline": None,
        "other_sets": [], "unmeasured": [], "conflicts": [], "findings": told_findings(findings),
    }  # fmt: skip
    return Answer(answer, (), status=status)


def _said(finding: Finding) -> Json:
    return {
        "code": finding.code,
        "level": finding.level,
        "values": dict(finding.values),
        "text": finding.text(lambda nm: f"{exact_mm(nm)} mm"),
    }


def _problem(given: Mapping[str, Any]) -> Problem:
    return Problem(
        pieces=tuple(_piece(each) for each in given["pieces"]),
        lines=tuple(_line(each) for each in given.get("lines", [])),
        contours=tuple(tuple(each) for each in given.get("contours", [])),
        pins=tuple(Pin(**each) for each in given.get("pins", [])),
        limits=Limits(**_exact(given.get("limits", {}))),
        prices=Prices(**_exact(given["prices"])) if "prices" in given else None,
    )


def _exact(given: Mapping[str, Any]) -> Json:
    """Ratios and prices as they were written."""
    return {name: as_ratio(value) if name in RATIOS else value for name, value in given.items()}


def _piece(given: Mapping[str, Any]) -> Piece:
    made: Json = {
        "diameters": tuple(Diameter(**each) for each in given.get("diameters", [])),
        "points": tuple(
            WearPoint(**{"depth_nm": None, **each}) for each in given.get("points", [])
        ),
        "keyway": Keyway(**given["keyway"]) if "keyway" in given else None,
        "other_sets": tuple(given.get("other_sets", [])),
    }
    return Piece(**{**_exact(given), **made})


def _line(given: Mapping[str, Any]) -> Line:
    return Line(
        name=given["set"],
        mill=given["mill"],
        passes=tuple(_pass(each) for each in given["passes"]),
        is_other=given.get("other", False),
    )


def _pass(given: Mapping[str, Any]) -> LinePass:
    made: Json = {
        name: ShaftRun(**{**_exact(given[name]), "pieces": tuple(given[name]["pieces"])})
        for name in ("top", "bottom")
        if name in given
    }
    if "gap" in given:
        made["gap"] = GapPoint(**given["gap"])
    return LinePass(**{"ratio": Fraction(1), **_exact(given), **made})


COMPUTATION = Computation(
    "regrind",
    "What of one or several sets to leave, cut, face or replace. Without prices the fewest "
    "replaced, then the fewest cut or faced, then the least stock; with prices the least cost. The "
    "bound has the same figures. Status infeasible: conflicts name requirements that cannot be "
    "kept together though any one less could. With check: whether the sets may run as they would "
    "be (findings; infeasible: refused).",
    INPUT,
    ANSWER,
    solve,
)
