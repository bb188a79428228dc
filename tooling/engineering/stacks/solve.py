"""Chooses the spacers of all shafts at once: small problems exactly, large ones with bounds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

import numpy as np

from tooling.engineering.stacks.columns import Column, Maker
from tooling.engineering.stacks.every import Every, TooMany
from tooling.engineering.stacks.fills import recombine
from tooling.engineering.stacks.kinds import CLUSTER_FROM
from tooling.engineering.stacks.search import FINE, Bound, Search, Stop
from tooling.engineering.stacks.whole import closer, dive, fill_up, rebuilt, whole_choice

EVERY_MOST = 20_000
"""Up to so many steps every column is written down and the answer is the optimum."""
QUICK_DIVES = ((1, 0.4), (1, 0.3), (1, 0.5))
"""The same where each round of prices takes long."""
PIECES = ("shims", "spacers")
DIVES = ((2, 0.75), (1, 0.75), (2, 0.5), (3, 0.75), (1, 0.5))
"""Ways to dive: rounds of prices at each step, and from what share on columns go together."""
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
    """How hard a large problem is tried: rounds of prices, dives, stations taken apart, branches.

    ``near``: the search for fewer pieces ends so near (a part of the bound) above it.
    """

    every_most: int = EVERY_MOST
    rounds: int = 300
    dives: int = 4
    rebuilds: int = 12
    nodes: int = 1
    near: float = 0.008


def choose(
    maker: Maker,
    *,
    should_stop: Stop,
    progress: Progress,
    effort: Effort,
    weights: Sequence[float],
    seed: int = 0,
    spent: Callable[[], float] = lambda: 0.0,
) -> Chosen:
    """The best columns by the maker's aims, one after the other."""
    if maker.kinds.kinds or maker.problem.stations:
        try:
            every = Every(maker, effort.every_most).columns()
        except TooMany:
            pass
        else:
            return _among_all(maker, every, should_stop)
    search = Search(maker, should_stop, spent)
    return _searched(search, progress, effort, weights, seed)


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
    search: Search, progress: Progress, effort: Effort,
    weights: Sequence[float], seed: int,
) -> Chosen:  # fmt: skip
    maker, dice = search.maker, np.random.default_rng(seed)
    progress(0.05, "bound")
    at_once = Bound()
    near = 3e-4 if len(maker.kinds.kinds) <= CLUSTER_FROM else 3e-3
    search.until = 0.35
    search.generate(weights, at_once, lambda _value: False, effort.rounds, near)
    search.until = 0.5
    first = Level(search, 0, effort)
    first.find_bound()
    progress(0.3, "stacks")
    _dives(search, at_once, effort, weights)
    search.until = 0.95
    levels = []
    for aim, name in enumerate(maker.aims):
        level = Level(search, aim, effort) if aim else first
        if aim:
            level.find_bound()
        if name not in PIECES and not level.met():
            _better(level, at_once, dice, weights)
        search.hold(aim)
        levels.append(level)
        progress(0.4 + 0.4 * (aim + 1) / len(maker.aims), name)
    _fewer_pieces(levels[-2:], at_once, dice, weights)
    figures = search.figures(search.best)
    told = _bounds(levels, at_once, figures, weights)
    return Chosen(maker, search.best, figures, told, None, search.was_cut and told != figures)


def _bounds(
    levels: Sequence[Level], at_once: Bound, figures: Sequence[int], weights: Sequence[float]
) -> tuple[int, ...]:
    """By aim what nothing beats. The bound on all aims at once says something of the last one too:
    what the others weigh, as found, is taken off."""
    bounds = [level.least() or 0 for level in levels]
    if at_once.value is not None:
        others = sum(Fraction(w) * f for w, f in zip(weights[:-1], figures[:-1], strict=True))
        bounds[-1] = max(bounds[-1], ceil((at_once.value - others) / Fraction(weights[-1])))
    return tuple(min(b, f) for b, f in zip(bounds, figures, strict=True))


def _fewer_pieces(
    levels: Sequence[Level], at_once: Bound, dice: np.random.Generator, weights: Sequence[float]
) -> None:
    """Shims, then spacers: better where the bounds leave room. Fewer shims make the bound on
    spacers anew, for that holds while there are so many shims."""
    for at, level in enumerate(levels):
        for later in levels[at:]:
            later.search.release(later.aim)
        before = level.reached
        if not level.near():
            _better(level, at_once, dice, weights)
        level.search.hold(level.aim)
        if level.reached < before:
            for later in levels[at + 1 :]:
                later.find_bound()


