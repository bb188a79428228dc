"""Regrind plans of 30 passes with 8 pieces each, proven: the engine against its limit.

Baseline in the same run: the same question put whole to SciPy's integer solver.
"""

from __future__ import annotations

import time

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.engineering.regrind_model import best_by_milp
from tests.engineering.regrind_world import mill
from tooling.engineering.regrinds import Problem
from tooling.engineering.regrinds.engine import solve_regrind

PLAN_S = 1.0
CASES: tuple[tuple[str, dict[str, float]], ...] = (
    ("wear only", {}),
    ("most worn", {"worn": 0.6}),
    ("a third nearly used up", {"tight": 0.3}),
    ("with prices", {"priced": True}),
    ("with prices, a third nearly used up", {"tight": 0.3, "worn": 0.6, "priced": True}),
    ("a third nearly used up, none replaced", {"tight": 0.3, "new": False}),
)


def regrind(built: Built) -> list[Figure]:
    """The slowest of three sets by case, how many were not proven, and the baseline."""
    rows: list[Figure] = []
    for name, made in CASES:
        problems = [mill(seed, **made) for seed in (1, 2, 3)]  # type: ignore[arg-type]
        told = [_timed(problem) for problem in problems]
        rows.append(Figure(f"{name}: slowest of 3", max(each[0] for each in told), "s", PLAN_S))
        rows.append(Figure(f"{name}: not proven", sum(not each[1] for each in told), "", 0))
        began = time.perf_counter()
        best_by_milp(problems[0])
        rows.append(Figure(f"{name}: SciPy, one of them", time.perf_counter() - began, "s"))
    return rows


def _timed(problem: Problem) -> tuple[float, bool]:
    began = time.perf_counter()
    solved = solve_regrind(problem)
    took = time.perf_counter() - began
    return took, solved.status == "infeasible" or bool(solved.plan and solved.plan.is_proven)
