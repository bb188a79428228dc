"""Column generation: what no choice of stacks can beat, and choices that come close or equal it.

Gilmore and Gomory (1961) with whole stations as columns; bounds by Lagrange's multipliers smoothed
as by Wentges (1997), computed in whole numbers; whole choices by diving and by doing stations over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from tooling.engineering.stacks.columns import Column, Maker, ShaftStack, use_of
from tooling.engineering.stacks.kinds import clusters
from tooling.engineering.stacks.master import Master, Relaxed
from tooling.engineering.stacks.pricing import (
    NO_PINS,
    Pins,
    Priced,
    ShaftPricer,
    Tables,
    cheapest_pair,
)
from tooling.engineering.stacks.tables import FAR, Array, Table
from tooling.engineering.stacks.wide import WideTable

Stop = Callable[[], bool]
THIN = 6
"""So many kinds of a cluster are offered to one station that is filled up."""
NO_END = 1_000_000
FINE = 1 << 15
"""Prices are multiples of 1 / FINE, or of a coarser power of two where they are high."""


@dataclass(frozen=True)
class Prices:
    """Whole prices by kind and by aim, in parts of one in ``scale``."""

    pieces: Array
    aims: tuple[int, ...]
    scale: int


@dataclass(frozen=True)
class Offer:
    """The least that each station can cost at some prices, and columns that cost about that."""

    least: tuple[int, ...]
    columns: tuple[Column, ...]


class Pricer:
    """Answers prices with the least cost of every station."""

    def __init__(self, maker: Maker) -> None:
        self.maker = maker
        kinds = maker.kinds
        self._cells = kinds.cells
        self._shim = np.array([kind.is_shim for kind in kinds.kinds], dtype=bool)
        self._made = np.array([kind.made for kind in kinds.kinds], dtype=bool)
        make = maker.problem.rules.make
        self._steps = np.array(
            [k.length_nm // make.step_nm if make and k.made else 0 for k in kinds.kinds],
            dtype=np.int64,
        )
        self.counts = np.array([kind.count for kind in kinds.kinds], dtype=np.int64)
        self._most = self._most_cells(0)
        shortest = int(self._cells[~self._shim].min()) if (~self._shim).any() else 1
        shims = maker.problem.rules.most_shims
        self.most_pieces = shims + max(1, max(self._most.values(), default=1) // shortest)
        self.slack_nm = 0
        if kinds.off_nm:
            fills = max(len(shaft.fills) for shaft in maker.problem.shafts.values())
            self.slack_nm = kinds.off_nm * self.most_pieces * fills + kinds.grid_nm
            if maker.is_loose:
                self.slack_nm = kinds.grid_nm * fills
            self._most = self._most_cells(self.slack_nm)
        self.shafts = self._pricers(self.slack_nm)
        self._strict = self._pricers(0) if self.slack_nm else self.shafts
        self.cap = (1 << 29) // self.most_pieces
        self.kept = maker.fixed.keep

    def _pricers(self, slack_nm: int) -> list[list[ShaftPricer]]:
        stations = self.maker.problem.stations
        return [
            [ShaftPricer(self.maker, at, shaft, slack_nm) for shaft in station.shafts]
            for at, station in enumerate(stations)
        ]

    def _most_cells(self, slack_nm: int) -> dict[int, int]:
        most: dict[int, int] = {}
        for shafts in self._pricers(slack_nm):
            for shaft in shafts:
                for group, cells in shaft.needs():
                    most[group] = max(most.get(group, 0), cells)
        return most

    def highest(self, relaxed: Relaxed, goal: Sequence[float]) -> float:
        """The most that one piece costs at a linear program's prices."""
        names = self.maker.aims
        aims = [weight + limit for weight, limit in zip(goal, relaxed.limits, strict=True)]
        most = max(aims[names.index("shims")], aims[names.index("spacers")])
        if self.maker.making:
            longest = int(self._steps.max(initial=0))
            most = max(most, aims[names.index("spacers")] + aims[names.index("made")]
                       + longest * aims[names.index("made_nm")])  # fmt: skip
        return float(relaxed.pieces.max(initial=0.0)) + most

    def piece_prices(self, pieces: Array, aims: Sequence[int]) -> Array:
        """What one piece of each kind costs: its own price and what it adds to the aims."""
        names = self.maker.aims
        price = pieces + np.where(
            self._shim, aims[names.index("shims")], aims[names.index("spacers")]
        )
        if self.maker.making:
            price = price + np.where(self._made, aims[names.index("made")], 0)
            price = price + self._steps * aims[names.index("made_nm")]
        return np.asarray(np.minimum(price, self.cap), dtype=np.int64)

    def offer(
        self,
        prices: Prices,
        *,
        counts: Array | None = None,
        stations: Iterable[int] | None = None,
        pairs: int = 1,
        strict: bool = False,
        worth: Array | None = None,
        pins: Pins = NO_PINS,
    ) -> Offer:
        """The least cost of each station (0 for those not asked) and columns.

        ``counts``: what there is of each kind, when less than all. ``strict``: windows not opened
        for lengths beside the grid. ``worth``: by station the price above which one shaft alone is
        not looked at closely.
        """
        there = self.counts if counts is None else counts
        price = self.piece_prices(prices.pieces, prices.aims)
        asked = range(len(self.shafts)) if stations is None else sorted(stations)
        tables = self._tables(price, there)
        least, columns = [0] * len(self.shafts), []
        for at in asked:
            limit = FAR if worth is None else int(worth[at])
            cost, found = self._station(at, prices, price, tables, pairs, strict, limit, pins)
            least[at] = cost
            columns += found
        return Offer(tuple(least), tuple(columns))

    def _tables(self, price: Array, counts: Array) -> dict[int, Table] | dict[int, WideTable]:
        if self.maker.is_loose:
            return self._wide_tables(price)
        tables = {}
        for group, most in self._most.items():
            spacers: list[tuple[int, int, int]] = []
            shims: list[tuple[int, int, int]] = []
            for kind in self.maker.kinds.eligible(group):
                cells = int(self._cells[kind])
                count = most // cells + 1 if self._made[kind] else int(counts[kind])
                (shims if self._shim[kind] else spacers).append((kind, cells, count))
            tables[group] = Table(spacers, shims, most, self.maker.problem.rules.most_shims)
            tables[group].price(price)
        return tables

    def _wide_tables(self, price: Array) -> dict[int, WideTable]:
        kinds = self.maker.kinds
        tables = {}
        for group, most in self._most.items():
            told = [(kind, kinds.wide[kind]) for kind in kinds.eligible(group)]
            tables[group] = WideTable(
                [each for each in told if not self._shim[each[0]]],
                [each for each in told if self._shim[each[0]]],
                kinds.grid_nm, most, self.maker.problem.rules.most_shims,
            )  # fmt: skip
            tables[group].price(price)
        return tables

    def _station(
        self, at: int, prices: Prices, price: Array, tables: Tables, pairs: int,
        strict: bool, worth: int, pins: Pins,
    ) -> tuple[int, list[Column]]:  # fmt: skip
        names, station = self.maker.aims, self.maker.problem.stations[at]
        without = prices.aims[names.index("uncompleted_shafts")]
        opened, changed, ground = 0, 0, None
        if self.maker.making:
            extra = prices.aims[names.index("spacers")]
            ground = int(prices.aims[names.index("ground")]) + int(extra)
        else:
            changed = prices.aims[names.index("changed_shafts")]
            if station.number in self.maker.fixed.carried:
                opened = prices.aims[names.index("opened_stations")]
        before = [(station.number, s.which) in self.maker.problem.keep for s in station.shafts]
        base = opened + changed * sum(before)
        least = base + without * len(station.shafts)
        pricers = (self._strict if strict else self.shafts)[at]
        shafts = [self._shaft(one, tables, price, ground, changed, pins) for one in pricers]
        columns = []
        for turn, priced in enumerate(shafts):
            if priced is None:
                continue
            cells, cost = priced.best
            alone = base + cost + without * (len(shafts) - 1)
            least = min(least, alone)
            if alone < worth:
                columns.append(self._column(at, [
                    priced.stack(cells) if i == turn else None for i in range(len(shafts))
                ]))  # fmt: skip
        if len(shafts) == 2 and shafts[0] is not None and shafts[1] is not None:
            top, bottom = shafts if station.shafts[0].which == "top" else shafts[::-1]
            for pair in cheapest_pair(self.maker, top, bottom, most=pairs):  # type: ignore[arg-type]
                least = min(least, base + pair.price)
                both = [top.stack(pair.top), bottom.stack(pair.bottom)]  # type: ignore[union-attr]
                if None not in both:
                    in_place = both if station.shafts[0].which == "top" else both[::-1]
                    columns.append(self._column(at, in_place))
        carried = self.maker.fixed.carried.get(station.number)
        if carried and not self.maker.making:
            column = self.maker.column(at, carried, carried=True)
            if column is not None:
                least = min(least, self.cost(column, prices))
        return least, [column for column in columns if column is not None]

    def _shaft(
        self, pricer: ShaftPricer, tables: Tables, price: Array, ground: int | None,
        changed: int, pins: Pins,
    ) -> Priced | None:  # fmt: skip
        priced = pricer.price(tables, price, ground, pins)
        kept = self.kept.get((pricer.number, pricer.shaft.which))
        if priced is None or kept is None or pins or self.maker.making:
            return priced
        use = use_of([kept])
        cost = sum(count * int(price[kind]) for kind, count in use.items()) - changed
        sums = kept.guide_error_nm - pricer.offset_nm
        return priced.with_kept(kept, round(sums / self.maker.kinds.grid_nm), cost)

    def _column(self, at: int, stacks: Sequence[ShaftStack | None]) -> Column | None:
        if not any(stacks):
            return None
        return self.maker.column(at, stacks)

    def cost(self, column: Column, prices: Prices) -> int:
        """What a column costs at some prices."""
        cost = sum(figure * price for figure, price in zip(column.aims, prices.aims, strict=True))
        return int(cost + sum(count * int(prices.pieces[kind]) for kind, count in column.use))


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
