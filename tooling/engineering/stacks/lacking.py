"""What cannot be met from stock: which fill, the nearest lengths, and the smallest make-list."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tooling.engineering.stacks.answer import Lack, Make, MakeList
from tooling.engineering.stacks.columns import GROUND, Column, Maker, fixed_of
from tooling.engineering.stacks.kinds import kinds_of
from tooling.engineering.stacks.offers import Pricer, Prices
from tooling.engineering.stacks.reach import Reach
from tooling.engineering.stacks.search import Stop
from tooling.engineering.stacks.solve import Effort, Progress, choose
from tooling.engineering.stacks.specs import Fill, Problem, Shaft
from tooling.engineering.stacks.tables import FAR, Array, Table
from tooling.engineering.stacks.told import free_windows
from tooling.engineering.stacks.windows import aimed, fill_windows

MAKE_WEIGHTS = (20_000.0, 2_000.0, 200.0, 0.5, 1.0, 0.1)
"""By ``MAKE_AIMS``, for the search of a large make-list: about the order of the aims."""


class Nearest:
    """Lengths that some stock gives for one group of fills."""

    def __init__(self, maker: Maker, counts: Array, most_nm: int) -> None:
        self._maker, self._counts = maker, counts
        self._most = most_nm // maker.kinds.grid_nm + 1
        self._tables: dict[int, Table] = {}
        self._reach = Reach(maker, counts.tolist(), most_nm)

    def _table(self, fill: Fill) -> Table:
        kinds = self._maker.kinds
        group = kinds.group_of[fill.key]
        if group not in self._tables:
            offered = [
                (k, int(kinds.cells[k]), int(self._counts[k])) for k in kinds.eligible(group)
            ]
            spacers = [each for each in offered if not kinds.kinds[each[0]].is_shim]
            shims = [each for each in offered if kinds.kinds[each[0]].is_shim]
            table = Table(spacers, shims, self._most, self._maker.problem.rules.most_shims)
            table.price(np.ones(len(kinds.kinds), dtype=np.int64))
            self._tables[group] = table
        return self._tables[group]

    def around(self, fill: Fill, window: tuple[int, int]) -> tuple[int | None, int | None, bool]:
        """(longest below the window, shortest above it, whether one lies inside)."""
        table, grid = self._table(fill), self._maker.kinds.grid_nm
        lengths = np.flatnonzero(table.least < FAR)
        near = lengths * grid
        inside = [c for c in lengths[(near >= window[0] - grid) & (near <= window[1] + grid)]
                  if window[0] <= self._exact(table, int(c)) <= window[1]]  # fmt: skip
        under = [self._exact(table, int(c)) for c in lengths[near < window[0] + grid][-3:]]
        over = [self._exact(table, int(c)) for c in lengths[near > window[1] - grid][:3]]
        below = [nm for nm in under if nm < window[0]]
        above = [nm for nm in over if nm > window[1]]
        return max(below, default=None), min(above, default=None), bool(inside)

    def holds(self, fill: Fill, window: tuple[int, int]) -> bool:
        """Whether some pile has a length in a window."""
        if self._maker.kinds.off_nm:
            return self.around(fill, window)[2]
        return self._reach.holds(fill, window)

    def _exact(self, table: Table, cells: int) -> int:
        return sum(self._maker.kinds.kinds[kind].length_nm for kind in table.stack(cells))


def lacks_of(maker: Maker, columns: Sequence[Column]) -> tuple[Lack, ...]:
    """For every shaft without a stack the fills that cannot be met with what is left; all its
    fills where each could be met alone but not all together."""
    problem = maker.problem
    counts = np.array([kind.count for kind in maker.kinds.kinds], dtype=np.int64)
    left = counts.copy()
    for column in columns:
        for kind, count in column.use:
            left[kind] -= count
    missing = [
        (column, shaft)
        for column in columns
        for shaft, stack in zip(problem.stations[column.station].shafts, column.stacks, strict=True)
        if stack is None
    ]
    longest = max((source.length_nm for source in problem.sources), default=0)
    most = max((high for _c, shaft in missing for _l, high in fill_windows(problem.rules, shaft)),
               default=0)  # fmt: skip
    rest = Nearest(maker, left, max(0, most) + longest)
    whole = Nearest(maker, counts, max(0, most) + longest)
    found: list[Lack] = []
    for column, shaft in missing:
        number = problem.stations[column.station].number
        found += _lacks(problem, number, shaft, rest, whole)
    return tuple(found)


def _lacks(
    problem: Problem, number: int, shaft: Shaft, rest: Nearest, whole: Nearest
) -> list[Lack]:
    alone, together = [], []
    targets = aimed(problem.rules, shaft)
    windows = fill_windows(problem.rules, shaft)
    for fill, window, target in zip(shaft.fills, windows, targets, strict=True):
        below, above, inside = rest.around(fill, window)
        there = inside or whole.holds(fill, window)
        if not inside:
            alone.append(Lack(number, shaft.which, fill.key, window, below, above, there))
        else:
            below, above, _inside = rest.around(fill, (target, target))
            together.append(Lack(number, shaft.which, fill.key, window, below, above, there))
    return alone or together


def make_list(
    problem: Problem, *, should_stop: Stop, progress: Progress, effort: Effort
) -> MakeList | None:
    """The fewest pieces to make that complete every shaft; None where no make grid is set.

    On the shop's grid where possible; what no piece of the grid can do is ground to length: as few
    such pieces as possible, then as few pieces, then the least total length.
    """
    make = problem.rules.make
    if make is None:
        return None
    maker = _making(problem, fine=False)
    if not _possible(maker):
        maker = _making(problem, fine=True)
        effort = Effort(0, effort.rounds, effort.dives, effort.rebuilds, effort.nodes, effort.near)
    found = choose(
        maker, should_stop=should_stop, progress=progress, effort=effort, weights=MAKE_WEIGHTS
    )
    pieces = [make for column in found.columns for make in _made(maker, column)]
    bound = dict(zip(maker.aims, found.bound, strict=True))
    ground, made = bound["ground"], bound["made"]
    length = bound["made_nm"]
    is_ground = any(piece.window_nm for piece in pieces)
    proven = found.bound[0] == found.figures[0]
    return MakeList(
        pieces=tuple(pieces),
        total_nm=sum(piece.length_nm for piece in pieces),
        bound_ground=ground,
        bound_pieces=None if ground is None or made is None else ground + made,
        bound_nm=None if length is None or is_ground else length * make.step_nm,
        impossible=_impossible(problem, found.columns) if proven else (),
        stopped=found.stopped,
    )


def _making(problem: Problem, *, fine: bool) -> Maker:
    lengths = problem.rules.make.lengths_nm() if problem.rules.make else ()
    kinds = kinds_of(problem, lengths, fine=fine)
    return Maker(problem, kinds, fixed_of(problem, kinds), making=True)


def _possible(maker: Maker) -> bool:
    """Whether every station can be completed on the grid, each by itself."""
    pricer = Pricer(maker)
    names = maker.aims
    aims = [0] * len(names)
    aims[names.index("uncompleted_shafts")] = 1 << 40
    aims[names.index("ground")] = 1 << 38
    offer = pricer.offer(Prices(np.zeros(len(maker.kinds.kinds), dtype=np.int64), tuple(aims), 1))
    return all(least < 1 << 38 for least in offer.least)


def _made(maker: Maker, column: Column) -> list[Make]:
    """What is made for one station."""
    problem, make = maker.problem, maker.problem.rules.make
    station = problem.stations[column.station]
    lengths: dict[str, Sequence[int]] = {
        shaft.which: stack.fills_nm
        for shaft, stack in zip(station.shafts, column.stacks, strict=True) if stack is not None
    }  # fmt: skip
    windows = free_windows(problem, station, lengths)
    pieces = []
    for shaft, stack in zip(station.shafts, column.stacks, strict=True):
        if stack is None or make is None:
            continue
        for at, (fill, pile) in enumerate(zip(shaft.fills, stack.fills, strict=True)):
            ground = pile.count(GROUND)
            if ground:
                low, high = windows[shaft.which][at]
                first, last = _cut(stack.fills_nm[at], ground, make.least_nm, make.most_nm)
                pieces += [Make(fill.key, length) for length in first]
                rest = sum(first)
                pieces.append(Make(fill.key, last, (low - rest, high - rest)))
            pieces += [
                Make(fill.key, maker.kinds.kinds[kind].length_nm)
                for kind in pile if kind != GROUND and maker.kinds.kinds[kind].made
            ]  # fmt: skip
    return pieces


def _cut(length_nm: int, pieces: int, least_nm: int, most_nm: int) -> tuple[list[int], int]:
    """A long fill in several pieces, the last one to be ground to length."""
    first = []
    for left in range(pieces - 1, 0, -1):
        first.append(min(most_nm, length_nm - left * least_nm))
        length_nm -= first[-1]
    return first, length_nm


def _impossible(problem: Problem, columns: Sequence[Column]) -> tuple[str, ...]:
    """Fills that no piece can put right: those of shafts that stay without a stack."""
    found: list[str] = []
    for column in columns:
        station = problem.stations[column.station]
        for shaft, stack in zip(station.shafts, column.stacks, strict=True):
            if stack is not None:
                continue
            windows = fill_windows(problem.rules, shaft)
            wrong = [fill.key for fill, window in zip(shaft.fills, windows, strict=True)
                     if window[1] < window[0] or _too_short(problem, window)]  # fmt: skip
            found += wrong or [fill.key for fill in shaft.fills]
    return tuple(found)


def _too_short(problem: Problem, window: tuple[int, int]) -> bool:
    least = problem.rules.make.least_nm if problem.rules.make else 0
    return window[0] > 0 and window[1] < least
