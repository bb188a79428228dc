"""Regrind plans: the best there is, with reasons, and a few requirements where there is none."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tests.engineering.regrind_model import best_by_milp, best_by_trying
from tests.engineering.regrind_world import LIMITS, STEP, mill, small
from tooling.engineering.regrinds import Plan, Problem
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
