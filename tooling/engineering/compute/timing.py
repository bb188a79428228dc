"""``compute timing``: when to send sets to the grinder, and whether to recut or replace."""

from __future__ import annotations

import time
from datetime import date
from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, Status
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    INTEGER,
    NUMBER,
    TEXT,
    many,
    maybe,
    number,
    obj,
)
from tooling.engineering.how import Step
from tooling.engineering.replacing import Costs, recut_or_replace
from tooling.engineering.timing import (
    DueSet,
    JobUse,
    Lead,
    Option,
    Window,
    learned_lead,
    plan_windows,
)

SECONDS = 10.0
DAY = {"type": "string", "pattern": r"^\d{4}-\d{2}-\d{2}$", "description": "A date, 2026-11-30."}
DAYS = {"type": "integer", "minimum": 0, "maximum": 3650}
NAME = TEXT | {"minLength": 1}
CENTS = {"type": "integer", "minimum": 0, "maximum": 10**12}
JOB = obj(
    ["number", "gathers", "ends", "length_m"],
    number=NAME,
    gathers=DAY,
    ends=DAY,
    length_m=number("Of cold rolled strip.", most=1e9),
    left_m=number("What is left in strip like the jobs up to its end; default: the set's.",
                  most=1e12),
)  # fmt: skip
COSTS = obj(
    [],
    length_m=number("Strip between two recuts.", most=1e9),
    recut_cents=CENTS,
    new_cents=CENTS,
    left=DAYS,
    new_left=DAYS,
    replace_above=number("Setting: share of a new one's price; default 0.6.", most=10),
)
INPUT = obj(
    ["today"],
    today=DAY,
    sets=many(
        obj(
            ["name"],
            name=NAME,
            left_m=number(
                "Until the first piece passes its limit; absent: no forecast.", most=1e12
            ),
            jobs=many(JOB, most=500),
            pieces=DAYS,
            approval_days=DAYS,
            back=DAY,
        ),
        most=500,
    ),
    lead=obj(
        ["setting"],
        setting=DAYS,
        least={"type": "integer", "minimum": 1, "maximum": 1000},
        own=many(DAYS, most=10_000) | {"description": "Days that the shop's own orders took."},
    ),
    pieces_a_week=DAYS,
    costs=COSTS,
)
OPTION = obj(
    ["opens", "closes", "out", "back", "state", "next_job", "slips", "passes"],
    opens=DAY,
    closes=maybe(DAY),
    out=DAY,
    back=DAY,
    state={"enum": ["safe", "too_short", "past_limit", "full"]},
    next_job=TEXT,
    slips=INTEGER,
    passes=TEXT,
)
SAYS = {"enum": ["recut", "replace", ""]}
ANSWER = obj(
    ["lead", "windows", "proven", "choice"],
    lead=obj(["usual", "safe", "orders"], usual=INTEGER, safe=INTEGER, orders=INTEGER),
    windows={"type": "array", "items": obj(
        ["name", "crosses", "deadline", "chosen", "earlier_days", "options"],
        name=TEXT, crosses=TEXT, deadline=maybe(DAY), chosen=maybe(OPTION), earlier_days=INTEGER,
        options={"type": "array", "items": OPTION})},
    proven=BOOLEAN,
    choice=maybe(obj(
        ["says", "recut_per_km", "replace_per_km", "open", "rule"], says=SAYS,
        recut_per_km=maybe(NUMBER), replace_per_km=maybe(NUMBER),
        open={"type": "array", "items": TEXT}, rule=SAYS)),
)  # fmt: skip
LEAD_DAYS = 14


def solve(given: dict[str, Any]) -> Answer:
    """Windows by urgency; infeasible where a set that planned work wears out has none."""
    told = given.get("lead", {"setting": LEAD_DAYS})
    lead = learned_lead(told.get("own", []), setting=told["setting"], least=told.get("least", 5))
    until = time.monotonic() + SECONDS
    found = plan_windows(
        [_set(each) for each in given.get("sets", [])], lead, _day(given["today"]),
        pieces_a_week=given.get("pieces_a_week"), should_stop=lambda: time.monotonic() >= until,
    )  # fmt: skip
    choice, steps = _choice(given.get("costs"))
    answer = {
        "lead": {"usual": lead.usual, "safe": lead.safe, "orders": lead.orders},
        "windows": [_window(each) for each in found.windows],
        "proven": found.is_proven,
        "choice": choice,
    }
    lacking = any(each.crosses and each.chosen is None for each in found.windows)
    status: Status = "infeasible" if lacking else "ok" if found.is_proven else "stopped"
    return Answer(answer, (_lead_step(told, lead), *found.steps, *steps), status=status)


def _day(text: str) -> int:
    return date.fromisoformat(text).toordinal()


def _date(day: int) -> str:
    return date.fromordinal(day).isoformat()


def _set(given: dict[str, Any]) -> DueSet:
    jobs = tuple(
        JobUse(job["number"], _day(job["gathers"]), _day(job["ends"]), float(job["length_m"]),
               job.get("left_m"))
        for job in given.get("jobs", [])
    )  # fmt: skip
    back = _day(given["back"]) if "back" in given else None
    return DueSet(
        given["name"], given.get("left_m"), jobs, given.get("pieces", 1),
        given.get("approval_days", 0), back,
    )  # fmt: skip


def _lead_step(told: dict[str, Any], lead: Lead) -> Step:
    return Step(
        what="safe lead time in days",
        formula="nine of ten own orders took no longer (nearest rank); the setting until there are "
        "enough",
        source="counting",
        inputs={"setting": told["setting"], "own": sorted(told.get("own", [])),
                "least": told.get("least", 5)},
        value=lead.safe,
        unmeasured=() if lead.orders else ("setting",),
    )  # fmt: skip


def _window(each: Window) -> dict[str, Any]:
    return {
        "name": each.name,
        "crosses": each.crosses,
        "deadline": None if each.deadline is None else _date(each.deadline),
        "chosen": None if each.chosen is None else _option(each.chosen),
        "earlier_days": each.earlier_than_alone,
        "options": [_option(one) for one in each.options],
    }


def _option(each: Option) -> dict[str, Any]:
    return {
        "opens": _date(each.opens),
        "closes": None if each.closes is None else _date(each.closes),
        "out": _date(each.out),
        "back": _date(each.back),
        "state": each.state,
        "next_job": each.next_job,
        "slips": each.slips,
        "passes": each.passes,
    }


def _choice(given: dict[str, Any] | None) -> tuple[dict[str, Any] | None, tuple[Step, ...]]:
    if given is None:
        return None, ()
    named = {name: value for name, value in given.items() if name != "replace_above"}
    told = recut_or_replace(Costs(**named), replace_above=given.get("replace_above", 0.6))
    return {
        "says": told.says,
        "recut_per_km": told.recut_per_km,
        "replace_per_km": told.replace_per_km,
        "open": list(told.open),
        "rule": told.rule,
    }, told.steps


COMPUTATION = Computation(
    "timing",
    "The latest window in which each set can be recut before planned work wears it out, that "
    "disturbs no job and what the grinder takes in a week; and recut against replace by cost per "
    "kilometre of strip. Status infeasible: a set that planned work wears out has no safe window.",
    INPUT,
    ANSWER,
    solve,
)
