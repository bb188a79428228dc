"""Regrind plans: begun for copies of sets, changed, worked out by the worker, dropped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, exact_mm, parse_length, say_length
from tooling.engineering.regrinds.checking import check_pins
from tooling.engineering.regrinds.model import build
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    Counter,
    Person,
    PlanState,
    RegrindPlan,
    RegrindPlanCopy,
    SetCopy,
    Task,
    TaskState,
)
from tooling.permissions import Verb, check_can
from tooling.queries.regrind_asks import PRICES, SETTINGS, Asks, PinAsked, asks_from
from tooling.queries.regrind_facts import read_facts
from tooling.queries.regrind_plans import KIND
from tooling.queries.regrind_problem import problem_of
from tooling.services import tasks
from tooling.services.edits import optional_text
from tooling.services.write import record_change, writing

SERIAL = "p"
"""Plans count on by themselves: RP-0001, RP-0002 …"""
MOST_COPIES = 20
BOUNDS: Mapping[str, tuple[float, float]] = {
    "allowance_nm": (0, 10_000_000),
    "step_nm": (1_000, 5_000_000),
    "face_from_degrees": (30, 89),
    "usual_stock_nm": (1_000, 50_000_000),
    "least_wall_nm": (0, 200_000_000),
    "ratio_percent": (0, 10),
    "horizon_days": (0, 730),
}
MOST_CENTS = 10**12
NOTHING = Asks()
"""The shop's settings, no prices, nothing settled."""


def start_plan(
    *, by: Person, at: datetime, copies: Sequence[SetCopy], name: str = "", asks: Asks = NOTHING
) -> RegrindPlan:
    """Begin a plan for copies of sets and have it worked out.

    Raises NotAllowed, ``nothing_planned``, ``absurd_count``, ``setting_out_of_range``.
    """
    check_can(by, Verb.PLAN_REGRINDS)
    chosen = list({copy.pk: copy for copy in copies}.values())
    if not chosen:
        raise ToolingError(
            "nothing_planned", _("Choose the sets first: the copies whose rolls are to be recut.")
        )
    if len(chosen) > MOST_COPIES:
        raise ToolingError("absurd_count", _("A plan is for {most} copies at most."),
                           most=MOST_COPIES)  # fmt: skip
    check_asks(asks)
    said = optional_text(name, field="name", label=_("Name"), longest=120)
    with writing():
        plan = RegrindPlan.objects.create(
            number=_next_number(), name=said, asks=asks.as_json(), made_at=at, made_by=by
        )
        RegrindPlanCopy.objects.bulk_create(RegrindPlanCopy(plan=plan, copy=c) for c in chosen)
        record_change(
            by=by, at=at, subject=plan, key=plan.number, what="regrind plan begun",
            after={"copies": [f"{c.tool_set.number}-{c.letter}" for c in chosen]},
        )  # fmt: skip
        _ask(by, at, plan)
    return plan


def _next_number() -> str:
    Counter.objects.get_or_create(kind=SERIAL)
    serial = Counter.objects.select_for_update().get(kind=SERIAL)
    number = serial.next_serial
    serial.next_serial = number + 1
    serial.save(update_fields=["next_serial"])
    return f"RP-{number:04d}"


def change_plan(*, by: Person, at: datetime, plan: RegrindPlan, asks: Asks) -> RegrindPlan:
    """Other settings, prices or requirements; it is worked out anew.

    Raises NotAllowed, Conflict ``plan_settled``, ``setting_out_of_range``, and for what is settled
    for a piece ``unknown_code``, ``no_such_diameter``, ``cut_adds``, ``off_grinder_step``.
    """
    check_can(by, Verb.PLAN_REGRINDS)
    check_asks(asks)
    _check_open(plan)
    _check_pins(by, plan, asks, at)
    with writing():
        fresh = RegrindPlan.objects.select_for_update().get(pk=plan.pk)
        _check_open(fresh)
        before = fresh.asks
        fresh.asks, fresh.version = asks.as_json(), fresh.version + 1
        fresh.save(update_fields=["asks", "version"])
        record_change(
            by=by, at=at, subject=fresh, key=fresh.number, what="regrind plan changed",
            before=before, after=fresh.asks,
        )  # fmt: skip
        _ask(by, at, fresh)
    return fresh


def pin_piece(
    *, by: Person, at: datetime, plan: RegrindPlan, code: str, pin: PinAsked | None
) -> RegrindPlan:
    """Settle what becomes of a piece, or leave it open again (None). Raises as ``change_plan``."""
    check_can(by, Verb.PLAN_REGRINDS)
    asks = asks_from(plan.asks)
    pins = {name: each for name, each in asks.pins.items() if name != code.upper()}
    if pin is not None:
        pins[code.upper()] = pin
    return change_plan(by=by, at=at, plan=plan, asks=replace(asks, pins=pins))


