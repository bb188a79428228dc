"""The same as ``tables`` where each piece has its own width: near widths are one kind there, and so
many pieces of a kind have every sum between that of their narrowest and that of their widest.

That is a little more than there is, so no price is too high: for bounds, not for stacks.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tooling.engineering.stacks.tables import FAR, NO, Array


class WideTable:
    """Prices of every length from 0 to ``most`` cells, and the pile behind each.

    ``spacers`` and ``shims``: (kind, its lengths in nanometres, from the least). Lengths between
    two cells count as both. A fill with shims has two spacers at least and ``most_shims`` shims.
    """

    def __init__(
        self,
        spacers: Sequence[tuple[int, Sequence[int]]],
        shims: Sequence[tuple[int, Sequence[int]]],
        grid_nm: int,
        most: int,
        most_shims: int,
    ) -> None:
        self._grid, self._most = grid_nm, most
        self._shims = [(kind, *self._cells(nm, 1)) for kind, nm in shims if nm]
        self._shims = [each for each in self._shims if each[1] <= most]
        self._most_shims = most_shims if self._shims else 0
        self._parts: list[tuple[int, int, int, int]] = []
        for kind, nm in sorted(spacers, key=lambda each: (each[1][:1], each[0])):
            left, copies = len(nm), 1
            while left > 0:
                part = min(copies, left)
                low, high = self._cells(nm, part)
                if low > most:
                    break
                self._parts.append((kind, part, low, high))
                left, copies = left - part, 2 * copies

    def _cells(self, nm: Sequence[int], copies: int) -> tuple[int, int]:
        """Least and most sum of so many."""
        return sum(nm[:copies]) // self._grid, -(-sum(nm[-copies:]) // self._grid)

    def price(self, price: Array) -> None:
        """Work everything out anew for prices by kind, each at least 0."""
        self._price = price
        one = np.full(self._most + 1, NO, dtype=np.int32)
        many = one.copy()
        self._before: list[Array] = []
        reach = 0
        for kind, copies, low, high in self._parts:
            cost = copies * int(price[kind])
            self._before.append(many[: reach + 1])
            many = many.copy()
            if reach:
                base = np.minimum(one[: reach + 1], many[: reach + 1])
                self._grow(many, base, low, high, cost)
            first = one if copies == 1 else many
            np.minimum(first[low : high + 1], np.int32(cost), out=first[low : high + 1])
            reach = min(self._most, reach + high)
        self._one, self._many = one, many
        plain = np.minimum(one, many)
        plain[0] = 0
        self._plain = plain
        self._shimmed = [many]
        self.least = plain.astype(np.int64)
        for _shim in range(self._most_shims):
            after = np.full(self._most + 1, NO, dtype=np.int32)
            for kind, low, high in self._shims:
                self._grow(after, self._shimmed[-1], low, high, int(price[kind]))
            self._shimmed.append(after)
            np.minimum(self.least, after, out=self.least)
        self.least[self.least >= NO] = FAR

    def _grow(self, into: Array, base: Array, low: int, high: int, cost: int) -> None:
        """Every pile of ``base`` with something of ``low`` to ``high`` cells on top."""
        width = high - low + 1
        values = np.full(len(base) + 2 * (width - 1), NO, dtype=np.int32)
        values[width - 1 : width - 1 + len(base)] = base
        done = 1
        while done < width:
            step = min(done, width - done)
            values = np.minimum(values[:-step], values[step:])
            done += step
        there = into[low : low + len(values)]
        grown = values[: len(there)]
        grown += np.int32(cost)
        np.minimum(there, grown, out=there)

    def costs(self, low: int, high: int) -> Array:
        """Least price of every length from low to high cells; FAR where there is none."""
        return self.least[low : high + 1]

    def stack(self, cells: int) -> list[int]:
        """Kinds of a cheapest pile of that length. Raises ValueError where there is none."""
        price = int(self.least[cells])
        if price >= NO:
            raise ValueError("no stack has this length")
        if int(self._plain[cells]) == price:
            if cells == 0:
                return []
            if int(self._one[cells]) == price:
                return [self._single(len(self._parts), cells, cells, price)]
            return self._spacers(cells, price)
        kinds: list[int] = []
        turn = next(at for at, f in enumerate(self._shimmed) if at and int(f[cells]) == price)
        while turn:
            kind, cells = self._shim(turn, cells, price)
            kinds.append(kind)
            price, turn = price - int(self._price[kind]), turn - 1
        return kinds + self._spacers(cells, price)

    def _shim(self, turn: int, cells: int, price: int) -> tuple[int, int]:
        """The shim on top, and what lies below it."""
        before = self._shimmed[turn - 1]
        for kind, low, high in self._shims:
            first = max(0, cells - high)
            rest = before[first : max(0, cells - low + 1)]
            found = np.flatnonzero(rest == price - int(self._price[kind]))
            if len(found):
                return kind, first + int(found[0])
        raise ValueError("no shim has this price")

    def _single(self, parts: int, first: int, last: int, price: int) -> int:
        for kind, copies, low, high in self._parts[:parts]:
            fits = copies == 1 and low <= last and high >= first
            if fits and int(self._price[kind]) == price:
                return kind
        return -1

    def _spacers(self, cells: int, price: int) -> list[int]:
        """The way back through the parts for two spacers or more."""
        kinds: list[int] = []
        for at in range(len(self._parts) - 1, -1, -1):
            before = self._before[at]
            if cells < len(before) and int(before[cells]) == price:
                continue
            kind, copies, low, high = self._parts[at]
            rest = price - copies * int(self._price[kind])
            first, last = max(0, cells - high), cells - low
            if copies > 1 and rest == 0 and first == 0 <= last:
                return kinds + [kind] * copies
            found = np.flatnonzero(before[first : max(0, last + 1)] == rest)
            kinds += [kind] * copies
            if not len(found):
                origin = self._single(at, first, last, rest)
                if origin < 0:
                    break
                return [*kinds, origin]
            cells, price = first + int(found[0]), rest
        raise ValueError("no stack has this length")
