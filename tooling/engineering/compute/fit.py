"""``compute fit``: a fit of bore and shaft by class, or the fit of a whole set to a mill."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, told_findings
from tooling.engineering.compute.mill_schemas import MILL_INPUT, fitting_from
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    FINDINGS,
    INTEGER,
    LEVEL,
    TEXT,
    length,
    many,
    maybe,
    obj,
)
from tooling.engineering.fits import Limits, bore_condition, named_fit
from tooling.engineering.mill_fit import fit_set_to_mill

CLASS_INPUT = obj(
    ["size_nm", "fit"],
    size_nm=length("Basic size."),
    fit={"type": "string", "maxLength": 20, "description": "H7/g6 (ISO 286) or RC4 (ANSI B4.1)."},
    bore=obj(
        ["now_nm", "class", "worn_allowance_nm"],
        now_nm=length("Measured bore."),
        **{"class": {"type": "string", "maxLength": 20}},
        worn_allowance_nm=length("Setting: over the class limit before it is worn.", least=0),
    ),
)
INPUT: dict[str, Any] = {"oneOf": [CLASS_INPUT, MILL_INPUT]}
SIDE = obj(
    ["class", "lower_nm", "upper_nm", "least_nm", "most_nm"],
    **{"class": TEXT},
    lower_nm=INTEGER,
    upper_nm=INTEGER,
    least_nm=INTEGER,
    most_nm=INTEGER,
)
CLASS_ANSWER = obj(
    ["hole", "shaft", "least_clearance_nm", "most_clearance_nm", "kind", "bore"],
    hole=SIDE,
    shaft=SIDE,
    least_clearance_nm=INTEGER,
    most_clearance_nm=INTEGER,
    kind={"enum": ["clearance", "transition", "interference"]},
    bore=maybe(
        obj(["state", "over_nm", "limit_nm"], state=TEXT, over_nm=INTEGER, limit_nm=INTEGER)
    ),
)
MILL_ANSWER = obj(
    ["level", "refused", "findings", "unmeasured"],
    level=LEVEL,
    refused=BOOLEAN,
    findings=FINDINGS,
    unmeasured=many({"type": "string"}, most=100_000),
)
ANSWER: dict[str, Any] = {"oneOf": [CLASS_ANSWER, MILL_ANSWER]}


def solve(given: dict[str, Any]) -> Answer:
    """The fit by class, or the list of a set on a mill (infeasible where a line says no)."""
    return _set_on_mill(given) if "mill" in given else _by_class(given)


def _by_class(given: dict[str, Any]) -> Answer:
    fit = named_fit(given["size_nm"], given["fit"])
    how = fit.how
    answer: dict[str, Any] = {
        "hole": _told(fit.hole),
        "shaft": _told(fit.shaft),
        "least_clearance_nm": fit.least_clearance_nm,
        "most_clearance_nm": fit.most_clearance_nm,
        "kind": fit.kind,
        "bore": None,
    }
    if "bore" in given:
        bore = given["bore"]
        condition = bore_condition(
            bore["now_nm"], given["size_nm"], bore["class"], bore["worn_allowance_nm"]
        )
        answer["bore"] = {
            "state": condition.state, "over_nm": condition.over_nm, "limit_nm": condition.limit_nm,
        }  # fmt: skip
        how += condition.how
    return Answer(answer, how)


def _told(limits: Limits) -> dict[str, Any]:
    return {
        "class": limits.tolerance_class,
        "lower_nm": limits.lower_nm,
        "upper_nm": limits.upper_nm,
        "least_nm": limits.least_nm,
        "most_nm": limits.most_nm,
    }


def _set_on_mill(given: dict[str, Any]) -> Answer:
    fitted = fit_set_to_mill(fitting_from(given))
    answer = {
        "level": fitted.level,
        "refused": fitted.refused,
        "findings": told_findings(fitted.findings),
        "unmeasured": list(fitted.unmeasured),
    }
    return Answer(answer, fitted.how, status="infeasible" if fitted.level == "no" else "ok")


COMPUTATION = Computation(
    "fit",
    "With size_nm and fit: limits and clearances of a fit by class, and the state of a measured "
    "bore. With mill and set: every line of the fit of a set to a mill; status infeasible: at "
    "least one line says no.",
    INPUT,
    ANSWER,
    solve,
)
