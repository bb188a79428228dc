"""A solved plan as plain JSON: for ``compute`` and to be kept with the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from tooling.engineering.findings import Finding
from tooling.engineering.regrinds.answer import (
    Conflict,
    Decision,
    LineTold,
    PassTold,
    Plan,
    ShaftTold,
    Solved,
)
from tooling.engineering.regrinds.weigh import Aims

Json = dict[str, Any]
Say = Callable[[Finding], Json]


def as_json(solved: Solved, say: Say) -> Json:
    """Everything but ``how``; ``say`` makes JSON of a sentence."""
    plan = solved.plan
    return {
        "decisions": [_decision(each, say) for each in plan.decisions] if plan else [],
        "lines": [_line(each, say) for each in plan.lines] if plan else [],
        "aims": _aims(plan.aims) if plan else None,
        "proven": plan is not None and plan.is_proven,
        "baseline": _baseline(plan, say) if plan else None,
        "other_sets": list(plan.other_sets) if plan else [],
        "unmeasured": [
            {"piece": each.piece, "what": each.what, "changes": each.changes}
            for each in (plan.unmeasured if plan else ())
        ],
        "conflicts": [_conflict(each, say) for each in solved.conflicts],
    }


def bound_json(solved: Solved) -> Json | None:
    """The aims that no answer beats."""
    return _aims(solved.plan.bound) if solved.plan and solved.plan.bound else None


def _decision(each: Decision, say: Say) -> Json:
    least = each.least
    return {
        "piece": each.piece,
        "kind": each.kind,
        "amount_nm": each.amount_nm,
        "reasons": _said(each.reasons, say),
        "diameters": [
            {"name": one.name, "before_nm": one.before_nm, "after_nm": one.after_nm}
            for one in each.diameters
        ],
        "least": None if least is None else
        {"diameter": least.diameter, "least_nm": least.least_nm, "why": least.why},
        "left_before": each.left_before,
        "left": each.left,
        "width_nm": each.width_nm,
        "guide_nm": each.guide_nm,
    }  # fmt: skip


def _line(line: LineTold, say: Say) -> Json:
    return {
        "set": line.name,
        "mill": line.mill,
        "other": line.is_other,
        "passes": [_pass(each) for each in line.passes],
        "findings": _said(line.findings, say),
    }


def _pass(each: PassTold) -> Json:
    return {
        "pass": each.number,
        "station": each.station,
        "top": _shaft(each.top),
        "bottom": _shaft(each.bottom),
        "centres_before_nm": _number(each.centres_before_nm),
        "centres_after_nm": _number(each.centres_after_nm),
        "pass_line_nm": _number(each.pass_line_nm),
        "top_shaft_nm": _number(each.top_shaft_nm),
        "bottom_shaft_nm": _number(each.bottom_shaft_nm),
        "top_turns": each.top_turns,
        "reset": each.reset,
    }


def _shaft(each: ShaftTold | None) -> Json | None:
    if each is None:
        return None
    return {
        "piece": each.piece,
        "before_nm": each.before_nm,
        "after_nm": each.after_nm,
        "speed_before_nm": _number(each.speed_before_nm),
        "speed_after_nm": _number(each.speed_after_nm),
    }


def _baseline(plan: Plan, say: Say) -> Json:
    return {
        "amount_nm": plan.baseline.amount_nm,
        "aims": _aims(plan.baseline.aims),
        "broken": _said(plan.baseline.broken, say),
    }


def _aims(each: Aims) -> Json:
    return {
        "cents": round(float(each.cents)),
        "replaced": each.replaced,
        "worked": each.worked,
        "stock_nm": each.stock_nm,
    }


def _conflict(each: Conflict, say: Say) -> Json:
    return {"requirements": _said(each.requirements, say), "frees": _said(each.frees, say)}


def _said(sentences: Iterable[Finding], say: Say) -> list[Json]:
    return [say(each) for each in sentences]


def _number(value: Fraction | None) -> int | float | None:
    """Whole nm where it is whole."""
    if value is None:
        return None
    return int(value) if value.denominator == 1 else float(value)
