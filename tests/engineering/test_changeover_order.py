"""The order of jobs: every order weighed on small lists, published optima on large ones."""

from __future__ import annotations

import json
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.engineering.checks import CHECKS
from tooling.engineering.changeover_bound import least_costs
from tooling.engineering.changeover_order import (
    Job,
    Problem,
    Rules,
    _improved,
    best_order,
    keeps,
    weigh,
)


def city_problem(name: str) -> tuple[int, Problem]:
    """A round tour as a list that starts at city 0 and must end there: TSPLIB (Reinelt, 1991)."""
    told = json.loads((CHECKS / "tsplib" / f"{name}.json").read_text())
    matrix = told["matrix"]
    cities = [*range(1, len(matrix)), 0]
    rows = [[matrix[i][j] for j in cities] for i in (0, *cities)]
    rows[0][-1] = 0
    jobs = tuple(Job(str(city)) for city in cities)
    costs = tuple(tuple(row) for row in rows)
    still = tuple((0.0,) * len(cities) for _row in rows)
    return told["optimum"], Problem(jobs, (costs,), still, Rules(last=len(cities) - 1))


@pytest.mark.parametrize("name", ["br17", "ftv33"])
def test_published_optima_are_met_and_proven(name) -> None:
    """br17: 39, ftv33: 1286 (TSPLIB)."""
    optimum, problem = city_problem(name)
    found = best_order(problem)
    assert found.best is not None
    assert (found.best.costs, found.bound, found.is_proven) == ((optimum,), (0.0, optimum), True)


def table(count: int, most: int) -> st.SearchStrategy:
    row = st.lists(st.integers(0, most), min_size=count, max_size=count).map(tuple)
    return st.lists(row, min_size=count + 1, max_size=count + 1).map(tuple)


@st.composite
def problems(draw, least: int = 0, most: int = 5) -> Problem:
    count = draw(st.integers(least, most))
    due = st.none() | st.integers(0, 60).map(float)
    jobs = tuple(Job(str(k), float(draw(st.integers(0, 20))), draw(due)) for k in range(count))
    pairs = st.tuples(st.integers(0, max(0, count - 1)), st.integers(0, max(0, count - 1)))
    few = st.lists(pairs, max_size=2 if count else 0)
    rules = Rules(
        before=tuple(draw(few)),
        apart=tuple((a - 1, b) for a, b in draw(few)),
        last=draw(st.none() | st.integers(0, count - 1)) if count else None,
    )
    costs = (draw(table(count, 3)), draw(table(count, 9)))
    return Problem(jobs, costs, draw(table(count, 30)), rules)


def every_order(problem: Problem) -> list:
    orders = permutations(range(len(problem.jobs)))
    return [weigh(problem, order) for order in orders if keeps(problem.rules, order)]


@settings(max_examples=150)
@given(problem=problems())
def test_no_order_is_better_than_the_proven_one(problem) -> None:
    """Brute force over every order of up to five jobs with rules, due dates and two aims."""
    found = best_order(problem)
    every = every_order(problem)
    assert found.is_proven
    assert (found.best is None) == (not every)
    if found.best is not None:
        assert keeps(problem.rules, found.best.order)
        assert found.best.rank == min(each.rank for each in every)


@settings(max_examples=60)
@given(problem=problems(least=2, most=5))
def test_the_bound_is_never_beaten_and_the_search_keeps_the_rules(problem) -> None:
    """The way for long lists, held against every order of short ones."""
    found = _improved(problem, 0, 4, lambda: False)
    every = every_order(problem)
    assert found.best is None or keeps(problem.rules, found.best.order)
    if not every:
        assert found.best is None
        return
    best = min(each.rank for each in every)
    first = least_costs(problem).least[0]
    assert first is None or all(each.costs[0] >= first for each in every)
    if found.is_proven and found.best is not None:
        assert found.best.rank == best
    for limit, figure in zip(found.bound, (best[0], *best[1]), strict=True):
        if limit is None:
            break
        assert limit <= figure
        if limit < figure:
            break


def test_due_dates_come_before_effort() -> None:
    """By hand: 0 then 1 costs 2 and makes job 1 late by 5; 1 then 0 costs 9 and nobody is late."""
    jobs = (Job("a", 10.0), Job("b", 5.0, due_minutes=10.0))
    problem = Problem(jobs, (((1, 5), (0, 1), (4, 0)),), ((0, 0), (0, 0), (0, 0)))
    assert weigh(problem, (0, 1)).rank == (5.0, (2,))
    found = best_order(problem)
    assert found.best is not None
    assert (found.best.order, found.best.rank) == ((1, 0), (0.0, (9,)))


def test_when_no_order_keeps_all_the_least_lateness_wins() -> None:
    """By hand: two jobs of 10 due at 10: whichever is second is 10 late; the cheaper order wins."""
    jobs = (Job("a", 10.0, 10.0), Job("b", 10.0, 10.0))
    problem = Problem(jobs, (((3, 1), (0, 1), (1, 0)),), ((0, 0), (0, 0), (0, 0)))
    found = best_order(problem)
    assert found.best is not None
    assert (found.best.order, found.best.rank) == ((1, 0), (10.0, (2,)))


def test_an_empty_list_and_rules_that_allow_nothing() -> None:
    empty = best_order(Problem((), ((()),) and (((),),), ((),)))
    assert empty.best is not None
    assert empty.best.order == ()
    circle = Rules(before=((0, 1), (1, 0)))
    jobs = (Job("a"), Job("b"))
    still = ((0, 0), (0, 0), (0, 0))
    assert best_order(Problem(jobs, (still,), still, circle)).best is None


def test_stopping_says_so() -> None:
    _optimum, problem = city_problem("br17")
    found = best_order(problem, should_stop=lambda: True)
    assert (found.best, found.stopped, found.is_proven) == (None, True, False)


@pytest.mark.parametrize(
    "wrong",
    [
        {"costs": ()},
        {"costs": (((1, 2),),)},
        {"costs": (((-1, 2), (0, 0), (0, 0)),)},
        {"minutes": ((0, 0),)},
        {"rules": Rules(last=2)},
    ],
)
def test_nonsense_is_refused(wrong) -> None:
    still = ((0, 0), (0, 0), (0, 0))
    good = {"jobs": (Job("a"), Job("b")), "costs": (still,), "minutes": still}
    with pytest.raises(ValueError, match=r"costs|minutes|rule"):
        Problem(**{**good, **wrong})
