"""Regrind plans: the best there is, with reasons, and a few requirements where there is none."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import pytest

from tests.engineering.regrind_model import best_by_milp, best_by_trying
from tests.engineering.regrind_world import mill, small
from tooling.engineering.regrinds import Pin, Plan, Problem, WearPoint
from tooling.engineering.regrinds.baseline import broken
from tooling.engineering.regrinds.conflict import conflicts, is_possible
from tooling.engineering.regrinds.engine import solve_regrind
from tooling.engineering.regrinds.least import Search
from tooling.engineering.regrinds.model import build

pytestmark = pytest.mark.one_database


def aims_of(plan: Plan) -> tuple[float, int, int, int]:
    told = plan.aims
    return (float(told.cents), told.replaced, told.worked, told.stock_nm)


def amounts(problem: Problem, plan: Plan) -> tuple[set[int], list[int]]:
    """Which pieces are new, and what comes off each, read from the answer's diameters."""
    new = {n for n, each in enumerate(plan.decisions) if each.kind == "replace"}
    off = [each.diameters[0].before_nm - each.diameters[0].after_nm for each in plan.decisions]
    return new, off


@pytest.mark.parametrize("first", range(0, 400, 50))
def test_the_plan_is_the_best_of_all_answers(first: int) -> None:
    for seed in range(first, first + 50):
        problem = small(seed)
        solved = solve_regrind(problem)
        best = best_by_trying(problem)
        if best is None:
            assert solved.status == "infeasible", seed
            assert solved.conflicts, seed
            continue
        assert solved.plan is not None, seed
        assert solved.plan.is_proven, seed
        assert aims_of(solved.plan) == best, seed


def test_the_generator_meets_every_case() -> None:
    told = [solve_regrind(small(seed)) for seed in range(150)]
    kinds = {each.kind for one in told if one.plan for each in one.plan.decisions}
    assert kinds == {"leave", "cut", "face", "replace"}
    assert {one.status for one in told} == {"ok", "infeasible"}


def test_with_prices_the_plan_costs_least() -> None:
    for seed in range(1000, 1080):
        problem = without_life(small(seed, priced=True))
        solved, best = solve_regrind(problem), best_by_trying(problem)
        if best is None:
            assert solved.status == "infeasible", seed
            continue
        assert solved.plan is not None, seed
        assert solved.plan.is_proven, seed
        assert float(solved.plan.aims.cents) == pytest.approx(best[0]), seed


def without_life(problem: Problem) -> Problem:
    pieces = tuple(replace(piece, life_cents_per_mm=None) for piece in problem.pieces)
    return replace(problem, pieces=pieces)


def with_a_face_settled(problem: Problem) -> Problem:
    """The first piece of the plan with a worn face, else the first piece, is to be faced."""
    named = next((p.name for p in problem.pieces if p.in_plan and is_worn_at_its_face(p.points)),
                 problem.pieces[0].name)  # fmt: skip
    pins = tuple(pin for pin in problem.pins if pin.piece != named)
    return replace(problem, pins=(*pins, Pin(named, "face")))


def is_worn_at_its_face(points: tuple[WearPoint, ...]) -> bool:
    return any(point.angle_degrees >= 75 for point in points)


def test_with_a_face_settled_the_plan_is_the_best_of_all_answers() -> None:
    faced, refused = 0, 0
    for seed in range(160):
        problem = with_a_face_settled(without_life(small(seed, priced=seed % 3 == 0)))
        solved, best = solve_regrind(problem), best_by_trying(problem)
        if best is None:
            refused += 1
            assert solved.status == "infeasible", seed
            continue
        assert solved.plan is not None, seed
        assert solved.plan.is_proven, seed
        told = aims_of(solved.plan)
        if problem.prices is None:
            assert told == best, seed
        else:
            assert told[0] == pytest.approx(best[0]), seed
        assert broken(Search(build(problem)), *amounts(problem, solved.plan)) == [], seed
        kinds = {each.piece: each.kind for each in solved.plan.decisions}
        faced += kinds[problem.pins[-1].piece] == "face"
    assert faced > 20
    assert refused > 20


@pytest.mark.parametrize(
    "made",
    [
        {},
        {"worn": 0.6},
        {"tight": 0.3},
        {"tight": 0.3, "worn": 0.6, "passes": 16},
        {"priced": True, "passes": 10},
        {"priced": True, "tight": 0.3, "worn": 0.6},
        {"tight": 0.2, "new": False, "passes": 12},
    ],
)
def test_whole_mills_agree_with_another_solver(made: dict[str, float]) -> None:
    problem = mill(1, **made)  # type: ignore[arg-type]
    solved, best = solve_regrind(problem), best_by_milp(problem)
    if best is None:
        assert solved.status == "infeasible"
        return
    assert solved.plan is not None
    assert solved.plan.is_proven
    told = aims_of(solved.plan)
    if problem.prices is None:
        assert told == best
    else:
        assert told[0] == pytest.approx(best[0], abs=0.01)


def test_the_plan_keeps_every_requirement_it_was_given() -> None:
    for seed in range(60):
        problem = small(seed, priced=seed % 2 == 0)
        plan = solve_regrind(problem).plan
        if plan is not None:
            assert broken(Search(build(problem)), *amounts(problem, plan)) == []


def test_it_is_never_worse_than_cutting_all_by_the_worst_roll() -> None:
    compared = 0
    for seed in range(250):
        plan = solve_regrind(small(seed)).plan
        if plan is not None and not plan.baseline.broken:
            compared += 1
            assert plan.aims <= plan.baseline.aims, seed
    assert compared > 30


def test_a_conflict_is_irreducible() -> None:
    seen = 0
    for seed in range(200):
        problem = small(seed)
        search = Search(build(with_a_face_settled(problem) if seed % 2 else problem))
        for one in conflicts(search):
            seen += 1
            assert is_possible(search, set(one)) is not None, seed
            for each in one:
                assert is_possible(search, set(one) - {each}) is None, seed
    assert seen > 50


def test_once_the_conflicts_are_freed_there_is_a_plan() -> None:
    for seed in range(100):
        search = Search(build(small(seed)))
        left = set(range(len(search.model.requirements)))
        for one in conflicts(search, most=1_000):
            left -= set(one)
        assert is_possible(search, left) is None, seed


def test_an_inch_set_gets_the_plan_of_a_metric_one() -> None:
    """0.020 mm a step and 0.001 in a step: everything grows by 1.27, and nothing else changes."""
    for seed in range(60):
        metric, inch = solve_regrind(small(seed)), solve_regrind(grown(small(seed)))  # type: ignore[arg-type]
        assert metric.status == inch.status, seed
        if metric.plan and inch.plan:
            pairs = zip(metric.plan.decisions, inch.plan.decisions, strict=True)
            for one, other in pairs:
                assert one.kind == other.kind, seed
                assert one.amount_nm * 127 == other.amount_nm * 100, seed


def grown(value: object) -> object:
    """Every length of a problem in proportion 127 to 100."""
    if isinstance(value, tuple):
        return tuple(grown(each) for each in value)
    if not is_dataclass(value):
        return value
    made = {}
    for each in fields(value):
        inside = getattr(value, each.name)
        is_length = each.name.endswith("_nm") and isinstance(inside, int)
        made[each.name] = inside * 127 // 100 if is_length else grown(inside)
    return type(value)(**made)  # type: ignore[misc]
