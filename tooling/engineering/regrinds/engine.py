"""The best regrind plan, proven. Loads the solver: for the worker and ``compute`` only."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from tooling.engineering.regrinds.answer import Conflict, Solved
from tooling.engineering.regrinds.checking import check_pins
from tooling.engineering.regrinds.choose import Program
from tooling.engineering.regrinds.conflict import conflicts
from tooling.engineering.regrinds.least import (
    Amounts,
    Domain,
    Impossible,
    Search,
    Stopped,
    contour_groups,
)
from tooling.engineering.regrinds.model import build
from tooling.engineering.regrinds.specs import Problem
from tooling.engineering.regrinds.telling import Chosen, frees, tell
from tooling.engineering.regrinds.weigh import Aims, Weights, aims

Stop = Callable[[], bool]
Progress = Callable[[float], None]
MOST_TRIES = 50


def solve_regrind(
    problem: Problem,
    *,
    should_stop: Stop = lambda: False,
    progress: Progress = lambda share: None,
) -> Solved:
    """What to leave, cut, face and replace at the least cost, or with no prices with the fewest
    replaced, then the fewest cut, then the least stock.

    ``infeasible``: conflicts, each of requirements that cannot be kept together though any one
    less could. ``stopped``: asked to stop; with the best plan found, where there is one.
    Raises ToolingError for pins that cannot be: ``off_grinder_step``, ``no_such_diameter``,
    ``cut_adds``.
    """
    model = build(problem)
    check_pins(model)
    search = Search(model, should_stop)
    try:
        return _solve(search, Weights.of(model), should_stop, progress)
    except Stopped:
        return Solved("stopped")


def _solve(search: Search, weights: Weights, should_stop: Stop, progress: Progress) -> Solved:
    progress(0.1)
    all_new = search.may_be_new()
    if isinstance(search.least(all_new), Impossible):
        return Solved("infeasible", conflicts=_conflicts(search))
    progress(0.2)
    chosen = _simple(search, weights) or _programmed(search, weights, all_new, should_stop)
    progress(0.8)
    plan = tell(search, weights, chosen, should_stop)
    progress(1.0)
    return Solved("ok" if plan.is_proven else "stopped", plan)


def _conflicts(search: Search) -> tuple[Conflict, ...]:
    told = search.model.requirements
    return tuple(
        Conflict(tuple(told[at].told for at in one), frees(search, one))
        for one in conflicts(search)
    )


def _simple(search: Search, weights: Weights) -> Chosen | None:
    """With no prices, where only those are replaced that must be by themselves: nothing better."""
    if weights.has_prices:
        return None
    forced = _forced(search)
    found = search.least(forced)
    if isinstance(found, Impossible):
        return None
    reached = aims(search.model, weights, forced, found.off_nm)
    return Chosen(forced, found, reached, reached)


def _forced(search: Search) -> frozenset[int]:
    """The pieces that cannot stay whatever becomes of the rest, with those of their contour."""
    free = search.may_be_new()
    forced: set[int] = set()
    for group in contour_groups(search.model, free):
        if not _can_stay([search.domain(n, is_new=False) for n in group]):
            forced |= set(group)
    return frozenset(forced)


def _can_stay(domains: list[Domain]) -> bool:
    """Whether one amount suits all of these pieces without replacing them."""
    least, before = max(each.low_nm for each in domains), -1
    while least != before:
        before = least
        for each in domains:
            raised = each.up(least)
            if raised is None:
                return False
            least = raised
    return True


def _programmed(
    search: Search, weights: Weights, all_new: frozenset[int], should_stop: Stop
) -> Chosen:
    """The pieces to replace by the integer program; the amounts exactly."""
    program = Program(search, weights, should_stop)
    best: Chosen | None = None
    for _try in range(MOST_TRIES):
        rows = len(program.rows)
        new, is_proven, bounds = program.solve()
        if new is None:
            break
        found = search.least(new)
        if isinstance(found, Amounts):
            reached = aims(search.model, weights, new, found.off_nm)
            best = Chosen(new, found, reached, _bound(search, weights, reached, bounds, is_proven))
            break
        del program.rows[rows:]
        program.forbid(new)
    if best is not None:
        return best
    found = search.least(all_new)
    assert isinstance(found, Amounts)
    return Chosen(all_new, found, aims(search.model, weights, all_new, found.off_nm), None)


def _bound(
    search: Search, weights: Weights, reached: Aims, bounds: list[float], is_proven: bool
) -> Aims | None:
    """The aims that no answer beats: those reached where the program is proven."""
    if is_proven:
        return reached
    if not bounds:
        return None
    if weights.has_prices:
        fixed = sum(price.leave for price in weights.prices)
        return Aims(Fraction(int(bounds[0])) + fixed, 0, 0, 0)
    return Aims(Fraction(0), max(0, int(bounds[0])), 0, 0)