def _dives(search: Search, bound: Bound, effort: Effort, weights: Sequence[float]) -> None:
    """Dives of several kinds, until one comes near the bound of all aims at once."""
    ways = DIVES if len(search.maker.kinds.kinds) <= CLUSTER_FROM else QUICK_DIVES
    for turn in range(effort.dives):
        if search.stop() or bound.prices is None or bound.value is None:
            return
        rounds, sure = ways[turn % len(ways)]
        search.until = 0.65
        choice = dive(search, weights, rounds, sure)
        search.until = 0.85
        choice = fill_up(search, bound.prices, choice)
        search.take(choice.values())
        reached = float(np.dot(search.figures(search.best), weights))
        if reached <= float(bound.value) * (1 + effort.near / 2) + 0.999:
            return


class Level:
    """One aim of a search, those before it held: its bound, and whether the best is near it."""

    def __init__(self, search: Search, aim: int, effort: Effort) -> None:
        names = search.maker.aims
        self.search, self.aim, self.effort = search, aim, effort
        self._total = int(search.pricer.counts.sum()) + 1
        last = names.index("spacers")
        self._tiny = 0.0
        if aim != last and 5 * self._total <= FINE:
            self._tiny = float(2.0 ** -np.ceil(np.log2(5 * self._total)))
        self.goal = [float(at == aim) + self._tiny * (at == last) for at in range(len(names))]
        self.bound = Bound()

    @property
    def reached(self) -> int:
        return self.search.figures(self.search.best)[self.aim]

    def find_bound(self) -> None:
        """Column generation for this aim; nothing to do where it is at nothing already."""
        self.bound = Bound()
        if self.reached:
            self.search.generate(self.goal, self.bound, self._enough, self.effort.rounds)

    def _enough(self, value: float) -> bool:
        """Whether no more rounds can raise the bound above what it is."""
        known = self.least()
        if known is None:
            return False
        highest = ceil(value - self._tiny * self._total - 1e-6)
        return known >= min(self.reached, max(0, highest))

    def least(self) -> int | None:
        """What nothing beats while the aims before are as held. Later aims count a little in the
        goal, so that stacks are sensible; what they can add is taken off."""
        if not self.reached:
            return 0
        if self.bound.value is None:
            return None
        return max(0, ceil(self.bound.value - Fraction(self._tiny) * self._total))

    def met(self) -> bool:
        return self.least() == self.reached

    def near(self) -> bool:
        """Near enough: within a part of all pieces where the aim is pieces."""
        least = self.least()
        if least is None or self.search.maker.aims[self.aim] not in PIECES:
            return self.met()
        pieces = sum(self.search.figures(self.search.best)[-2:])
        return self.reached - least <= pieces * self.effort.near


def _better(
    level: Level, at_once: Bound, dice: np.random.Generator, weights: Sequence[float]
) -> None:
    """Better whole choices for one aim: for pieces by further dives first, then by taking a few
    stations apart, then by integer programs over what was gathered."""
    search, effort = level.search, level.effort
    pieces = search.maker.aims[level.aim] in PIECES
    dives = effort.dives if pieces or search.maker.aims[level.aim] == "made" else 0
    for turn in range(dives):
        if level.near() or search.stop() or at_once.prices is None:
            return
        rounds, sure = DIVES[turn % len(DIVES)]
        goal, prices = weights, at_once.prices
        if search.figures(search.best)[0] and level.bound.prices is not None:
            prices = level.bound.prices
            goal = [max(1.1 * prices.aims[0] / prices.scale, 1.0), *weights[1:]]
        choice = dive(search, goal, rounds, sure, dice)
        search.take(fill_up(search, prices, choice).values())
    for turn in range(effort.rebuilds):
        if level.near() or search.stop() or at_once.prices is None:
            return
        rebuilt(search, at_once.prices, dice, 2 + turn % 3)
    closer(search, level.bound, dice, 3)
    if level.near() or search.stop():
        return
    if not pieces:
        whole_choice(
            search, [float(at == level.aim) for at in range(len(level.goal))], effort.nodes
        )
    elif at_once.prices is not None and not search.maker.making:
        recombine(search, level.goal, at_once.prices, nodes=effort.nodes)
