"""Lexicographic assignment: rows to columns, first as many as possible, then cost by cost.

Every level is solved as a linear assignment by the `lap` package on whole numbers that float64
holds exactly. After a level only those pairs stay allowed that some optimum of it may use (reduced
cost zero under exact dual prices), so the next level chooses among optima only. What is still tied
is settled row by row in favour of the lowest column.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import lap
import numpy as np
from numpy.typing import NDArray

COST_MOST = 10**11
"""The largest cost of a pair on one level; sums stay exact in float64 up to 10,000 rows."""

Pairs = Mapping[tuple[int, int], tuple[int, ...]]
Costs = NDArray[np.int64]
Allowed = NDArray[np.bool_]


@dataclass(frozen=True)
class _Problem:
    """A square problem: after the real rows, one idle row per column, and the other way round."""

    rows: int
    columns: int
    levels: tuple[Costs, ...]
    allowed: Allowed


def assign(rows: int, columns: int, pairs: Pairs, levels: int) -> list[int | None]:
    """The column of every row, or None; ``pairs`` holds the allowed pairs with their costs.

    Optimal in this order: most rows filled, least sum of the first cost, of the second, and so
    on; then the first row takes the lowest column that an optimum gives it, then the second row.
    Parts of the problem that share no column are solved apart. Raises ValueError for a cost
    outside 0 … ``COST_MOST`` or a pair outside the problem.
    """
    answer: list[int | None] = [None] * rows
    _check(rows, columns, pairs, levels)
    for part_rows, part_columns in _parts(rows, pairs):
        chosen = _solve(_problem(part_rows, part_columns, pairs, levels))
        for row, column in zip(part_rows, chosen, strict=True):
            answer[row] = None if column is None else part_columns[column]
    return answer


def _check(rows: int, columns: int, pairs: Pairs, levels: int) -> None:
    for (row, column), costs in pairs.items():
        if not (0 <= row < rows and 0 <= column < columns):
            raise ValueError(f"pair ({row}, {column}) lies outside the problem")
        if len(costs) != levels or not all(0 <= cost <= COST_MOST for cost in costs):
            raise ValueError(f"pair ({row}, {column}): {levels} costs from 0 to {COST_MOST}")


def _parts(rows: int, pairs: Pairs) -> list[tuple[list[int], list[int]]]:
    """Connected parts as (rows, columns), each in ascending order."""
    of_row: dict[int, list[int]] = {row: [] for row in range(rows)}
    of_column: dict[int, list[int]] = {}
    for row, column in pairs:
        of_row[row].append(column)
        of_column.setdefault(column, []).append(row)
    seen: set[int] = set()
    parts = []
    for start in range(rows):
        if start in seen or not of_row[start]:
            continue
        part_rows, part_columns, waiting = {start}, set(), [start]
        while waiting:
            for column in of_row[waiting.pop()]:
                part_columns.add(column)
                new = set(of_column[column]) - part_rows
                part_rows |= new
                waiting.extend(new)
        seen |= part_rows
        parts.append((sorted(part_rows), sorted(part_columns)))
    return parts


def _problem(rows: Sequence[int], columns: Sequence[int], pairs: Pairs, levels: int) -> _Problem:
    """Unfilled rows pay 1 on level zero; idle rows and columns pair at no cost."""
    n, m = len(rows), len(columns)
    size = n + m
    allowed = np.ones((size, size), dtype=np.bool_)
    allowed[:n, :m] = False
    costs = [np.zeros((size, size), dtype=np.int64) for _level in range(levels + 1)]
    costs[0][:n, m:] = 1
    place = {column: at for at, column in enumerate(columns)}
    here = {row: at for at, row in enumerate(rows)}
    for (row, column), given in pairs.items():
        if row in here:
            at = here[row], place[column]
            allowed[at] = True
            for level, cost in enumerate(given, start=1):
                costs[level][at] = cost
    return _Problem(n, m, tuple(costs), allowed)


def _solve(problem: _Problem) -> list[int | None]:
    allowed = problem.allowed
    matched = np.zeros(0, dtype=np.int64)
    for costs in problem.levels:
        matched = _cheapest(costs, allowed)
        allowed = _tight(costs, allowed, matched)
    settled = _settle(allowed, matched, problem.rows)
    return [int(c) if c < problem.columns else None for c in settled[: problem.rows]]


def _cheapest(costs: Costs, allowed: Allowed) -> NDArray[np.int64]:
    """The column of each row in one cheapest complete matching of allowed pairs."""
    forbidden = float(costs.max()) * (len(costs) + 1) + 1
    exact = np.where(allowed, costs, forbidden).astype(np.float64)
    matched, _rows = lap.lapjv(exact, return_cost=False)
    return np.asarray(matched, dtype=np.int64)


def _tight(costs: Costs, allowed: Allowed, matched: NDArray[np.int64]) -> Allowed:
    """Pairs that some cheapest matching may use: reduced cost zero under exact dual prices.

    Prices of columns fall until none is above what an exchange would cost (Bellman and Ford);
    they settle within one round per row. Raises ArithmeticError when ``matched`` is no optimum.
    """
    rows = np.arange(len(costs))
    extra = costs - costs[rows, matched][:, None]
    barred = np.int64(2**61)
    prices = np.zeros(len(costs), dtype=np.int64)
    for _round in range(len(costs) + 1):
        offers = np.where(allowed, prices[matched][:, None] + extra, barred).min(axis=0)
        lower = np.minimum(prices, offers)
        if np.array_equal(lower, prices):
            return allowed & (extra + prices[matched][:, None] == prices[None, :])
        prices = lower
    raise ArithmeticError("the matching is not the cheapest")


def _settle(allowed: Allowed, matched: NDArray[np.int64], rows: int) -> NDArray[np.int64]:
    """Row by row the lowest column that still leaves a complete matching."""
    free = allowed.copy()
    matched = matched.copy()
    for row in range(rows):
        came_from = _exchanges(free, matched, row)
        owner = np.argsort(matched)
        for column in np.flatnonzero(free[row]):
            taker = int(owner[column])
            if taker == row or came_from[taker] >= 0:
                _exchange(matched, came_from, row, taker)
                break
        free[:, matched[row]] = False
        free[row, :] = False
        free[row, matched[row]] = True
    return matched


def _exchanges(free: Allowed, matched: NDArray[np.int64], row: int) -> NDArray[np.int64]:
    """For every row that can end up freeing ``row``'s column: the next row whose column it takes.

    Searched backwards from ``row``; −1 where there is no such chain.
    """
    next_row = np.full(len(matched), -1, dtype=np.int64)
    waiting = [row]
    reached = np.zeros(len(matched), dtype=np.bool_)
    reached[row] = True
    while waiting:
        target = waiting.pop()
        new = np.flatnonzero(free[:, matched[target]] & ~reached)
        reached[new] = True
        next_row[new] = target
        waiting.extend(int(each) for each in new)
    return next_row


def _exchange(
    matched: NDArray[np.int64], next_row: NDArray[np.int64], row: int, taker: int
) -> None:
    """``row`` takes ``taker``'s column, which takes its next row's, until ``row``'s is taken."""
    wanted = int(matched[taker])
    while taker != row:
        following = int(next_row[taker])
        matched[taker] = matched[following]
        taker = following
    matched[row] = wanted
