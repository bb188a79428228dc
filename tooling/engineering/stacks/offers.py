"""The least cost of every station at given prices, and the columns that cost about that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tooling.engineering.stacks.columns import Column, Maker, ShaftStack, use_of
from tooling.engineering.stacks.master import Relaxed
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
