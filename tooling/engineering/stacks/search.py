"""Column generation: what no choice of stacks can beat, and choices that come close or equal it.

Gilmore and Gomory (1961) with whole stations as columns; bounds by Lagrange's multipliers, computed
in whole numbers. Where every spacer has its own width, a search of near widths has the bounds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from tooling.engineering.stacks.columns import Column, Maker
from tooling.engineering.stacks.kinds import clusters
from tooling.engineering.stacks.master import Master, Relaxed
from tooling.engineering.stacks.offers import Offer, Pricer, Prices
from tooling.engineering.stacks.tables import Array

Stop = Callable[[], bool]
THIN = 6
"""So many kinds of a cluster are offered to one station that is filled up."""
NO_END = 1_000_000
FINE = 1 << 15
"""Prices are multiples of 1 / FINE, or of a coarser power of two where they are high."""


class Bound:
    """The best of Lagrange's bounds for one goal, with the prices that gave it."""

    def __init__(self) -> None:
        self.value: Fraction | None = None
        self.prices: Prices | None = None

    def offer(self, value: Fraction, prices: Prices) -> bool:
        if self.value is not None and value <= self.value:
            return False
        self.value, self.prices = value, prices
        return True


class Search:
    """One problem on its way: the columns so far, the best whole choice, the bounds by aim.

    ``wide``: the same with near widths as one kind, which has the bounds then.
    """

    def __init__(
        self, maker: Maker, should_stop: Stop, spent: Callable[[], float] = lambda: 0.0,
        wide: Search | None = None,
    ) -> None:  # fmt: skip
        self.maker, self.pricer, self.wide = maker, Pricer(maker), wide
        self._should_stop, self._spent = should_stop, spent
        self.was_cut = False
        self.until = 1.0
        """A step ends when so much of the time is spent."""
        counts = [None if kind.made else kind.count for kind in maker.kinds.kinds]
        self.cluster = clusters(maker.kinds.kinds)
        self.master = Master(len(maker.problem.stations), counts, len(maker.aims), self.cluster)
        for column in maker.first():
            self.master.add(column)
        self._room = [None if count is None else int(count) for count in counts]
        self.limits: dict[int, int] = {}
        self.best: tuple[Column, ...] = ()
        self.take(self.nothing().values())
        carried = [c for c in self.master.columns if c.carried]
        if carried:
            self.improve(carried)

    # -- whole choices -----------------------------------------------------------------------

    def figures(self, columns: Sequence[Column]) -> tuple[int, ...]:
        """The aims of a whole choice."""
        return tuple(int(sum(each)) for each in zip(*(c.aims for c in columns), strict=True))

    def take(self, columns: Iterable[Column]) -> bool:
        """Keep a whole choice where it is better than the best so far."""
        chosen = tuple(sorted(columns, key=lambda column: column.station))
        if len(chosen) != len(self.maker.problem.stations) or not self.fits(chosen):
            return False
        if self.best and self.figures(chosen) >= self.figures(self.best):
            return False
        self.best = chosen
        return True

    @property
    def bounding(self) -> Search:
        """Where the bounds are found."""
        return self.wide or self

    @property
    def has_been_cut(self) -> bool:
        """Whether a step had to end before it was done."""
        return self.was_cut or (self.wide is not None and self.wide.was_cut)

    def share(self, until: float) -> None:
        """The next step ends when so much of the time is spent."""
        self.until = until
        if self.wide is not None:
            self.wide.until = until

    def widened(self, column: Column) -> Column:
        """A column as the wide search has it."""
        assert self.wide is not None
        use: dict[int, int] = {}
        of_source = self.wide.maker.kinds.of_source
        for kind, count in column.use:
            wide = of_source[self.maker.kinds.kinds[kind].sources[0]]
            use[wide] = use.get(wide, 0) + count
        return replace(column, use=tuple(sorted(use.items())))

    def own(self, prices: Prices) -> Prices:
        """The prices of the wide search by the kinds of this one."""
        if self.wide is None:
            return prices
        of_source = self.wide.maker.kinds.of_source
        wide = [of_source[kind.sources[0]] for kind in self.maker.kinds.kinds]
        return Prices(prices.pieces[wide], prices.aims, prices.scale)

    def stop(self) -> bool:
        """Whether the present step must end."""
        if self._should_stop() or self._spent() >= self.until:
            self.was_cut = True
            return True
        return False

    def nothing(self) -> dict[int, Column]:
        """The empty column of every station."""
        return {c.station: c for c in self.master.columns if not any(c.stacks)}

    def fits(self, columns: Sequence[Column]) -> bool:
        """Whether the stock is enough."""
        left = self.left(columns)
        return all(room is None or left[kind] >= 0 for kind, room in enumerate(self._room))

    def left(self, columns: Iterable[Column]) -> Array:
        """What columns leave of each kind; of what is made as many as anybody wants."""
        left = self.pricer.counts.copy()
        left[[at for at, kind in enumerate(self.maker.kinds.kinds) if kind.made]] = NO_END
        for column in columns:
            for kind, count in column.use:
                left[kind] -= count
        return left

    def thinned(self, left: Array) -> Array:
        """What is left with a few kinds of each cluster only, those of which there are most: enough
        to choose from for one station, and much quicker where every spacer has its own width."""
        thin = np.zeros_like(left)
        seen: dict[int, int] = {}
        for kind in np.argsort(-left, kind="stable"):
            cluster = self.cluster[int(kind)]
            if seen.get(cluster, 0) < THIN:
                seen[cluster] = seen.get(cluster, 0) + 1
                thin[kind] = left[kind]
        return thin

    def improve(self, some: Iterable[Column]) -> bool:
        """Put columns in the place of the best's where the stock allows, one after the other."""
        improved = False
        for column in some:
            others = [each for each in self.best if each.station != column.station]
            improved |= self.take([*others, column])
        return improved

    def hold(self, aim: int) -> None:
        """From now on an aim may not be worse than it is."""
        for column in self.best:
            self.master.add(column)
            if self.wide is not None:
                self.wide.master.add(self.widened(column))
        self.limit(aim, self.figures(self.best)[aim])

    def limit(self, aim: int, most: int) -> None:
        """From now on an aim may not be more."""
        self.limits[aim] = most
        self.master.limit(aim, most)
        if self.wide is not None:
            self.wide.limit(aim, most)

    def release(self, aim: int) -> None:
        """An aim may be worse again, for the sake of one before it."""
        self.limits.pop(aim, None)
        self.master.limit(aim, None)
        if self.wide is not None:
            self.wide.release(aim)

    # -- bounds ------------------------------------------------------------------------------

    def prices(self, relaxed: Relaxed, goal: Sequence[float]) -> Prices:
        """The linear program's own prices, rounded as finely as the tables can add them up."""
        highest = float(self.pricer.highest(relaxed, goal))
        scale = FINE
        while scale > 1 and highest * scale > self.pricer.cap:
            scale //= 2
        pieces = np.minimum(np.rint(relaxed.pieces * scale), self.pricer.cap)
        aims = tuple(
            round(min(weight + limit, 1e9) * scale)
            for weight, limit in zip(goal, relaxed.limits, strict=True)
        )
        return Prices(pieces.astype(np.int64), aims, scale)

    def lagrange(self, offer: Offer, prices: Prices, goal: Sequence[float]) -> Fraction:
        """What no choice can cost less than."""
        made = np.array([kind.made for kind in self.maker.kinds.kinds], dtype=bool)
        value = sum(offer.least) - int((prices.pieces * self.pricer.counts)[~made].sum())
        for aim, limit in self.limits.items():
            value -= (prices.aims[aim] - round(goal[aim] * prices.scale)) * limit
        return Fraction(value, prices.scale)

    def generate(
        self, goal: Sequence[float], bound: Bound, enough: Callable[[float], bool], rounds: int,
        near: float = 1e-5,
    ) -> Relaxed | None:  # fmt: skip
        """Add columns until the linear program is at its optimum, ``enough`` is known (asked with
        its present value), or asked to stop. The last linear optimum; None where there was none."""
        relaxed = None
        for _round in range(rounds):
            if self.stop():
                break
            relaxed = self.master.relax(goal)
            if relaxed is None:
                break
            prices = self.prices(relaxed, goal)
            worth = relaxed.stations * prices.scale + 1
            offer = self.pricer.offer(prices, pairs=2, worth=worth)
            bound.offer(self.lagrange(offer, prices, goal), prices)
            if enough(relaxed.value) or self._met(bound, relaxed.value, near):
                break
            if not self.fresh(offer.columns, relaxed, goal):
                break
        return relaxed

    @staticmethod
    def _met(bound: Bound, relaxed: float, near: float) -> bool:
        least = relaxed - max(1.0, abs(relaxed)) * near
        return bound.value is not None and bound.value >= least

    def fresh(self, columns: Iterable[Column], relaxed: Relaxed, goal: Sequence[float]) -> int:
        fresh = 0
        for column in columns:
            cost = float(np.dot(column.aims, np.array(goal) + relaxed.limits))
            cost += sum(count * relaxed.pieces[kind] for kind, count in column.use)
            if cost - relaxed.stations[column.station] < -1e-6:
                fresh += self.master.add(column)
        return fresh
