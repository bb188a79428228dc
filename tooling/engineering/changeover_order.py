"""The best order of the coming jobs on one mill: exact for a week's list, bounded beyond.

Lateness first, then the aims of a changeover in their order. Costs are exact integers or sums of
them, so that equal orders compare equal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tooling.engineering.changeover_bound import least_costs

EXACT_MOST = 11
"""Up to so many jobs every order is weighed."""
NOW = 0
"""The row of the costs that starts from what stands on the mill."""

Costs = tuple[int, ...]
"""One figure per aim, the first the most important."""


@dataclass(frozen=True)
class Job:
    """A job to place: minutes that it runs, and from now until it is due; None when it never is."""

    name: str
    run_minutes: float = 0.0
    due_minutes: float | None = None


@dataclass(frozen=True)
class Rules:
    """What no order may break, by the jobs' places in the list.

    ``before``: (a, b), a runs before b. ``apart``: (a, b), b never straight after a; a of −1 is
    what stands on the mill now. ``last``: the job that ends the list.
    """

    before: tuple[tuple[int, int], ...] = ()
    apart: tuple[tuple[int, int], ...] = ()
    last: int | None = None


@dataclass(frozen=True)
class Problem:
    """``costs[aim][i][j]``: of going from i to job j; row 0 is the mill as it stands, row k + 1
    is job k. ``minutes[i][j]`` the same for the median time of the changeover.

    Raises ValueError for tables of another shape, a negative figure or a rule about no job.
    """

    jobs: tuple[Job, ...]
    costs: tuple[tuple[tuple[int, ...], ...], ...]
    minutes: tuple[tuple[float, ...], ...]
    rules: Rules = Rules()

    def __post_init__(self) -> None:
        count = len(self.jobs)
        for name, table in (("minutes", self.minutes), *(("costs", each) for each in self.costs)):
            if len(table) != count + 1 or any(len(row) != count for row in table):
                raise ValueError(f"{name}: {count + 1} rows of {count} figures are needed")
            if any(figure < 0 for row in table for figure in row):
                raise ValueError(f"{name}: a figure is negative")
        if not self.costs:
            raise ValueError("costs: one aim at least")
        named = {each for pair in self.rules.before for each in pair}
        named |= {each for pair in self.rules.apart for each in pair} - {-1}
        named |= {self.rules.last} - {None}  # type: ignore[arg-type]
        if not named <= set(range(count)):
            raise ValueError("a rule names a job that is not in the list")

    def step(self, last: int, job: int) -> Costs:
        return tuple(aim[last + 1][job] for aim in self.costs)

    def packed(self) -> list[list[int]]:
        """All aims of a step in one whole number that compares as they do, one after the other."""
        count = len(self.jobs)
        table = [[0] * count for _row in range(count + 1)]
        for aim in self.costs:
            base = 1 + count * max((figure for row in aim for figure in row), default=0)
            for row, figures in zip(table, aim, strict=True):
                row[:] = [above * base + figure for above, figure in zip(row, figures, strict=True)]
        return table


@dataclass(frozen=True)
class Weighed:
    """An order with what it costs. ``late_minutes`` is the sum over the jobs."""

    order: tuple[int, ...]
    late_minutes: float
    costs: Costs

    @property
    def rank(self) -> tuple[float, Costs]:
        return (self.late_minutes, self.costs)


@dataclass(frozen=True)
class Ordered:
    """The best order found. ``bound`` has one figure per aim that nothing can beat, None where
    nothing is known; ``is_proven`` when no other order is better; ``stopped`` when it was cut off.
    ``best`` is None when the rules allow no order.
    """

    best: Weighed | None
    bound: tuple[float | None, ...]
    is_proven: bool
    stopped: bool = False


Stop = Callable[[], bool]


def weigh(problem: Problem, order: Sequence[int]) -> Weighed:
    """What an order costs, rules aside. Raises ValueError unless it has every job once."""
    if sorted(order) != list(range(len(problem.jobs))):
        raise ValueError("an order has every job once")
    clock, late = 0.0, 0.0
    costs: Costs = (0,) * len(problem.costs)
    for last, job in pairwise((-1, *order)):
        clock += problem.minutes[last + 1][job] + problem.jobs[job].run_minutes
        due = problem.jobs[job].due_minutes
        late += max(0.0, clock - due) if due is not None else 0.0
        costs = _add(costs, problem.step(last, job))
    return Weighed(tuple(order), late, costs)


def keeps(rules: Rules, order: Sequence[int]) -> bool:
    """Whether an order breaks no rule."""
    at = {job: place for place, job in enumerate(order)}
    follows = set(pairwise((-1, *order)))
    return (
        all(at[a] < at[b] for a, b in rules.before)
        and not follows & set(rules.apart)
        and (rules.last is None or not order or order[-1] == rules.last)
    )


def best_order(
    problem: Problem, *, seed: int = 0, rounds: int = 8, should_stop: Stop = lambda: False,
    enough_bounding: Stop = lambda: False, starts: Sequence[Sequence[int]] = (),
) -> Ordered:  # fmt: skip
    """The order with the least lateness, then the least cost aim by aim.

    Up to ``EXACT_MOST`` jobs it is proven; beyond, it is improved from ``rounds`` starts, and from
    those given in ``starts``, and the bound says how far it can be from the best. When
    ``enough_bounding`` says so, the bounds known by then do. Due dates are judged by the median
    times.
    """
    if len(problem.jobs) <= EXACT_MOST:
        return _exact(problem, should_stop)
    return _improved(problem, seed, rounds, should_stop, enough_bounding, starts)


@dataclass(frozen=True)
class _Label:
    """The best ways to have run a group of jobs and stand at one of them."""

    late: float
    costs: Costs
    clock: float
    order: tuple[int, ...]

    def beats(self, other: _Label) -> bool:
        """Never worse whatever follows: later time only ever makes the rest later."""
        return self.clock <= other.clock and (
            self.late < other.late or (self.late == other.late and self.costs <= other.costs)
        )


def _exact(problem: Problem, should_stop: Stop) -> Ordered:
    """Held and Karp's recursion, with every way kept that a later due date could prefer."""
    count, aims = len(problem.jobs), len(problem.costs)
    apart = set(problem.rules.apart)
    needs = [sum({1 << a for a, b in problem.rules.before if b == job}) for job in range(count)]
    timed = any(job.due_minutes is not None for job in problem.jobs)
    level: dict[tuple[int, int], list[_Label]] = {(0, -1): [_Label(0.0, (0,) * aims, 0.0, ())]}
    for done in range(count):
        grown: dict[tuple[int, int], list[_Label]] = {}
        for (mask, last), labels in level.items():
            if should_stop():
                return Ordered(None, (None,) * (aims + 1), is_proven=False, stopped=True)
            for job in range(count):
                if mask >> job & 1 or needs[job] & ~mask or (last, job) in apart:
                    continue
                if problem.rules.last == job and done < count - 1:
                    continue
                kept = grown.setdefault((mask | 1 << job, job), [])
                for label in labels:
                    _keep(kept, _grown(problem, label, last, job), timed)
        level = grown
    found = [label for labels in level.values() for label in labels]
    if not found:
        return Ordered(None, (None,) * (aims + 1), is_proven=True)
    label = min(found, key=lambda each: (each.late, each.costs, each.order))
    best = weigh(problem, label.order)
    return Ordered(best, (best.late_minutes, *best.costs), is_proven=True)


