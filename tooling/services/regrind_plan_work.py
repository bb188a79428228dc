"""Working a regrind plan out, in the worker: it reads, solves, and writes once at the end."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from django.utils.translation import override

from tooling.engineering.findings import Finding
from tooling.engineering.lengths import Unit, say_length
from tooling.engineering.regrinds import Decision, Solved
from tooling.engineering.regrinds.engine import solve_regrind
from tooling.engineering.regrinds.told import as_json, bound_json
from tooling.errors import Conflict
from tooling.models import Person, Piece, PlanState, RegrindPlan, RegrindPlanLine
from tooling.queries.regrind_asks import asks_from
from tooling.queries.regrind_facts import read_facts
from tooling.queries.regrind_plans import find_plan
from tooling.queries.regrind_problem import Asked, problem_of
from tooling.services.write import record_change, writing

Stop = Callable[[], bool]


def work_plan_out(
    *,
    by: Person,
    at: datetime,
    number: str,
    should_stop: Stop = lambda: False,
    progress: Callable[[float], None] = lambda share: None,
) -> dict[str, Any]:
    """The plan as it is asked for now, kept with it, a line for every piece.

    Raises Unknown ``unknown_plan``; Conflict ``stale_plan`` where what it rests on moved meanwhile;
    what ``solve_regrind`` raises.
    """
    plan = find_plan(number)
    asked = _asked(plan, at)
    progress(0.2)
    solved = solve_regrind(asked.problem, should_stop=should_stop, progress=progress)
    with writing():
        fresh = RegrindPlan.objects.select_for_update().get(pk=plan.pk)
        _check_same(plan, fresh, asked, at)
        _save(fresh, solved, asked, at)
        record_change(
            by=by, at=at, subject=fresh, key=fresh.number, what="regrind plan worked out",
            after={"state": fresh.state, "proven": fresh.is_proven,
                   "lines": len(solved.plan.decisions) if solved.plan else 0},
        )  # fmt: skip
    return {"plan": fresh.number, "status": solved.status, "state": fresh.state}


def _asked(plan: RegrindPlan, at: datetime) -> Asked:
    copies = list(plan.copies.order_by("pk").values_list("copy_id", flat=True))
    return problem_of(read_facts(copies, at=at), copies, asks_from(plan.asks))


def _check_same(plan: RegrindPlan, fresh: RegrindPlan, asked: Asked, at: datetime) -> None:
    if fresh.version == plan.version and _asked(fresh, at).key == asked.key:
        return
    raise Conflict(
        "stale_plan",
        _("What plan {plan} rests on moved while it was worked out. Have it worked out again."),
        plan=plan.number,
    )


def _save(plan: RegrindPlan, solved: Solved, asked: Asked, at: datetime) -> None:
    with override(None):
        plan.answer = as_json(solved, _said) | {
            "status": solved.status,
            "bound": bound_json(solved),
            "on_order": list(asked.on_order),
            "how": [step.as_dict() for step in solved.plan.how] if solved.plan else [],
        }
    if plan.state != PlanState.ORDERED:
        plan.state = PlanState.SOLVED if solved.plan else PlanState.CONFLICT
    plan.is_proven = bool(solved.plan and solved.plan.is_proven)
    plan.problem_key, plan.solved_at = asked.key, at
    plan.save()
    plan.lines.all().delete()
    if solved.plan is None:
        return
    mine = {piece.name for piece in asked.problem.pieces if piece.in_plan}
    rows = Piece.objects.filter(code__in=mine).in_bulk(field_name="code")
    RegrindPlanLine.objects.bulk_create(
        RegrindPlanLine(
            plan=plan, piece=rows[each.piece], decision=each.kind, amount_nm=_amount(each),
            reason=_reason(each, "in" if rows[each.piece].unit == "in" else "mm"),
        )
        for each in solved.plan.decisions
        if each.piece in rows
    )  # fmt: skip


def _amount(each: Decision) -> int:
    """Off the diameter of what is cut; off the width of what is only faced."""
    return each.width_nm if each.kind == "face" else each.amount_nm


def _reason(each: Decision, unit: Unit) -> str:
    said = " ".join(reason.text(lambda nm: say_length(nm, unit)) for reason in each.reasons)
    return said if len(said) <= 400 else f"{said[:399]}…"


def _said(finding: Finding) -> dict[str, Any]:
    """Kept untranslated, with its numbers: each reader sees it in their own language and unit."""
    values = {name: _plain(value) for name, value in finding.values.items()}
    return {
        "code": finding.code,
        "level": finding.level,
        "template": str(finding.template),
        "values": values,
    }


def _plain(value: object) -> object:
    return value if isinstance(value, int | float | str | None) else str(value)
