"""Whole choices out of a search: by diving along its linear program, by doing a few stations over,
and by an integer program over the columns that it has gathered."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tooling.engineering.stacks.columns import Column
from tooling.engineering.stacks.search import COARSE, Bound, Prices, Search

SURE = 0.75
"""A column with so much of its station is taken at once."""


def dive(
    search: Search, goal: Sequence[float], fixed: Sequence[Column] = (), rounds: int = 2
) -> bool:
    """Fix the columns that the linear program likes best until every station has one, pricing the
    rest anew with what is left of the stock. True when the best choice became better."""
    chosen = {column.station: column for column in fixed}
    count = len(search.maker.problem.stations)
    while len(chosen) < count and not search.stop():
        relaxed = None
        for turn in range(rounds + 1):
            relaxed = search.master.relax(goal, _open(search, chosen))
            if relaxed is None:
                return False
            if turn == rounds:
                break
            prices = search.prices(relaxed, goal, COARSE)
            left = search.left(chosen.values())
            free = set(range(count)) - set(chosen)
            offer = search.pricer.offer(prices, counts=left, stations=free, strict=True)
            if not search.fresh(offer.columns, relaxed, goal):
                break
        if relaxed is None:
            return False
        _fix(search, chosen, relaxed.shares)
    return len(chosen) == count and search.take(chosen.values())


def _open(search: Search, chosen: dict[int, Column]) -> np.ndarray:
    """Which columns may still be taken: the chosen, and those of free stations that the stock
    still allows."""
    left = search.left(chosen.values())
    return np.array([
        1.0 if column is chosen.get(column.station)
        or (column.station not in chosen and all(left[k] >= n for k, n in column.use))
        else 0.0
        for column in search.master.columns
    ])  # fmt: skip


def _fix(search: Search, chosen: dict[int, Column], shares: np.ndarray) -> None:
    """Take the surest column, and others that are nearly sure, as far as the stock goes."""
    left = search.left(chosen.values())
    taken = False
    for at in np.argsort(-shares, kind="stable"):
        column = search.master.columns[int(at)]
        if taken and shares[at] < SURE:
            return
        if column.station in chosen or any(left[kind] < n for kind, n in column.use):
            continue
        chosen[column.station] = column
        for kind, count in column.use:
            left[kind] -= count
        taken = True


def do_over(search: Search, goal: Sequence[float], dice: np.random.Generator, some: int) -> bool:
    """Take the stacks of a few stations apart and choose them anew."""
    count = len(search.maker.problem.stations)
    if count < 2:
        return False
    worst = np.array([float(np.dot(c.aims, goal)) for c in search.best])
    chance = (worst + worst.mean() + 1e-9) / (worst + worst.mean() + 1e-9).sum()
    free = set(dice.choice(count, size=min(some, count), replace=False, p=chance).tolist())
    fixed = [column for column in search.best if column.station not in free]
    return dive(search, goal, fixed, rounds=3)


def whole_choice(search: Search, goal: Sequence[float], nodes: int) -> bool:
    """The integer program over the columns gathered so far, limits by aim as they stand."""
    at = {id(column): turn for turn, column in enumerate(search.master.columns)}
    start = [at[id(column)] for column in search.best if id(column) in at]
    chosen, _proven = search.master.choose(
        goal, start=start, nodes=nodes, should_stop=search.stop
    )
    if chosen is None:
        return False
    return search.take(search.master.columns[turn] for turn in chosen)


def closer(search: Search, bound: Bound, goal: Sequence[float], rounds: int) -> None:
    """More columns from prices beside those of the bound: they help whole choices."""
    dice = np.random.default_rng(rounds)
    for _round in range(rounds):
        if search.stop() or bound.prices is None:
            return
        prices = bound.prices
        beside = prices.pieces * (0.8 + 0.4 * dice.random(len(prices.pieces)))
        moved = Prices(np.rint(beside).astype(np.int64), prices.aims, prices.scale)
        for column in search.pricer.offer(moved, strict=True).columns:
            search.master.add(column)