def _grown(problem: Problem, label: _Label, last: int, job: int) -> _Label:
    clock = label.clock + problem.minutes[last + 1][job] + problem.jobs[job].run_minutes
    due = problem.jobs[job].due_minutes
    late = label.late + (max(0.0, clock - due) if due is not None else 0.0)
    return _Label(late, _add(label.costs, problem.step(last, job)), clock, (*label.order, job))


def _keep(kept: list[_Label], new: _Label, timed: bool) -> None:
    if not timed:
        if not kept or (new.costs, new.order) < (kept[0].costs, kept[0].order):
            kept[:] = [new]
        return
    if any(old.beats(new) for old in kept):
        return
    kept[:] = [old for old in kept if not new.beats(old)]
    kept.append(new)


def _improved(
    problem: Problem, seed: int, rounds: int, should_stop: Stop,
    enough_bounding: Stop = lambda: False, starts: Sequence[Sequence[int]] = (),
) -> Ordered:  # fmt: skip
    dice = np.random.default_rng(seed)
    bound = least_costs(problem, lambda: should_stop() or enough_bounding())
    search = _Search(problem, should_stop)
    best: Weighed | None = None
    greedy = (_greedy(problem, dice, at) for at in range(rounds))
    for start in (*bound.orders, *(list(each) for each in starts), *greedy):
        if should_stop() or (best and best.rank == (0.0, bound.least)):
            break
        found = search.climb(_repaired(problem.rules, start))
        if found is not None and (best is None or found.rank < best.rank):
            best = found
    if best is None:
        nothing = (None,) * (len(problem.costs) + 1)
        return Ordered(None, nothing, is_proven=False, stopped=should_stop())
    proven = best.rank == (0.0, bound.least)
    stopped = should_stop() and not proven
    return Ordered(best, _limits(best, bound.least), is_proven=proven, stopped=stopped)


