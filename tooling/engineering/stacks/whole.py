"""Whole choices out of a search: by diving along its linear program, by filling up what lacks, by
taking a few stations apart, and by an integer program over the columns that it has gathered."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tooling.engineering.stacks.columns import GROUND, Column, use_of
from tooling.engineering.stacks.offers import Prices
from tooling.engineering.stacks.search import Bound, Search

Choice = dict[int, Column]
"""Columns by station."""


def dive(
    search: Search, goal: Sequence[float], rounds: int, sure: float,
    dice: np.random.Generator | None = None,
) -> Choice:  # fmt: skip
    """Fix the columns that the linear program likes best until every station has one, pricing the
    rest anew (``rounds`` times) with what is left of the stock.

    ``sure``: columns with so much of their station are taken together. ``dice`` shakes what it
    likes a little. Stations that it did not come to get nothing.
    """
    chosen: Choice = {}
    count = len(search.maker.problem.stations)
    while len(chosen) < count and not search.stop():
        relaxed = None
        for turn in range(rounds + 1):
            relaxed = search.master.relax(goal, _open(search, chosen))
            if relaxed is None or turn == rounds:
                break
            prices = search.prices(relaxed, goal)
            free = set(range(count)) - set(chosen)
            left = search.left(chosen.values())
            offer = search.pricer.offer(prices, counts=left, stations=free, strict=True)
            if not search.fresh(offer.columns, relaxed, goal):
                break
        if relaxed is None:
            break
        shares = relaxed.shares
        if dice is not None:
            shares = shares + 0.2 * dice.random(len(shares)) * (shares > 1e-6)
        _fix(search, chosen, shares, sure)
    return search.nothing() | chosen


def _open(search: Search, chosen: Choice) -> np.ndarray:
    """Which columns may still be taken: the chosen, and those of free stations that the stock
    still allows."""
    left = search.left(chosen.values())
    return np.array([
        1.0 if column is chosen.get(column.station)
        or (column.station not in chosen and all(left[k] >= n for k, n in column.use))
        else 0.0
        for column in search.master.columns
    ])  # fmt: skip


def _fix(search: Search, chosen: Choice, shares: np.ndarray, sure: float) -> None:
    """Take the surest column, and others that are nearly sure, as far as the stock goes. Whole
    stations come before parts of stations."""
    left = search.left(chosen.values())
    taken = False
    rank = np.array([
        float(share) - (column.aims[0] > 0)
        for share, column in zip(shares, search.master.columns, strict=True)
    ])  # fmt: skip
    for at in np.argsort(-rank, kind="stable"):
        column = search.master.columns[int(at)]
        if taken and rank[at] < sure:
            return
        if column.station in chosen or any(left[kind] < n for kind, n in column.use):
            continue
        chosen[column.station] = column
        for kind, count in column.use:
            left[kind] -= count
        taken = True


def complete(search: Search, at: int, prices: Prices, left: np.ndarray) -> Column | None:
    """A column for one station out of what is left, one fill after the other, so that no piece is
    taken twice; None where nothing is found."""
    pins: dict[str, tuple[int, ...]] = {}
    left = search.thinned(left)
    while True:
        offer = search.pricer.offer(prices, counts=left, stations=[at], strict=True, pins=pins)
        if not offer.columns:
            return None
        column = min(offer.columns, key=lambda each: search.pricer.cost(each, prices))
        use = use_of(column.stacks)
        for kinds in pins.values():
            for kind in kinds:
                use[kind] = use.get(kind, 0) - 1
        if all(kind == GROUND or left[kind] >= count for kind, count in use.items()):
            return column
        _length, key, kinds = min(_unpinned(search, column, pins))
        twice = [k for k in kinds if k != GROUND and kinds.count(k) > left[k]]
        if twice:  # a shim more often than there are: without it
            left[twice] = 0
            continue
        pins[key] = kinds
        for kind in kinds:
            if kind != GROUND:  # ground to length: there is no count of it
                left[kind] -= 1


def _unpinned(
    search: Search, column: Column, pins: dict[str, tuple[int, ...]]
) -> list[tuple[int, str, tuple[int, ...]]]:
    """(length, fill, kinds) of the fills that are still free."""
    station = search.maker.problem.stations[column.station]
    return [
        (length, fill.key, kinds)
        for shaft, stack in zip(station.shafts, column.stacks, strict=True)
        if stack is not None
        for fill, kinds, length in zip(shaft.fills, stack.fills, stack.fills_nm, strict=True)
        if fill.key not in pins
    ]


def fill_up(search: Search, prices: Prices, choice: Choice) -> Choice:
    """Complete stations that lack shafts out of what is left and what they have themselves."""
    for at, column in sorted(choice.items()):
        if column.aims[0] and not search.stop():
            others = [each for each in choice.values() if each is not column]
            found = complete(search, at, prices, search.left(others))
            if found is not None and found.aims < column.aims:
                search.master.add(found)
                choice = choice | {at: found}
    return choice


def rebuilt(search: Search, prices: Prices, dice: np.random.Generator, some: int) -> bool:
    """Take a few stations apart, those that lack first, and build them up again one by one."""
    count = len(search.maker.problem.stations)
    short = [column.station for column in search.best if column.aims[0]]
    dice.shuffle(short)
    free = short[: max(1, some // 2)]
    others = [at for at in range(count) if at not in free]
    dice.shuffle(others)
    free += others[: max(0, some - len(free))]
    moved = beside(prices, dice, 0.3)
    choice = {column.station: column for column in search.best if column.station not in free}
    nothing = search.nothing()
    for at in free:
        column = complete(search, at, moved, search.left(choice.values()))
        choice[at] = column or nothing[at]
        search.master.add(choice[at])
    return search.take(choice.values())


def beside(prices: Prices, dice: np.random.Generator, part: float) -> Prices:
    """Prices moved up or down by up to a part of themselves."""
    moved = prices.pieces * (1 - part + 2 * part * dice.random(len(prices.pieces)))
    return Prices(np.rint(moved).astype(np.int64), prices.aims, prices.scale)


def whole_choice(search: Search, goal: Sequence[float], nodes: int) -> bool:
    """The integer program over the columns gathered so far, limits by aim as they stand."""
    at = {id(column): turn for turn, column in enumerate(search.master.columns)}
    start = [at[id(column)] for column in search.best if id(column) in at]
    chosen, _proven = search.master.choose(goal, start=start, nodes=nodes, should_stop=search.stop)
    if chosen is None:
        return False
    return search.take(search.master.columns[turn] for turn in chosen)


def closer(search: Search, bound: Bound, dice: np.random.Generator, rounds: int) -> None:
    """More columns from prices beside those of the bound: they help whole choices."""
    for _round in range(rounds):
        if search.stop() or bound.prices is None:
            return
        offer = search.pricer.offer(beside(search.own(bound.prices), dice, 0.2), strict=True)
        for column in offer.columns:
            search.master.add(column)