def ask_plan(*, by: Person, at: datetime, plan: RegrindPlan) -> Task:
    """Have it worked out again from what is known now. Raises NotAllowed, ``plan_settled``."""
    check_can(by, Verb.PLAN_REGRINDS)
    with writing():
        fresh = RegrindPlan.objects.select_for_update().get(pk=plan.pk)
        _check_open(fresh)
        return _ask(by, at, fresh)


def drop_plan(*, by: Person, at: datetime, plan: RegrindPlan, reason: str = "") -> None:
    """Put a plan aside; it is kept. Raises NotAllowed, Conflict ``plan_settled``."""
    check_can(by, Verb.PLAN_REGRINDS)
    with writing():
        fresh = RegrindPlan.objects.select_for_update().get(pk=plan.pk)
        _check_open(fresh)
        before, fresh.state = fresh.state, PlanState.DROPPED
        fresh.version += 1
        fresh.save(update_fields=["state", "version"])
        record_change(
            by=by, at=at, subject=fresh, key=fresh.number, what="regrind plan dropped",
            before={"state": before}, after={"state": fresh.state}, reason=reason[:400],
        )  # fmt: skip


def check_fresh(plan: RegrindPlan, *, at: datetime) -> None:
    """Whether what the plan rests on is still so, before it is ordered. Fifteen queries.

    Raises Conflict ``stale_plan``.
    """
    if not plan.problem_key:
        return  # written by hand: it rests on nothing that was worked out
    copies = list(plan.copies.order_by("pk").values_list("copy_id", flat=True))
    asked = problem_of(read_facts(copies, at=at), copies, asks_from(plan.asks))
    if asked.key != plan.problem_key:
        raise Conflict(
            "stale_plan",
            _("What plan {plan} rests on moved since it was worked out. Work it out again first."),
            plan=plan.number,
            in_field="plan",
        )


def _ask(by: Person, at: datetime, plan: RegrindPlan) -> Task:
    """One that waits already does it; one that runs is for an older version, so it makes way."""
    waiting = Task.objects.filter(
        kind=KIND, input__plan=plan.number, state=TaskState.WAITING
    ).first()
    task = waiting or tasks.ask(by=by, at=at, kind=KIND, given={"plan": plan.number},
                                version=str(plan.version))  # fmt: skip
    plan.task = task
    plan.save(update_fields=["task"])
    return task


def _check_open(plan: RegrindPlan) -> None:
    if plan.state in (PlanState.ORDERED, PlanState.DROPPED):
        raise Conflict(
            "plan_settled",
            _("Plan {plan} is {state} already. Begin a new one."),
            plan=plan.number,
            state=plan.get_state_display(),
        )


def check_asks(asks: Asks) -> None:
    """Raises ToolingError ``setting_out_of_range`` for a setting or a price that cannot be."""
    for name in SETTINGS:
        if name in asks.own:
            least, most = BOUNDS[name]
            _in_range(name, asks.own[name], least, most)
    for name in PRICES:
        if name in asks.prices:
            _in_range(name, asks.prices[name], 0, MOST_CENTS)


def _in_range(name: str, value: float, least: float, most: float) -> None:
    if not least <= value <= most:
        raise ToolingError(
            "setting_out_of_range",
            _("{name} of {value} is out of range: it lies between {least} and {most}."),
            name=name,
            value=value,
            least=least,
            most=most,
        )


def _check_pins(by: Person, plan: RegrindPlan, asks: Asks, at: datetime) -> None:
    """What is settled can be done, before anything is worked out."""
    if not asks.pins:
        return
    copies = list(plan.copies.values_list("copy_id", flat=True))
    facts = read_facts(copies, at=at)
    rolls = {row.piece.code: row.piece for pk in copies for row in facts.allotted.get(pk, ())}
    stranger = next((code for code in asks.pins if code not in rolls), None)
    if stranger is not None:
        raise Unknown(
            "unknown_code", _("{code} is no roll of the plan's sets."), code=stranger[:40]
        )
    for code, pin in asks.pins.items():
        if (pin.kind == "cut_to") != (pin.nm is not None):
            raise ToolingError(
                "pin_unclear",
                _("{code}: a diameter belongs to “cut to” and to nothing else. Give it, or choose "
                  "otherwise."),
                code=rolls[code].mark or code,
            )  # fmt: skip
    asked = problem_of(facts, copies, asks)

    def say(code: str, nm: int) -> str:
        chosen = by.length_unit if by.length_unit in ("mm", "in") else rolls[code].unit
        return _exactly(nm, "in" if chosen == "in" else "mm")

    check_pins(build(asked.problem), say=say, called=lambda code: rolls[code].mark or code)


def _exactly(nm: int, unit: Unit) -> str:
    """A length that may be typed as it stands: in the unit, or in mm where that would round it."""
    said = say_length(nm, unit)
    return said if parse_length(said, unit=unit) == nm else f"{exact_mm(nm)} mm"
