"""The best regrind plan, proven. Loads the solver: for the worker and ``compute`` only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
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
from tooling.engineering.regrinds.parts import (
    highest,
    pushing,
    restrict,
    split,
    starts,
    worth_replacing,
)
from tooling.engineering.regrinds.specs import Problem
from tooling.engineering.regrinds.telling import Chosen, frees, tell
from tooling.engineering.regrinds.weigh import Aims, Weights, added, aims

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
    if isinstance(search.least(search.may_be_new()), Impossible):
        return Solved("infeasible", conflicts=_conflicts(search))
    progress(0.2)
    chosen = _choose(search, weights, should_stop)
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


def _choose(search: Search, weights: Weights, should_stop: Stop) -> Chosen:
    """The best of every part by itself: parts that do not touch add up."""
    model = search.model
    arcs = pushing(model, highest(search), starts(search))
    new: set[int] = set()
    bounds: list[Aims | None] = []
    for pieces in split(model, arcs):
        part = Search(restrict(model, pieces, arcs), should_stop)
        found = _part(part, weights.among(pieces), should_stop)
        new |= {pieces[n] for n in found.new}
        bounds.append(found.bound)
    amounts = search.least(new)
    assert isinstance(amounts, Amounts)
    reached = aims(model, weights, new, amounts.off_nm)
    known = [each for each in bounds if each is not None]
    bound = added(known) if len(known) == len(bounds) else None
    return Chosen(frozenset(new), amounts, reached, bound)


def _part(search: Search, weights: Weights, should_stop: Stop) -> Chosen:
    """Where only those are replaced that must be by themselves, and there are no prices, nothing
    is better. Otherwise an integer program, as small as that first answer makes it."""
    forced = _forced(search)
    first = search.least(forced)
    if isinstance(first, Impossible):
        return _programmed(search, Program(search, weights, should_stop))
    reached = aims(search.model, weights, forced, first.off_nm)
    if not weights.has_prices or not reached.cents:
        return Chosen(forced, first, reached, reached)
    return _priced(search, weights, forced, first, should_stop)


def _priced(
    search: Search, weights: Weights, forced: frozenset[int], first: Amounts, should_stop: Stop
) -> Chosen:
    """Replacing more only ever takes less off the others: so the first answer bounds what comes
    off every piece, and most requirements between two pieces can no longer matter."""
    model = search.model
    arcs = pushing(model, first.off_nm, starts(search))
    worth = worth_replacing(search, weights, first.off_nm, arcs) | forced
    new: set[int] = set()
    bounds: list[Aims | None] = []
    for pieces in split(replace(model, sums=()), arcs):
        part = Search(replace(restrict(model, pieces, arcs), sums=()), should_stop)
        most = [first.off_nm[n] for n in pieces]
        open_to = frozenset(spot for spot, n in enumerate(pieces) if n in worth)
        program = Program(part, weights.among(pieces), should_stop, most, open_to)
        found = _programmed(part, program)
        new |= {pieces[n] for n in found.new}
        bounds.append(found.bound)
    amounts = search.least(new)
    assert isinstance(amounts, Amounts)
    known = [each for each in bounds if each is not None]
    bound = added(known) if len(known) == len(bounds) else None
    return Chosen(frozenset(new), amounts, aims(model, weights, new, amounts.off_nm), bound)


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


def _programmed(search: Search, program: Program) -> Chosen:
    """The pieces to replace by the integer program; the amounts exactly."""
    weights, model = program.weights, search.model
    for _try in range(MOST_TRIES):
        rows = len(program.rows)
        new, is_proven, bounds = program.solve()
        if new is None:
            break
        found = search.least(new)
        if isinstance(found, Amounts):
            reached = aims(model, weights, new, found.off_nm)
            return Chosen(new, found, reached, _bound(weights, reached, bounds, is_proven))
        del program.rows[rows:]
        program.forbid(new)
    new = search.may_be_new()
    found = search.least(new)
    assert isinstance(found, Amounts)
    return Chosen(new, found, aims(model, weights, new, found.off_nm), None)


def _bound(weights: Weights, reached: Aims, bounds: list[float], is_proven: bool) -> Aims | None:
    """The aims that no answer beats: those reached where the program is proven."""
    if is_proven:
        return reached
    if not bounds:
        return None
    if weights.has_prices:
        fixed = sum(price.leave for price in weights.prices)
        return Aims(Fraction(int(bounds[0])) + fixed, 0, 0, 0)
    return Aims(Fraction(0), max(0, int(bounds[0])), 0, 0)
