"""The cheapest stacks of a whole station at given prices: top, bottom and their difference at once.

Prices are whole numbers. Lengths are cells of the grid; where lengths lie beside the grid the
windows are opened by the most that this can make (``slack_nm``), so that the least found is never
too high, and each stack is checked in exact nanometres afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from tooling.engineering.stacks.columns import GROUND, Maker, ShaftStack, made_stack
from tooling.engineering.stacks.specs import Fill, Shaft
from tooling.engineering.stacks.tables import FAR, Array, Table
from tooling.engineering.stacks.wide import WideTable
from tooling.engineering.stacks.windows import (
    before_window,
    fill_windows,
    guide_constant,
    sum_window,
)


def lowest(values: Array, width: int) -> Array:
    """At each place the least of it and the (width − 1) after it; length shortens so."""
    done, out = 1, values
    while done < width:
        step = min(done, width - done)
        out = np.minimum(out[:-step], out[step:])
        done += step
    return out


def joined(one: Array, other: Array) -> Array:
    """Least sum of one entry of each for every sum of their places."""
    if len(other) > len(one):
        one, other = other, one
    out = np.full(len(one) + len(other) - 1, FAR, dtype=np.int64)
    for at in np.flatnonzero(other < FAR):
        part = out[at : at + len(one)]
        np.minimum(part, one + other[at], out=part)
    return np.minimum(out, FAR)


def _inside(window: tuple[int, int], grid: int, slack: int) -> tuple[int, int]:
    """The cells whose length lies in a window."""
    return -((slack - window[0]) // grid), (window[1] + slack) // grid


Pins = Mapping[str, tuple[int, ...]]
Tables = Mapping[int, Table] | Mapping[int, WideTable]
NO_PINS: Pins = {}


@dataclass(frozen=True)
class Place:
    """A fill on the grid: its table and the cells that it may have."""

    fill: Fill
    group: int
    low: int
    high: int


class ShaftPricer:
    """One shaft: the least price for every sum of the fills before its guide roll."""

    def __init__(self, maker: Maker, at: int, shaft: Shaft, slack_nm: int) -> None:
        self._maker, self._shaft = maker, shaft
        self.number = maker.problem.stations[at].number
        rules, grid = maker.problem.rules, maker.kinds.grid_nm
        self.offset_nm = guide_constant(rules, shaft)
        each_nm, whole_nm, self.slack_nm = slack_nm, slack_nm, slack_nm
        if maker.is_loose and slack_nm:  # each fill is told to the nearest cell
            each_nm = -(-grid // 2)
            whole_nm, self.slack_nm = each_nm * len(shaft.fills), each_nm * shaft.before
        self._before = _inside(before_window(rules, shaft), grid, self.slack_nm)
        self._total = _inside(sum_window(rules, shaft), grid, whole_nm)
        self._places = []
        for fill, window in zip(shaft.fills, fill_windows(rules, shaft), strict=True):
            low, high = _inside(window, grid, each_nm)
            group = maker.kinds.group_of[fill.key]
            self._places.append(Place(fill, group, max(0, low), high))

    @property
    def shaft(self) -> Shaft:
        return self._shaft

    def needs(self) -> list[tuple[int, int]]:
        """(group, most cells) that the tables must hold."""
        return [(place.group, place.high) for place in self._places if place.high >= 0]

    @property
    def possible(self) -> bool:
        """Whether no window is empty and no pin broken."""
        broken = self._maker.fixed.broken
        return (
            all(p.low <= p.high and p.fill.key not in broken for p in self._places)
            and self._before[0] <= self._before[1]
            and self._total[0] <= self._total[1]
        )

    def price(
        self, tables: Tables, price: Array, ground: int | None, pins: Pins = NO_PINS
    ) -> Priced | None:
        """Least prices by the sum before the guide; None where no stack at all is possible.

        ``pins``: by fill the kinds that must stand there, besides those that a person pinned.
        """
        if not self.possible:
            return None
        options = [self._options(place, tables, price, ground, pins) for place in self._places]
        cut = self._shaft.before
        front = _Chain(options[:cut])
        low = max(self._before[0], front.low)
        high = min(self._before[1], front.low + len(front.least) - 1)
        if low > high:
            return None
        back = _Back(options[cut:], self._total, low, high)
        least = front.least[low - front.low : high - front.low + 1] + back.least
        np.minimum(least, FAR, out=least)
        if not (least < FAR).any():
            return None
        return Priced(self, low, least, front, back, tables)

    def _options(
        self, place: Place, tables: Tables, price: Array, ground: int | None,
        pins: Pins,
    ) -> _Options:  # fmt: skip
        pinned = self._maker.fixed.pins.get(place.fill.key, pins.get(place.fill.key))
        if pinned is not None:
            length_nm = sum(self._maker.kinds.kinds[kind].length_nm for kind in pinned)
            cells = round(length_nm / self._maker.kinds.grid_nm)
            cost = int(sum(int(price[kind]) for kind in pinned))
            return _Options(place, cells, np.array([cost], dtype=np.int64), pinned=pinned)
        costs = tables[place.group].costs(place.low, place.high)
        if ground is None:
            return _Options(place, place.low, costs)
        plain, costs = costs, np.minimum(costs, self._grinding(place, ground))
        return _Options(place, place.low, costs, ground=costs < plain)

    def _grinding(self, place: Place, ground: int) -> Array:
        """What a fill costs as one ground piece, or several where it is longer than can be made."""
        make, grid = self._maker.problem.rules.make, self._maker.kinds.grid_nm
        lengths = np.arange(place.low, place.high + 1, dtype=np.int64) * grid
        if make is None:
            return np.full(len(lengths), FAR, dtype=np.int64)
        pieces = np.maximum(1, -(-lengths // make.most_nm))
        return np.where(lengths >= make.least_nm * pieces, pieces * ground, FAR)

    def stack(self, cells: Sequence[tuple[_Options, int]], tables: Tables) -> ShaftStack | None:
        """The exact stack behind a choice of cells."""
        fills: list[Sequence[int]] = []
        ground_nm = {}
        make = self._maker.problem.rules.make
        for at, (option, cell) in enumerate(cells):
            if option.pinned is not None:
                fills.append(option.pinned)
            elif option.is_ground(cell) and make is not None:
                ground_nm[at] = cell * self._maker.kinds.grid_nm
                fills.append([GROUND] * max(1, -(-ground_nm[at] // make.most_nm)))
            else:
                fills.append(tables[option.place.group].stack(cell))
        return made_stack(
            self._maker.problem, self._maker.kinds, self._shaft, fills, ground_nm=ground_nm,
            loose=self._maker.is_loose,
        )  # fmt: skip


@dataclass(frozen=True)
class _Options:
    """The prices of one fill by cells from ``low``."""

    place: Place
    low: int
    least: Array
    pinned: tuple[int, ...] | None = None
    ground: Array | None = None

    def is_ground(self, cell: int) -> bool:
        return self.ground is not None and bool(self.ground[cell - self.low])


class _Chain:
    """Several fills one after the other, with the way back."""

    def __init__(self, options: Sequence[_Options]) -> None:
        self._options = options
        self._sums = [np.zeros(1, dtype=np.int64)]
        self._lows = [0]
        for option in options:
            self._sums.append(joined(self._sums[-1], option.least))
            self._lows.append(self._lows[-1] + option.low)

    @property
    def low(self) -> int:
        return self._lows[-1]

    @property
    def least(self) -> Array:
        return self._sums[-1]

    def cells(self, total: int) -> list[tuple[_Options, int]]:
        """The cells of each fill behind the least price of a sum."""
        chosen: list[tuple[_Options, int]] = []
        for turn in range(len(self._options), 0, -1):
            option, before = self._options[turn - 1], self._sums[turn - 1]
            price = int(self._sums[turn][total - self._lows[turn]])
            places = np.flatnonzero(option.least < FAR)
            rest = total - (places + option.low) - self._lows[turn - 1]
            inside = (rest >= 0) & (rest < len(before))
            places, rest = places[inside], rest[inside]
            fits = np.flatnonzero(option.least[places] + before[rest] == price)
            cell = int(places[fits[0]]) + option.low
            chosen.append((option, cell))
            total -= cell
        return chosen[::-1]


class _Back:
    """The fills after the guide roll: they bring the sum into the closing window."""

    def __init__(
        self, options: Sequence[_Options], total: tuple[int, int], low: int, high: int
    ) -> None:
        self._total = total
        self._has_last = bool(options) and options[-1].place.fill.kind == "outboard"
        middle = options[:-1] if self._has_last else options
        self._chain = _Chain(middle)
        self._last = options[-1] if self._has_last else None
        size, first = len(self._chain.least), low + self._chain.low
        rest = self._rest(first, high - low + size)
        out = np.full(high - low + 1, FAR, dtype=np.int64)
        for at in np.flatnonzero(self._chain.least < FAR):
            part = rest[at : at + len(out)] + self._chain.least[at]
            np.minimum(out, part, out=out)
        self.least = np.minimum(out, FAR)

    def _rest(self, first: int, size: int) -> Array:
        """The least price of the last fill by the sum of all others, from ``first`` on."""
        width = self._total[1] - self._total[0] + 1
        if self._last is None:
            sums = np.arange(first, first + size)
            return np.where((sums >= self._total[0]) & (sums <= self._total[1]), 0, FAR)
        start = self._total[0] - (first + size - 1)
        need = self._slice(self._last, start, size + width - 1)
        return lowest(need, width)[::-1]

    @staticmethod
    def _slice(option: _Options, start: int, size: int) -> Array:
        """The prices of cells from ``start``, FAR where the fill cannot have them."""
        out = np.full(size, FAR, dtype=np.int64)
        low, high = max(start, option.low), min(start + size, option.low + len(option.least))
        if low < high:
            out[low - start : high - start] = option.least[low - option.low : high - option.low]
        return out

    def cells(self, before: int, price: int) -> list[tuple[_Options, int]]:
        """The cells of each fill behind a price, with ``before`` in front of the guide."""
        for at in np.flatnonzero(self._chain.least < FAR):
            middle = int(at) + self._chain.low
            left = price - int(self._chain.least[at])
            sums = before + middle
            if self._last is None:
                if left == 0 and self._total[0] <= sums <= self._total[1]:
                    return self._chain.cells(middle)
                continue
            low, high = self._total[0] - sums, self._total[1] - sums
            need = self._slice(self._last, low, high - low + 1)
            fits = np.flatnonzero(need == left)
            if len(fits):
                return [*self._chain.cells(middle), (self._last, int(fits[0]) + low)]
        raise ValueError("no stack has this price")


@dataclass(frozen=True)
class Priced:
    """One shaft at the present prices: ``least`` by cells before the guide roll, from ``low``."""

    pricer: ShaftPricer
    low: int
    least: Array
    front: _Chain
    back: _Back
    tables: Tables
    kept: ShaftStack | None = None
    kept_at: int | None = None

    def with_kept(self, kept: ShaftStack, before: int, price: int) -> Priced:
        """The same with an earlier stack in its place where that is cheaper."""
        at = before - self.low
        if not 0 <= at < len(self.least) or self.least[at] <= price:
            return self
        least = self.least.copy()
        least[at] = price
        return replace(self, least=least, kept=kept, kept_at=before)

    @cached_property
    def best(self) -> tuple[int, int]:
        """(cells before the guide roll, least price)."""
        at = int(np.argmin(self.least))
        return at + self.low, int(self.least[at])

    def stack(self, before: int) -> ShaftStack | None:
        """The stack behind the least price with so many cells before the guide roll; None where
        it does not hold in exact nanometres."""
        if before == self.kept_at:
            return self.kept
        front = int(self.front.least[before - self.front.low])
        rest = int(self.least[before - self.low]) - front
        cells = [*self.front.cells(before), *self.back.cells(before, rest)]
        return self.pricer.stack(cells, self.tables)


@dataclass(frozen=True)
class Pair:
    """The cheapest top and bottom that go together."""

    top: int
    bottom: int
    price: int


def cheapest_pair(maker: Maker, top: Priced, bottom: Priced, *, most: int = 1) -> list[Pair]:
    """Up to ``most`` cheap pairs with different tops, the cheapest first; none where no pair is
    within the difference window."""
    grid, window = maker.kinds.grid_nm, maker.problem.rules.difference_nm
    shift = top.pricer.offset_nm - bottom.pricer.offset_nm
    slack_nm = top.pricer.slack_nm + bottom.pricer.slack_nm
    least, highest = _inside((window[0] - shift, window[1] - shift), grid, slack_nm)
    if least > highest:
        return []
    width = highest - least + 1
    size = len(top.least)
    start = top.low - highest
    need = np.full(size + width - 1, FAR, dtype=np.int64)
    low = max(start, bottom.low)
    high = min(start + len(need), bottom.low + len(bottom.least))
    if low >= high:
        return []
    need[low - start : high - start] = bottom.least[low - bottom.low : high - bottom.low]
    both = top.least + lowest(need, width)
    pairs = []
    ranked = np.argsort(both, kind="stable")[:most] if most > 1 else [int(np.argmin(both))]
    for at in ranked:
        if both[at] >= FAR // 2:
            break
        part = need[at : at + width]
        pairs.append(Pair(int(at) + top.low, int(np.argmin(part)) + int(at) + start, int(both[at])))
    return pairs
