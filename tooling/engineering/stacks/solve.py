"""Chooses the spacers of all shafts at once: small problems exactly, large ones with bounds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tooling.engineering.stacks.columns import Column, Maker, fixed_of
from tooling.engineering.stacks.every import Every, TooMany
from tooling.engineering.stacks.kinds import Kinds, kinds_of
from tooling.engineering.stacks.search import COARSE, FINE, Bound, Search, Stop
from tooling.engineering.stacks.specs import Problem
from tooling.engineering.stacks.whole import closer, dive, do_over, whole_choice

EVERY_MOST = 20_000
"""Up to so many steps every column is written down and the answer is the optimum."""
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Chosen:
    """Columns by station, and by aim what they come to and what nothing beats (None: unknown)."""

    maker: Maker
    columns: tuple[Column, ...]
    figures: tuple[int, ...]
    bound: tuple[int | None, ...]
    every: tuple[Column, ...] | None
    """All columns that there are, where they were written down."""
    stopped: bool


@dataclass(frozen=True)
class Effort:
    """How hard a large problem is tried."""

    every_most: int = EVERY_MOST
    rounds: int = 200
    doings_over: int = 40
    nodes: int = 400
    good_enough: float = 0.0
    """Stop at this part above the bound on pieces; 0: go on until the efforts are used up."""


def choose(
    maker: Maker,
    *,
    should_stop: Stop,
    progress: Progress,
    effort: Effort,
    weights: Sequence[float],
    seed: int = 0,
) -> Chosen:
    """The best columns by the maker's aims, one after the other."""
    if maker.kinds.kinds or maker.problem.stations:
        try:
            every = Every(maker, effort.every_most).columns()
        except TooMany:
            pass
        else:
            return _among_all(maker, every, should_stop)
    return _searched(maker, should_stop, progress, effort, weights, seed)


def _among_all(maker: Maker, every: Sequence[Column], should_stop: Stop) -> Chosen:
    search = Search(maker, should_stop)
    for column in every:
        search.master.add(column)
    bound: list[int | None] = []
    for aim in range(len(maker.aims)):
        goal = [float(at == aim) for at in range(len(maker.aims))]
        if not bound or bound[-1] is not None:
            bound.append(_least(search, goal, aim))
        else:
            bound.append(None)
    stopped = None in bound
    columns = tuple(search.master.columns)
    return Chosen(maker, search.best, search.figures(search.best), tuple(bound), columns, stopped)


def _least(search: Search, goal: Sequence[float], aim: int) -> int | None:
    """Make one aim least among all columns and hold it there; None where it was cut off."""
    if not any(column.aims[aim] for column in search.best):
        search.master.limit(aim, 0)
        return 0
    chosen, proven = search.master.choose(goal, should_stop=search.stop)
    if chosen is not None:
        search.best = tuple(
            sorted((search.master.columns[at] for at in chosen), key=lambda c: c.station)
        )
    figure = search.figures(search.best)[aim]
    search.master.limit(aim, figure)
    return figure if proven and chosen is not None else None


def _searched(
    maker: Maker, should_stop: Stop, progress: Progress, effort: Effort,
    weights: Sequence[float], seed: int,
) -> Chosen:  # fmt: skip
    search = Search(maker, should_stop)
    dice = np.random.default_rng(seed)
    progress(0.05, "bound")
    all_at_once = Bound(COARSE)
    search.generate(weights, all_at_once, lambda: False, effort.rounds)
    progress(0.4, "stacks")
    dive(search, weights)
    bounds: list[int | None] = []
    for aim, name in enumerate(maker.aims):
        bounds.append(_level(search, aim, effort, dice, weights))
        progress(0.4 + 0.6 * (aim + 1) / len(maker.aims), name)
    figures = search.figures(search.best)
    told = tuple(min(b, f) if b is not None else None for b, f in zip(bounds, figures, strict=True))
    stopped = should_stop() and told != figures
    return Chosen(maker, search.best, figures, told, None, stopped)


def _level(
    search: Search, aim: int, effort: Effort, dice: np.random.Generator, weights: Sequence[float]
) -> int | None:
    """Bound one aim, better it where the bound leaves room, and hold it there."""
    names = search.maker.aims
    last = names.index("spacers")
    total = int(search.pricer.counts.sum()) + 1
    tiny = 0.0 if aim == last or 5 * total > FINE else float(2.0 ** -np.ceil(np.log2(5 * total)))
    goal = [float(at == aim) + tiny * (at == last) for at in range(len(names))]
    bound = Bound(FINE if aim != last else FINE // 4)

    def least() -> int | None:
        if bound.value is None:
            return None
        over = round(tiny * bound.scale) * total
        return max(0, -((over - bound.value) // bound.scale))

    def met() -> bool:
        known = least()
        return known is not None and known >= search.figures(search.best)[aim]

    if search.figures(search.best)[aim] == 0:
        search.hold(aim)
        return 0
    search.generate(goal, bound, met, effort.rounds)
    if not met() and not search.stop():
        _better(search, aim, goal, bound, met, effort, dice, weights)
    search.hold(aim)
    return least()


def _better(
    search: Search, aim: int, goal: Sequence[float], bound: Bound, met: Callable[[], bool],
    effort: Effort, dice: np.random.Generator, weights: Sequence[float],
) -> None:  # fmt: skip
    closer(search, bound, goal, 3)
    whole_choice(search, [float(at == aim) for at in range(len(goal))], effort.nodes)
    for turn in range(effort.doings_over):
        if met() or search.stop():
            return
        do_over(search, weights, dice, 3 + turn % 4)


def solved_kinds(problem: Problem, made_nm: tuple[int, ...] = ()) -> tuple[Kinds, Maker]:
    """The kinds and the maker of a problem."""
    kinds = kinds_of(problem, made_nm)
    return kinds, Maker(problem, kinds, fixed_of(problem, kinds), making=bool(made_nm))
