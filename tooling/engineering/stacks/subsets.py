"""Piles by their sum alone: the fewest pieces of a pool, and a part of a pile with a given sum.

Both by dynamic programming (Bellman 1957); the second on the bits of whole numbers, so that all
sums of a pile are worked out by one shift per piece.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

NONE = 1 << 14
"""No pile has this sum."""


def fewest(
    pool: Mapping[int, tuple[int, int]], window: tuple[int, int], dice: np.random.Generator
) -> dict[int, int] | None:
    """How many of each kind make a sum within a window with the fewest pieces; None where nothing
    does. Among equals chance decides.

    ``pool``: by kind (cells, count). ``window``: least and most sum in cells.
    """
    low, high = max(0, window[0]), window[1]
    if high < low:
        return None
    parts = _parts(pool, high, dice)
    least = np.full(high + 1, NONE, dtype=np.int16)
    least[0] = 0
    better: list[np.ndarray] = []
    reach = 0
    for _kind, copies, cells in parts:
        reach = min(high, reach + cells)
        grown = least[: reach + 1 - cells] + np.int16(copies)
        there = least[cells : reach + 1]
        better.append(grown < there)
        np.minimum(there, grown, out=there)
    inside = least[low : high + 1]
    count = int(inside.min())
    if count >= NONE:
        return None
    at = low + int(dice.choice(np.flatnonzero(inside == count)))
    chosen: dict[int, int] = {}
    for (kind, copies, cells), marks in zip(reversed(parts), reversed(better), strict=True):
        if 0 <= at - cells < len(marks) and marks[at - cells]:
            chosen[kind] = chosen.get(kind, 0) + copies
            at -= cells
    return chosen


def _parts(
    pool: Mapping[int, tuple[int, int]], most: int, dice: np.random.Generator
) -> list[tuple[int, int, int]]:
    """(kind, copies, cells) with each count split in powers of two, in an order by chance."""
    parts = []
    for kind, (cells, count) in pool.items():
        left, copies = min(count, most // cells), 1
        while left > 0:
            part = min(copies, left)
            parts.append((kind, part, part * cells))
            left, copies = left - part, 2 * copies
    order = dice.permutation(len(parts))
    return [parts[at] for at in order]


def part_of(
    lengths: Sequence[int], window: tuple[int, int], dice: np.random.Generator
) -> list[int] | None:
    """Which of a pile come to a sum within a window, by chance among those that do; None where
    none does. ``lengths`` and ``window`` in cells."""
    low, high = max(0, window[0]), window[1]
    if high < low:
        return None
    mask = (1 << (high + 1)) - 1
    sums = [1]
    for cells in lengths:
        sums.append((sums[-1] | sums[-1] << cells) & mask)
    hits = sums[-1] >> low
    if not hits:
        return None
    there = [at for at, bit in enumerate(reversed(bin(hits)[2:])) if bit == "1"]
    total = low + there[int(dice.integers(len(there)))]
    chosen = []
    chances = dice.random(len(lengths))
    for at in range(len(lengths) - 1, -1, -1):
        rest = total - lengths[at]
        with_it = rest >= 0 and sums[at] >> rest & 1
        if with_it and (chances[at] < 0.5 or not sums[at] >> total & 1):
            chosen.append(at)
            total = rest
    return chosen
