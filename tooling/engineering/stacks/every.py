"""Every column of a small problem, so that the choice among them is the optimum without a bound."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from tooling.engineering.stacks.columns import Column, Maker, ShaftStack, made_stack, overused
from tooling.engineering.stacks.specs import Fill, Shaft
from tooling.engineering.stacks.windows import fill_windows


class TooMany(Exception):
    """There are more columns than were allowed."""


class Every:
    """Counts as it goes and gives up beyond ``most``."""

    def __init__(self, maker: Maker, most: int) -> None:
        self._maker, self._most, self._made = maker, most, 0

    def columns(self) -> list[Column]:
        """All columns. Raises TooMany."""
        found = list(self._maker.first())
        for at, station in enumerate(self._maker.problem.stations):
            choices = [[None, *self._stacks(shaft)] for shaft in station.shafts]
            for stacks in product(*choices):
                self._count()
                column = self._maker.column(at, stacks)
                if column is not None and not overused(self._maker.kinds, dict(column.use)):
                    found.append(column)
        return found

    def _count(self) -> None:
        self._made += 1
        if self._made > self._most:
            raise TooMany

    def _stacks(self, shaft: Shaft) -> list[ShaftStack]:
        problem = self._maker.problem
        windows = fill_windows(problem.rules, shaft)
        options = [
            list(self._fills(fill, window))
            for fill, window in zip(shaft.fills, windows, strict=True)
        ]
        found = []
        for fills in product(*options):
            self._count()
            stack = made_stack(problem, self._maker.kinds, shaft, fills)
            if stack is not None:
                found.append(stack)
        return found

    def _fills(self, fill: Fill, window: tuple[int, int]) -> Iterator[tuple[int, ...]]:
        """Every pile of kinds with a length in the window and shims as the rules want them."""
        if fill.key in self._maker.fixed.broken:
            return
        if fill.key in self._maker.fixed.pins:
            yield self._maker.fixed.pins[fill.key]
            return
        kinds = self._maker.kinds
        group = kinds.group_of[fill.key]
        offered = sorted(kinds.eligible(group), key=lambda k: (-kinds.kinds[k].length_nm, k))
        yield from self._piles(offered, window, (), 0)

    def _piles(
        self, offered: list[int], window: tuple[int, int], pile: tuple[int, ...], shims: int
    ) -> Iterator[tuple[int, ...]]:
        self._count()
        kinds = self._maker.kinds.kinds
        if window[0] <= 0 <= window[1] and not (shims and len(pile) - shims < 2):
            yield pile
        for turn, kind in enumerate(offered):
            told = kinds[kind]
            if told.length_nm > window[1] or (
                told.is_shim and shims == self._maker.problem.rules.most_shims
            ):
                continue
            left = (window[0] - told.length_nm, window[1] - told.length_nm)
            more = pile.count(kind) + 1
            if not told.made and more > told.count:
                continue
            yield from self._piles(offered[turn:], left, (*pile, kind), shims + told.is_shim)
