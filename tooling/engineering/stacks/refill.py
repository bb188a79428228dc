"""Pieces changed between fills: better whole choices by refilling a few fills of several stations.

The fills give their pieces up; the fewest pieces of these and of what is left that come to the sum
of the fills are looked for, and divided anew among them. Long fills nearly always can be: so many
parts of a pile have so many different sums. Everything is checked in exact nanometres.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tooling.engineering.stacks.columns import Column, ShaftStack, made_stack, use_of
from tooling.engineering.stacks.search import Search
from tooling.engineering.stacks.specs import Fill, Shaft
from tooling.engineering.stacks.subsets import fewest, part_of
from tooling.engineering.stacks.tables import FAR, Array, Table
from tooling.engineering.stacks.told import free_windows
from tooling.engineering.stacks.windows import aimed, guide_constant

SHORT_PIECES = 3
"""A fill that is no longer than so many of the longest spacers is filled by itself."""
SUM_CELLS = 12_000
"""Sums of several fills are looked for on so many cells; the exact sum counts afterwards."""
SHIM, SPACER = 2_000, 100
"""About what a piece costs where short fills are filled by themselves."""
THIN = 3
"""So many kinds of a cluster are offered to a short fill."""
TRIES = 6
"""So often fewer pieces are drawn and divided before they are given up."""


@dataclass(frozen=True)
class Spot:
    """A fill: station, shaft of the station, fill of the shaft."""

    at: int
    turn: int
    fill: int


At = tuple[int, int]
"""A shaft: station, shaft of the station."""
Piles = dict[Spot, list[int]]
Lengths = dict[int, dict[str, list[int]]]


class Refill:
    """A whole choice that is changed by refilling a few fills at a time."""

    def __init__(self, search: Search, dice: np.random.Generator) -> None:
        self.search, self.maker, self.dice = search, search.maker, dice
        kinds = self.maker.kinds
        self._problem = self.maker.problem
        self._cells = kinds.cells.tolist()
        self._grid = kinds.grid_nm
        self._nm = [kind.length_nm for kind in kinds.kinds]
        self._is_shim = [kind.is_shim for kind in kinds.kinds]
        self._clusters = max(search.cluster, default=-1) + 1
        self.sampled = 0.5
        """How often only a few pieces of each kind are offered."""
        self.columns = {column.station: column for column in search.best}
        self.left = search.left(search.best)
        spacers = (k.length_nm for k in kinds.kinds if not k.is_shim)
        self._short_nm = SHORT_PIECES * max(spacers, default=0)

    # -- what may be changed -----------------------------------------------------------------

    def is_long(self, spot: Spot) -> bool:
        """Whether a fill is better divided with others than filled by itself."""
        stack = self.columns[spot.at].stacks[spot.turn]
        return stack is not None and stack.fills_nm[spot.fill] > self._short_nm

    def need(self, at: int, turn: int) -> int:
        """The length that a shaft wants."""
        shaft = self._shaft(at, turn)
        return shaft.roll_space_nm - shaft.rolls_nm

    def whole(self, at: int) -> list[At]:
        """The shafts of a station that have a stack and no pin, where they may be changed."""
        return [
            (at, turn) for turn, stack in enumerate(self.columns[at].stacks)
            if stack is not None
            and not any(f.key in self.maker.fixed.pins for f in self._shaft(at, turn).fills)
        ]  # fmt: skip

    def full(self) -> list[At]:
        """Shafts that have a stack and may be without."""
        return [
            (at, turn) for at in self.free()
            for turn, stack in enumerate(self.columns[at].stacks) if stack is not None
        ]  # fmt: skip

    def free(self) -> Iterator[int]:
        """Stations whose shafts may be changed: none that stands on the mill or is kept."""
        for at, column in self.columns.items():
            if not column.carried and not any(s is not None and s.kept for s in column.stacks):
                yield at

    def spots(self) -> list[Spot]:
        """Fills that have a stack now and that nobody has pinned."""
        return [
            Spot(at, turn, fill)
            for at in self.free()
            for turn, stack in enumerate(self.columns[at].stacks) if stack is not None
            for fill, told in enumerate(self._shaft(at, turn).fills)
            if told.key not in self.maker.fixed.pins
        ]  # fmt: skip

    def empty(self) -> list[At]:
        """Shafts without a stack that may have one, those that need least first."""
        found = []
        for at, column in self.columns.items():
            for turn, stack in enumerate(column.stacks):
                fills = self._shaft(at, turn).fills
                possible = self.search.pricer.shafts[at][turn].possible
                pinned = any(fill.key in self.maker.fixed.pins for fill in fills)
                if stack is None and possible and not pinned and not column.carried:
                    found.append((self.need(at, turn), at, turn))
        return [(at, turn) for _nm, at, turn in sorted(found)]

    def _shaft(self, at: int, turn: int) -> Shaft:
        return self._problem.stations[at].shafts[turn]

    def fill(self, spot: Spot) -> Fill:
        return self._shaft(spot.at, spot.turn).fills[spot.fill]

    def group(self, spot: Spot) -> int:
        return self.maker.kinds.group_of[self.fill(spot).key]

    def _pile(self, spot: Spot) -> tuple[int, ...]:
        stack = self.columns[spot.at].stacks[spot.turn]
        return stack.fills[spot.fill] if stack is not None else ()

    # -- one move ----------------------------------------------------------------------------

    def refill(
        self, spots: Sequence[Spot], shafts: Sequence[At] = (), instead: At | None = None
    ) -> int:
        """Fill some fills anew, and whole shafts with a stack or without, perhaps ``instead`` of
        one that has one. 1 where the whole choice is better then, 0 where it is as good, −1 where
        nothing was found and all is as it was."""
        lengths = self._lengths({spot.at for spot in spots} | {at for at, _turn in shafts})
        self._suppose(lengths, shafts)
        every = [*spots, *(Spot(at, turn, fill) for at, turn in shafts
                           for fill in range(len(self._shaft(at, turn).fills)))]  # fmt: skip
        freed = [kind for spot in every for kind in self._pile(spot)]
        limit = None if any(self._is_empty(*shaft) for shaft in shafts) else self._cost(freed)
        if instead is not None:
            at, turn = instead
            gone = self.columns[at].stacks[turn]
            freed += [kind for pile in (gone.fills if gone else ()) for kind in pile]
        pool = self.left.copy()
        for kind in freed:
            pool[kind] += 1
        piles: Piles = {}
        for spot in sorted(every, key=lambda spot: self._now(lengths, spot)):
            if self._now(lengths, spot) <= self._short_nm:
                pile = self._short(spot, lengths, pool)
                if pile is None:
                    return -1
                self._put(piles, lengths, pool, spot, pile)
        for group in {self.group(spot): None for spot in every if spot not in piles}:
            some = [s for s in every if s not in piles and self.group(s) == group]
            spent = self._cost([kind for pile in piles.values() for kind in pile])
            left = None if limit is None else limit - spent
            if not self._divide(some, lengths, pool, piles, left):
                return -1
        return self._commit(piles, instead)

    def _is_empty(self, at: int, turn: int) -> bool:
        return self.columns[at].stacks[turn] is None

    def _cost(self, kinds: Sequence[int]) -> int:
        return sum(SHIM if self._is_shim[kind] else SPACER for kind in kinds)

    def _lengths(self, stations: set[int]) -> Lengths:
        return {
            at: {
                shaft.which: list(stack.fills_nm)
                for shaft, stack in zip(
                    self._problem.stations[at].shafts, self.columns[at].stacks, strict=True
                ) if stack is not None
            }
            for at in stations
        }  # fmt: skip

    def _suppose(self, lengths: Lengths, shafts: Sequence[At]) -> None:
        """Whole shafts as if their fills were as they should be, the guide points where that of the
        other shaft lies, or somewhere in its window."""
        for at, turn in shafts:
            lengths[at].pop(self._shaft(at, turn).which, None)
        low, high = self._problem.rules.guide_nm
        for at, turn in shafts:
            shaft, mine = self._shaft(at, turn), lengths[at]
            error = (
                0 if self._is_empty(at, turn) else low + round((high - low) * self.dice.random())
            )
            for other in self._problem.stations[at].shafts:
                if other.which in mine:
                    error = sum(mine[other.which][: other.before])
                    error += guide_constant(self._problem.rules, other)
            fills = aimed(self._problem.rules, shaft)
            for fill, told in enumerate(shaft.fills):
                if told.kind != "middle":
                    fills[fill] += error if told.kind == "inboard" else -error
            mine[shaft.which] = fills

    def _now(self, lengths: Lengths, spot: Spot) -> int:
        return lengths[spot.at][self._shaft(spot.at, spot.turn).which][spot.fill]

    def _window(self, lengths: Lengths, spot: Spot) -> tuple[int, int]:
        station = self._problem.stations[spot.at]
        windows = free_windows(self._problem, station, lengths[spot.at])
        return windows[station.shafts[spot.turn].which][spot.fill]

    def _inside(self, window: tuple[int, int]) -> tuple[int, int]:
        """The cells whose length lies in a window."""
        return -(-window[0] // self._grid), window[1] // self._grid

    def _put(
        self, piles: Piles, lengths: Lengths, pool: Array, spot: Spot, pile: list[int]
    ) -> None:
        for kind in pile:
            pool[kind] -= 1
        piles[spot] = pile
        self._set(lengths, spot, sum(self._nm[kind] for kind in pile))

    def _set(self, lengths: Lengths, spot: Spot, nm: int) -> None:
        lengths[spot.at][self._shaft(spot.at, spot.turn).which][spot.fill] = nm

    def _short(self, spot: Spot, lengths: Lengths, pool: Array) -> list[int] | None:
        """A short fill by itself, at prices of about one per piece."""
        low, high = self._inside(self._window(lengths, spot))
        if high < low:
            return None
        price = SPACER + self.dice.integers(0, SPACER // 2, len(self._nm))
        price[self._is_shim] += SHIM
        thin = self._thinned(pool)
        some: tuple[list[tuple[int, int, int]], list[tuple[int, int, int]]] = ([], [])
        for kind in self.maker.kinds.eligible(self.group(spot)):
            if thin[kind] > 0:
                told = (kind, self._cells[kind], int(thin[kind]))
                some[self._is_shim[kind]].append(told)
        table = Table(*some, high, self._problem.rules.most_shims)
        table.price(price)
        costs = table.costs(low, high)
        cell = int(np.argmin(costs))
        if costs[cell] >= FAR:
            return None
        pile = table.stack(low + cell)
        return pile if all(pool[kind] >= pile.count(kind) for kind in set(pile)) else None

    def _thinned(self, pool: Array) -> Array:
        """A few kinds by chance of each cluster of those that there are."""
        if len(pool) == self._clusters:
            return pool
        thin = np.zeros_like(pool)
        seen = [0] * self._clusters
        for kind in self.dice.permutation(np.flatnonzero(pool > 0)).tolist():
            cluster = self.search.cluster[kind]
            if seen[cluster] < THIN:
                seen[cluster] += 1
                thin[kind] = pool[kind]
        return thin

    # -- several fills at once ---------------------------------------------------------------

    def _divide(
        self, spots: Sequence[Spot], lengths: Lengths, pool: Array, piles: Piles, limit: int | None
    ) -> bool:
        """The fewest pieces for all these fills, divided among them, at no more than ``limit``."""
        if len(spots) == 1:
            pile = self._short(spots[0], lengths, pool)
            if pile is not None:
                self._put(piles, lengths, pool, spots[0], pile)
            return pile is not None
        windows = [self._inside(self._window(lengths, spot)) for spot in spots]
        whole = (sum(w[0] for w in windows), sum(w[1] for w in windows))
        narrow = (whole[1] - whole[0]) // 4
        found = self._fewest(self.group(spots[0]), pool, (whole[0] + narrow, whole[1] - narrow))
        if found is None:
            return False
        pieces, there = found
        cost = SPACER * sum(pieces.values())
        if limit is not None and cost > limit:
            return False
        order = sorted(range(len(spots)), key=lambda at: (windows[at][1] - windows[at][0],
                                                          windows[at][1]))  # fmt: skip
        ordered = [spots[at] for at in order]
        for _try in range(1 if cost == limit else TRIES):
            split = self._split(ordered, lengths, self._drawn(pieces, there))
            if split is not None:
                for spot, pile in split.items():
                    self._put(piles, lengths, pool, spot, pile)
                return True
        return False

    def _split(self, spots: Sequence[Spot], lengths: Lengths, rest: list[int]) -> Piles | None:
        """The pieces by fill; the last fill has what the others leave."""
        piles: Piles = {}
        before = [self._now(lengths, spot) for spot in spots]
        for spot in spots[:-1]:
            inside = self._inside(self._window(lengths, spot))
            chosen = part_of([self._cells[kind] for kind in rest], inside, self.dice)
            if chosen is None:
                break
            taken = set(chosen)
            piles[spot] = [rest[at] for at in chosen]
            rest = [kind for at, kind in enumerate(rest) if at not in taken]
            self._set(lengths, spot, sum(self._nm[kind] for kind in piles[spot]))
        else:
            low, high = self._window(lengths, spots[-1])
            if low <= sum(self._nm[kind] for kind in rest) <= high:
                return piles | {spots[-1]: rest}
        for spot, nm in zip(spots, before, strict=True):
            self._set(lengths, spot, nm)
        return None

    def _drawn(self, pieces: Mapping[int, int], there: Mapping[int, list[int]]) -> list[int]:
        """Pieces by chance, so many of each cluster."""
        chosen: list[int] = []
        for cluster, count in pieces.items():
            kinds = there[cluster]
            if kinds[0] != kinds[-1]:
                kinds = [kinds[at] for at in self.dice.permutation(len(kinds))]
            chosen += kinds[:count]
        return chosen

    def _fewest(
        self, group: int, pool: Array, window: tuple[int, int]
    ) -> tuple[dict[int, int], dict[int, list[int]]] | None:
        """How many pieces of each cluster have about a sum in a window of cells, and the pieces
        that there are of it."""
        coarse = max(1, window[1] // SUM_CELLS)
        there: dict[int, list[int]] = {}
        for kind in self.maker.kinds.eligible(group):
            count = int(pool[kind])
            if count > 0 and not self._is_shim[kind]:
                there.setdefault(self.search.cluster[kind], []).extend([kind] * count)
        offered: dict[int, tuple[int, int]] = {}
        for cluster, kinds in there.items():
            cells = sum(self._cells[kind] for kind in kinds)
            offered[cluster] = (max(1, round(cells / len(kinds) / coarse)), len(kinds))
        if self.dice.random() < self.sampled:
            offered = self._sample(offered, 2 * window[1] // coarse)
        counts = fewest(offered, (-(-window[0] // coarse), window[1] // coarse), self.dice)
        return None if counts is None else (counts, there)

    def _sample(
        self, offered: dict[int, tuple[int, int]], cells: int
    ) -> dict[int, tuple[int, int]]:
        """A few pieces of each, about so long together: piles of many kinds are easily divided."""
        whole = sum(cells for cells, _count in offered.values())
        most = max(1, -(-cells // max(1, whole)))
        counts = self.dice.integers(0, 2 * most + 1, len(offered))
        return {
            cluster: (each, min(count, int(some)))
            for (cluster, (each, count)), some in zip(offered.items(), counts, strict=True) if some
        }  # fmt: skip

    # -- taking it ---------------------------------------------------------------------------

    def _commit(self, piles: Piles, empty: At | None) -> int:
        stations = {spot.at for spot in piles} | ({empty[0]} if empty else set())
        columns: dict[int, Column] = {}
        for at in stations:
            stacks: list[ShaftStack | None] = []
            for turn, old in enumerate(self.columns[at].stacks):
                mine = {s.fill: pile for s, pile in piles.items() if (s.at, s.turn) == (at, turn)}
                if not mine:
                    stacks.append(None if (at, turn) == empty else old)
                    continue
                shaft = self._shaft(at, turn)
                before: Mapping[int, Sequence[int]] = dict(enumerate(old.fills if old else ()))
                fills = [mine.get(fill, before.get(fill, ())) for fill in range(len(shaft.fills))]
                made = made_stack(self._problem, self.maker.kinds, shaft, fills)
                if made is None:
                    return -1
                stacks.append(made)
            column = self.maker.column(at, stacks)
            if column is None:
                return -1
            columns[at] = column
        old_aims = self.search.figures([self.columns[at] for at in stations])
        new_aims = self.search.figures(list(columns.values()))
        if new_aims > old_aims:
            return -1
        for at, column in columns.items():
            for kind, count in use_of(self.columns[at].stacks).items():
                self.left[kind] += count
            for kind, count in use_of(column.stacks).items():
                self.left[kind] -= count
            self.columns[at] = column
        return int(new_aims < old_aims)