def _limits(best: Weighed, least: Sequence[int | None]) -> tuple[float | None, ...]:
    """Figures that nothing beats: an aim's counts only while those before it are met exactly."""
    told: list[float | None] = [0.0]
    exact = best.late_minutes == 0
    for figure, found in zip(least, best.costs, strict=True):
        told.append(figure if exact or len(told) == 1 else None)
        exact = exact and figure == found
    return tuple(told)


def _greedy(problem: Problem, dice: np.random.Generator, start: int) -> list[int]:
    """The cheapest next job, now and then the second cheapest."""
    left, last, order = set(range(len(problem.jobs))), -1, []
    while left:
        ranked = sorted(left, key=lambda job: (problem.step(last, job), job))
        pick = 1 if len(ranked) > 1 and start and dice.random() < 0.2 else 0
        last = ranked[pick]
        order.append(last)
        left.remove(last)
    return order


def _repaired(rules: Rules, order: Sequence[int]) -> list[int]:
    """The order with earlier jobs pulled before those that wait for them, and the last one last."""
    waits = {job: {a for a, b in rules.before if b == job} for job in order}
    left, done = list(order), list[int]()
    while left:
        job = next((j for j in left if waits[j] <= set(done) and j != rules.last), left[0])
        left.remove(job)
        done.append(job)
    return done


class _Search:
    """Moves runs of one to three jobs elsewhere, and turns stretches, while that helps."""

    def __init__(self, problem: Problem, should_stop: Stop) -> None:
        self._problem, self._should_stop = problem, should_stop
        self._costs = problem.packed()
        self._timed = any(job.due_minutes is not None for job in problem.jobs)

    def climb(self, order: list[int]) -> Weighed | None:
        """The order at the top of the hill, or None when it breaks a rule even there."""
        best, ok = tuple(order), keeps(self._problem.rules, order)
        rank = self._rank(best)
        improved = True
        while improved and not self._should_stop():
            improved = False
            for other in _neighbours(best):
                found = self._rank(other)
                if (not ok or found < rank) and keeps(self._problem.rules, other):
                    best, rank, ok, improved = other, found, True, True
                    break
        return weigh(self._problem, best) if ok else None

    def _rank(self, order: Sequence[int]) -> tuple[float, int]:
        cost, last = 0, -1
        for job in order:
            cost += self._costs[last + 1][job]
            last = job
        return (weigh(self._problem, order).late_minutes if self._timed else 0.0, cost)


def _neighbours(order: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    count = len(order)
    for length in (1, 2, 3):
        for start in range(count - length + 1):
            moved, rest = order[start : start + length], order[:start] + order[start + length :]
            for at in range(len(rest) + 1):
                if at != start:
                    yield rest[:at] + moved + rest[at:]
    for start in range(count - 1):
        for end in range(start + 2, count + 1):
            yield order[:start] + order[start:end][::-1] + order[end:]


def _add(one: Costs, other: Costs) -> Costs:
    return tuple(a + b for a, b in zip(one, other, strict=True))
