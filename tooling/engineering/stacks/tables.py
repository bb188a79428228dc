"""The cheapest spacers and shims for every length at once: a bounded knapsack over a grid.

Prices are whole numbers, so that what is found is exactly the least. Bellman's recursion (1957)
with each kind's count split in powers of two; one pass of NumPy per part of a kind.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

NO = 1 << 30
"""No such length."""
FAR = 1 << 50
"""The same where sums are of 64 bits."""
Array = np.ndarray


class Table:
    """Prices and stacks for one group of fills, for lengths from 0 to ``most`` cells.

    ``spacers`` and ``shims``: (kind, cells, count) that may be used. A fill with shims has two
    spacers at least and ``most_shims`` shims at most. A shim may be taken more often than there
    are in one stack (so the price is never too high); whoever takes the stack counts.
    """

    def __init__(
        self,
        spacers: Sequence[tuple[int, int, int]],
        shims: Sequence[tuple[int, int, int]],
        most: int,
        most_shims: int,
    ) -> None:
        self._most = most
        self._shims = [(kind, cells) for kind, cells, count in shims if count and cells <= most]
        self._most_shims = most_shims if self._shims else 0
        self._parts: list[tuple[int, int, int]] = []
        for kind, cells, count in sorted(spacers, key=lambda each: (each[1], each[0])):
            left, copies = min(count, most // cells), 1
            while left > 0:
                part = min(copies, left)
                self._parts.append((kind, part, part * cells))
                left, copies = left - part, 2 * copies
        self._room = np.empty(most + 1, dtype=np.int32)
        self._marks = np.empty(most + 1, dtype=bool)
        self._price: Array = np.zeros(0, dtype=np.int64)

    def price(self, price: Array) -> None:
        """Work everything out anew for prices by kind, each at least 0."""
        self._price = price
        self._one = np.full(self._most + 1, NO, dtype=np.int32)
        self._one_kind = np.full(self._most + 1, -1, dtype=np.int32)
        many = np.full(self._most + 1, NO, dtype=np.int32)
        self._better: list[tuple[int, bytes] | None] = []
        self._begun: list[tuple[Array, Array]] = []
        self._origins: list[dict[int, int]] | None = None
        points = np.zeros(0, dtype=np.int64)
        reach = 0
        for kind, copies, cells in self._parts:
            cost = copies * int(price[kind])
            self._better.append(self._grow(many, reach, cells, cost))
            begun = self._begin(many, points, copies, cells, cost)
            self._begun.append(begun)
            top = int(begun[0][-1]) if len(begun[0]) else 0
            reach = min(self._most, max(reach + cells if reach else 0, top))
            if copies == 1 and cost < self._one[cells]:
                if self._one[cells] == NO:
                    points = np.append(points, cells)
                self._one[cells] = cost
                self._one_kind[cells] = kind
        self._many = many
        plain = np.minimum(self._one, many)
        plain[0] = 0
        self._plain = plain
        self._shimmed = [many]
        self.least = plain.astype(np.int64)
        for _shim in range(self._most_shims):
            self._shimmed.append(self._with_shim(self._shimmed[-1]))
            np.minimum(self.least, self._shimmed[-1], out=self.least)
        self.least[self.least >= NO] = FAR

    def _grow(self, many: Array, reach: int, cells: int, cost: int) -> tuple[int, bytes] | None:
        """Every stack of two or more spacers, with this part on top."""
        if not reach:
            return None
        last = min(self._most, reach + cells)
        length = last - cells + 1
        if length <= 0:
            return None
        grown = np.add(many[:length], cost, out=self._room[:length])
        there = many[cells : last + 1]
        better = np.packbits(np.less(grown, there, out=self._marks[:length]))
        np.minimum(there, grown, out=there)
        return last, better.tobytes()

    def _begin(
        self, many: Array, points: Array, copies: int, cells: int, cost: int
    ) -> tuple[Array, Array]:
        """Stacks that have two or more spacers first by this part: where, and on what (−1: none).

        Kinds of the single spacers are kept as they are now; a cheaper one may come later.
        """
        at = points + cells
        costs = self._one[points] + cost
        origin = self._one_kind[points]
        if copies > 1:
            at, costs = np.append(at, cells), np.append(costs, cost)
            origin = np.append(origin, -1)
        there = at <= self._most
        there[there] = costs[there] < many[at[there]]
        at, costs, origin = at[there], costs[there], origin[there]
        np.minimum.at(many, at, costs)
        kept = many[at] == costs
        ranked = np.argsort(at[kept], kind="stable")
        return at[kept][ranked], origin[kept][ranked]

    def _with_shim(self, before: Array) -> Array:
        after = np.full(self._most + 1, NO, dtype=np.int32)
        for kind, cells in self._shims:
            there = after[cells:]
            grown = np.add(before[: self._most + 1 - cells], int(self._price[kind]),
                           out=self._room[: self._most + 1 - cells])  # fmt: skip
            np.minimum(there, grown, out=there)
        return np.minimum(after, NO, out=after)

    def costs(self, low: int, high: int) -> Array:
        """Least price of every length from low to high cells; FAR where there is none."""
        return self.least[low : high + 1]

    def stack(self, cells: int) -> list[int]:
        """Kinds of a cheapest stack of that length. Raises ValueError where there is none."""
        price = int(self.least[cells])
        if price >= NO:
            raise ValueError("no stack has this length")
        kinds: list[int] = []
        if int(self._plain[cells]) == price:
            if cells == 0:
                return kinds
            if int(self._one[cells]) == price:
                return [int(self._one_kind[cells])]
            return self._spacers(cells)
        turn = next(at for at, f in enumerate(self._shimmed) if at and int(f[cells]) == price)
        while turn:
            kind, thick = next(
                (kind, thick)
                for kind, thick in self._shims
                if thick <= cells
                and int(self._shimmed[turn - 1][cells - thick]) + int(self._price[kind]) == price
            )
            kinds.append(kind)
            price, cells, turn = price - int(self._price[kind]), cells - thick, turn - 1
        return kinds + self._spacers(cells)

    def _spacers(self, cells: int) -> list[int]:
        """The way back through the parts for a stack of two or more spacers."""
        if self._origins is None:
            self._origins = [
                dict(zip(where.tolist(), origins.tolist(), strict=True))
                for where, origins in self._begun
            ]
        kinds: list[int] = []
        for at in range(len(self._parts) - 1, -1, -1):
            kind, copies, length = self._parts[at]
            place = cells - length
            if place < 0:
                continue
            origin = self._origins[at].get(cells)
            if origin is not None:
                kinds += [kind] * copies
                return kinds + ([origin] if origin >= 0 else [])
            better = self._better[at]
            if better is None or cells > better[0]:
                continue
            if better[1][place >> 3] >> (7 - (place & 7)) & 1:
                kinds += [kind] * copies
                cells = place
        raise ValueError("no stack has this length")
