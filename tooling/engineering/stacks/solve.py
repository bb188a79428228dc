"""Chooses the spacers of all shafts at once: small problems exactly, large ones with bounds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

import numpy as np

from tooling.engineering.stacks.columns import Column, Maker, fixed_widened
from tooling.engineering.stacks.every import Every, TooMany
from tooling.engineering.stacks.exchange import exchanged
from tooling.engineering.stacks.fills import recombine
from tooling.engineering.stacks.kinds import CLUSTER_FROM, widened
from tooling.engineering.stacks.lengthwise import least_spacers, least_uncompleted
from tooling.engineering.stacks.reach import hopeless
from tooling.engineering.stacks.refill import Refill
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
    """How hard a large problem is tried: rounds of prices, dives, stations taken apart, branches,
    exchanges.

    ``near``: the search for fewer pieces ends so near (a part of the bound) above it.
    """

    every_most: int = EVERY_MOST
    rounds: int = 300
    dives: int = 4
    rebuilds: int = 12
    nodes: int = 1
    near: float = 0.008
    exchanges: int = 4_000


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
    broken = maker.fixed.broken | hopeless(maker)
    maker = replace(maker, fixed=replace(maker.fixed, broken=broken))
    search = Search(maker, should_stop, spent, _wide(maker, should_stop, spent))
    return Run(search, progress, effort, weights, np.random.default_rng(seed)).chosen()


def _wide(maker: Maker, should_stop: Stop, spent: Callable[[], float]) -> Search | None:
    """A search for bounds by clusters, where there are many kinds."""
    if len(maker.kinds.kinds) <= CLUSTER_FROM:
        return None
    kinds = widened(maker.problem, maker.kinds)
    if kinds is None:
        return None
    fixed = fixed_widened(maker.fixed, maker.kinds, kinds)
    return Search(Maker(maker.problem, kinds, fixed, maker.making), should_stop, spent)


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


class Level:
    """One aim of a search, those before it held: its bound, and whether the best is near it."""

    def __init__(
        self, search: Search, aim: int, effort: Effort, floor: Callable[[], int] = lambda: 0
    ) -> None:
        names = search.maker.aims
        self.search, self.aim, self.effort, self._floor = search, aim, effort, floor
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
        """Column generation for this aim; nothing to do where the bound is reached already."""
        self.bound = Bound()
        if not self.met():
            self.search.bounding.generate(self.goal, self.bound, self._enough, self.effort.rounds)

    def _enough(self, value: float) -> bool:
        """Whether no more rounds can raise the bound above what it is."""
        if self.bound.value is None:
            return False
        highest = ceil(value - self._tiny * self._total - 1e-6)
        return self.least() >= min(self.reached, max(0, highest))

    def least(self) -> int:
        """What nothing beats while the aims before are as held. Later aims count a little in the
        goal, so that stacks are sensible; what they can add is taken off."""
        if not self.reached:
            return 0
        known = self._floor()
        if self.bound.value is not None:
            known = max(known, ceil(self.bound.value - Fraction(self._tiny) * self._total))
        return min(self.reached, max(0, known))

    def met(self) -> bool:
        return self.least() == self.reached

    def near(self) -> bool:
        """Near enough: within a part of all pieces where the aim is pieces."""
        if self.search.maker.aims[self.aim] not in PIECES:
            return self.met()
        pieces = sum(self.search.figures(self.search.best)[-2:])
        return self.reached - self.least() <= pieces * self.effort.near


class Run:
    """One search from the first whole choice to the last bound."""

    def __init__(
        self, search: Search, progress: Progress, effort: Effort, weights: Sequence[float],
        dice: np.random.Generator,
    ) -> None:  # fmt: skip
        self.search, self.effort, self.weights, self.dice = search, effort, weights, dice
        self._progress = progress
        self.at_once: Bound | None = None
        """The bound on all aims at once, where it has been asked for."""
        self._looked = False

    def chosen(self) -> Chosen:
        search = self.search
        names = search.maker.aims
        self._progress(0.05, "stacks")
        search.share(0.3)
        exchanged(search, self.dice, self.effort.exchanges, lambda _refill: False)
        levels = [Level(search, aim, self.effort, self._floor(aim)) for aim in range(len(names))]
        for level in levels:
            if names[level.aim] not in PIECES:
                self._settle(level)
            else:
                self._bound_pieces(level)
            search.hold(level.aim)
            self._progress(0.1 + 0.7 * (level.aim + 1) / len(names), names[level.aim])
        search.share(0.95)
        self._fewer_pieces(levels[-2:])
        figures = search.figures(search.best)
        told = tuple(level.least() for level in levels)
        return Chosen(
            search.maker, search.best, figures, told, None, search.has_been_cut and told != figures
        )

    def _floor(self, aim: int) -> Callable[[], int]:
        """What is known of an aim without its own search."""
        search = self.search
        if search.maker.aims[aim] == "uncompleted_shafts":
            least = least_uncompleted(search.maker)
            return lambda: least
        if search.maker.aims[aim] == "spacers":
            return self._least_spacers
        return lambda: 0

    def _least_spacers(self) -> int:
        """By total length, and by the bound on all aims at once: what the others weigh, as found,
        is taken off."""
        *others, _spacers = self.search.figures(self.search.best)
        least = 0
        if not self.search.maker.making:
            least = least_spacers(self.search.maker, others[0], others[-1])
        if self.at_once is not None and self.at_once.value is not None:
            taken = sum(Fraction(w) * f for w, f in zip(self.weights[:-1], others, strict=True))
            least = max(least, ceil((self.at_once.value - taken) / Fraction(self.weights[-1])))
        return least

    def _settle(self, level: Level) -> None:
        """An aim before the pieces: its bound, and better choices until that is reached."""
        if level.met():
            return
        if not self._looked:
            self._look()
        self.search.share(0.6)
        level.find_bound()
        self.search.share(0.8)
        if not level.met():
            self._better(level)

    def _look(self) -> None:
        """All aims at once, and dives along it."""
        self._looked = True
        self.search.share(0.45)
        self._find_at_once()
        self._dives()

    def _find_at_once(self) -> None:
        self.at_once = Bound()
        near = 3e-4 if self.search.wide is None and self._is_small() else 1e-3
        self.search.bounding.generate(
            self.weights, self.at_once, lambda _value: False, self.effort.rounds, near
        )

    def _is_small(self) -> bool:
        return len(self.search.maker.kinds.kinds) <= CLUSTER_FROM

    def _bound_pieces(self, level: Level) -> None:
        """Bounds on shims and spacers, the aims before them held."""
        self.search.share(0.7)
        if self.at_once is None:
            self._find_at_once()
        self.search.share(0.8)
        level.find_bound()

    def _fewer_pieces(self, levels: Sequence[Level]) -> None:
        """Shims, then spacers: better where the bounds leave room. Fewer shims make the bound on
        spacers anew, for that holds while there are so many shims."""
        for at, level in enumerate(levels):
            for later in levels[at:]:
                level.search.release(later.aim)
            before = level.reached
            if not level.near():
                self._better(level)
            level.search.hold(level.aim)
            if level.reached < before:
                for later in levels[at + 1 :]:
                    later.find_bound()

    def _dives(self) -> None:
        """Dives of several kinds, until one comes near the bound of all aims at once."""
        search, bound = self.search, self.at_once
        ways = DIVES if self._is_small() else QUICK_DIVES
        for turn in range(self.effort.dives):
            if search.stop() or bound is None or bound.prices is None or bound.value is None:
                return
            rounds, sure = ways[turn % len(ways)]
            search.share(0.65)
            choice = dive(search, self.weights, rounds, sure)
            search.share(0.75)
            choice = fill_up(search, search.own(bound.prices), choice)
            search.take(choice.values())
            reached = float(np.dot(search.figures(search.best), self.weights))
            if reached <= float(bound.value) * (1 + self.effort.near / 2) + 0.999:
                return

    def _better(self, level: Level) -> None:
        """Better whole choices for one aim: by exchange, for pieces by further dives, then by
        taking a few stations apart, then by integer programs over what was gathered."""
        search, effort, dice = self.search, self.effort, self.dice
        exchanged(search, dice, effort.exchanges, lambda refill: _reaches(refill, level))
        if self.at_once is None or self.at_once.prices is None:
            return
        prices = search.own(self.at_once.prices)
        for turn in range(effort.dives if self._is_dived(level) else 0):
            if level.near() or search.stop():
                return
            rounds, sure = DIVES[turn % len(DIVES)]
            goal = self.weights
            if search.figures(search.best)[0] and level.bound.prices is not None:
                prices = search.own(level.bound.prices)
                goal = [max(1.1 * prices.aims[0] / prices.scale, 1.0), *self.weights[1:]]
            choice = dive(search, goal, rounds, sure, dice)
            search.take(fill_up(search, prices, choice).values())
        for turn in range(effort.rebuilds if search.wide is None else 0):
            if level.near() or search.stop():
                return
            rebuilt(search, search.own(self.at_once.prices), dice, 2 + turn % 3)
        if search.wide is None:
            closer(search, level.bound, dice, 3)
        if level.near() or search.stop():
            return
        if search.maker.aims[level.aim] not in PIECES:
            goal = [float(at == level.aim) for at in range(len(level.goal))]
            whole_choice(search, goal, effort.nodes)
        elif not search.maker.making:
            prices = search.own(self.at_once.prices)
            recombine(search, level.goal, prices, nodes=effort.nodes)

    def _is_dived(self, level: Level) -> bool:
        return self.search.maker.aims[level.aim] in (*PIECES, "made") and self.search.wide is None


def _reaches(refill: Refill, level: Level) -> bool:
    """Whether a choice on its way is at the bound of an aim."""
    figures = level.search.figures(list(refill.columns.values()))
    return figures[: level.aim + 1] <= (
        *level.search.figures(level.search.best)[: level.aim], level.least(),
    )  # fmt: skip
