"""Whether the stock has a pile for a fill at all, on the grid where that is exact."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tooling.engineering.stacks.columns import Maker
from tooling.engineering.stacks.specs import Fill
from tooling.engineering.stacks.tables import FAR, Table
from tooling.engineering.stacks.windows import fill_windows


class Reach:
    """What counts of each kind reach, where every length is on the grid."""

    def __init__(self, maker: Maker, counts: Sequence[int], most_nm: int) -> None:
        self._maker, self._counts = maker, counts
        self._cells = maker.kinds.cells.tolist()
        self._room = (1 << max(0, most_nm) // maker.kinds.grid_nm + 1) - 1
        self._sums: dict[int, int] = {}

    def holds(self, fill: Fill, window: tuple[int, int]) -> bool:
        """Whether some pile has a length in a window. Spacers alone nearly always do, and all their
        sums together are quickly known."""
        grid = self._maker.kinds.grid_nm
        low, high = max(0, -(-window[0] // grid)), window[1] // grid
        if high < low:
            return False
        group = self._maker.kinds.group_of[fill.key]
        if self._spacer_sums(group) >> low & (1 << high - low + 1) - 1:
            return True
        return self._with_shims(group, low, high)

    def _spacer_sums(self, group: int) -> int:
        """The bit of every sum of spacers in cells."""
        if group not in self._sums:
            sums, kinds = 1, self._maker.kinds
            for kind in kinds.eligible(group):
                if not kinds.kinds[kind].is_shim:
                    sums = _with_copies(
                        sums, self._cells[kind], int(self._counts[kind]), self._room
                    )
            self._sums[group] = sums
        return self._sums[group]

    def _with_shims(self, group: int, low: int, high: int) -> bool:
        kinds = self._maker.kinds
        told = [
            (kind, self._cells[kind], int(self._counts[kind])) for kind in kinds.eligible(group)
        ]
        table = Table(
            [each for each in told if not kinds.kinds[each[0]].is_shim],
            [each for each in told if kinds.kinds[each[0]].is_shim],
            high, self._maker.problem.rules.most_shims,
        )  # fmt: skip
        table.price(np.ones(len(kinds.kinds), dtype=np.int64))
        return bool((table.costs(low, high) < FAR).any())


def _with_copies(sums: int, cells: int, count: int, room: int) -> int:
    """The bits of sums with up to so many pieces of a length besides, as far as there is room."""
    copies = 1
    while count > 0:
        part = min(copies, count)
        sums = (sums | sums << part * cells) & room
        count, copies = count - part, 2 * copies
    return sums


def hopeless(maker: Maker) -> frozenset[str]:
    """Fills that the whole stock has no pile for, as far as lengths are on the grid."""
    if maker.making or maker.kinds.off_nm:
        return frozenset()
    problem = maker.problem
    windows = [
        (fill, window)
        for shaft in problem.shafts.values()
        for fill, window in zip(shaft.fills, fill_windows(problem.rules, shaft), strict=True)
        if fill.key not in maker.fixed.pins
    ]
    most_nm = max((window[1] for _fill, window in windows), default=0)
    reach = Reach(maker, [kind.count for kind in maker.kinds.kinds], most_nm)
    return frozenset(fill.key for fill, window in windows if not reach.holds(fill, window))
