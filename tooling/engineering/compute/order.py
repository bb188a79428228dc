"""``compute order``: the best order of the coming jobs on a mill, from what must be changed."""

from __future__ import annotations

from typing import Any

from tooling.engineering.changeover import Load, Mounted, change_between, forecast
from tooling.engineering.changeover_order import (
    Job,
    Ordered,
    Problem,
    Rules,
    Weighed,
    best_order,
    keeps,
    weigh,
)
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

STATION = {"type": "integer", "minimum": 1, "maximum": 1000}
PIECE = obj(
    ["key"],
    key=TEXT | {"description": "A piece's code; a pooled spacer's drawing and width."},
    mass_kg=number(most=1e5),
    pooled=BOOLEAN,
)
SHAFTS = many(
    obj(["station", "shaft", "pieces"], station=STATION, shaft=TEXT, pieces=many(PIECE, most=200)),
    most=400,
)
JOB = obj(
    ["name", "shafts"],
    name=TEXT,
    shafts=SHAFTS,
    left_on=many(STATION),
    run_minutes=number("How long it runs; default 0.", most=1e7),
    due_minutes=number("From now; left out: never late.", most=1e7),
)
PLACE = {"type": "integer", "minimum": 0, "maximum": 60}
INPUT = obj(
    ["jobs"],
    now=SHAFTS | {"description": "What stands on the mill; left out: nothing."},
    jobs=many(JOB, most=60),
    timed=many(
        obj(["opened", "minutes"], opened={"type": "integer", "minimum": 0}, minutes=number()),
        most=10_000,
    ),
    minutes_per_opened=number("Setting; default 20.", most=1e4),
    before=many(many(PLACE, most=2) | {"minItems": 2}),
    apart=many(many({**PLACE, "minimum": -1}, most=2) | {"minItems": 2}),
    last=PLACE,
    weights=obj(
        ["stations", "shafts", "pieces", "mass_kg"],
        stations=number(),
        shafts=number(),
        pieces=number(),
        mass_kg=number(),
    ),
    planned=many(PLACE) | {"description": "The planner's own order, to compare with."},
)
EFFORT = obj(
    ["order", "late_minutes", "costs"],
    order=many(INTEGER),
    late_minutes=NUMBER,
    costs=many(INTEGER),
)
ANSWER = obj(
    ["aims", "best", "proven", "planned", "planned_keeps_rules"],
    aims=many(TEXT),
    best=maybe(EFFORT),
    proven=BOOLEAN,
    planned=maybe(EFFORT),
    planned_keeps_rules=maybe(BOOLEAN),
)
AIMS = ("stations", "shafts", "pieces", "mass_g")
MINUTES_PER_OPENED = 20.0
WEIGHT_GRAIN = 1_000


def solve(given: dict[str, Any]) -> Answer:
    """The order; infeasible when the rules allow none. ``costs`` are in the order of ``aims``."""
    problem, aims = _problem(given)
    found = best_order(problem)
    planned = weigh(problem, given["planned"]) if "planned" in given else None
    answer = {
        "aims": list(aims),
        "best": _told(found.best),
        "proven": found.is_proven,
        "planned": _told(planned),
        "planned_keeps_rules": keeps(problem.rules, planned.order) if planned else None,
    }
    status: Status = "ok" if found.best else "infeasible"
    return Answer(answer, (_step(problem, found),), status=status, bound=list(found.bound))


def _problem(given: dict[str, Any]) -> tuple[Problem, tuple[str, ...]]:
    now = _load(given.get("now", []))
    loads = [_load(job["shafts"], job.get("left_on", [])) for job in given["jobs"]]
    efforts = [[change_between(one, other).effort for other in loads] for one in (now, *loads)]
    timed = [(each["opened"], each["minutes"]) for each in given.get("timed", [])]
    rate = given.get("minutes_per_opened", MINUTES_PER_OPENED)
    minutes = [
        [forecast(opened=e.stations, timed=timed, minutes_per_opened=rate).minutes for e in row]
        for row in efforts
    ]
    weights = given.get("weights")
    if weights:
        tables = [
            [[round(WEIGHT_GRAIN * sum(w * getattr(e, name) for name, w in weights.items()))
              for e in row] for row in efforts]
        ]  # fmt: skip
    else:
        tables = [
            [[e.stations for e in row] for row in efforts],
            [[e.shafts for e in row] for row in efforts],
            [[e.pieces for e in row] for row in efforts],
            [[round(1000 * e.mass_kg) for e in row] for row in efforts],
        ]
    problem = Problem(
        jobs=tuple(
            Job(job["name"], job.get("run_minutes", 0.0), job.get("due_minutes"))
            for job in given["jobs"]
        ),
        costs=tuple(tuple(tuple(row) for row in table) for table in tables),
        minutes=tuple(tuple(row) for row in minutes),
        rules=Rules(
            before=tuple((a, b) for a, b in given.get("before", [])),
            apart=tuple((a, b) for a, b in given.get("apart", [])),
            last=given.get("last"),
        ),
    )
    return problem, ("weighted",) if weights else AIMS


def _load(shafts: list[dict[str, Any]], left_on: list[int] | None = None) -> Load:
    stacks = {
        (each["station"], each["shaft"]): tuple(
            Mounted(p["key"], p.get("mass_kg", 0.0), p.get("pooled", False)) for p in each["pieces"]
        )
        for each in shafts
    }
    return Load(stacks, frozenset(left_on or []))


def _told(weighed: Weighed | None) -> dict[str, Any] | None:
    if weighed is None:
        return None
    return {
        "order": list(weighed.order),
        "late_minutes": weighed.late_minutes,
        "costs": list(weighed.costs),
    }


def _step(problem: Problem, found: Ordered) -> Step:
    return Step(
        what="order of jobs",
        formula="least total lateness, then each changeover's figures summed, aim by aim",
        source="Held and Karp (1962) up to 11 jobs; Dantzig, Fulkerson and Johnson (1954) beyond",
        inputs={"jobs": len(problem.jobs), "before": len(problem.rules.before),
                "apart": len(problem.rules.apart)},
        value=list(found.best.costs) if found.best else "no order",
    )  # fmt: skip


COMPUTATION = Computation(
    "order",
    "The order of jobs on one mill with the least lateness, then the fewest stations opened, "
    "shafts touched, pieces handled and mass. Status infeasible: the rules allow no order. The "
    "bound has lateness and one figure per aim that no order beats.",
    INPUT,
    ANSWER,
    solve,
)
