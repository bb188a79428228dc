"""Whole choices by exchange: shafts filled one after the other, the least first, and then pieces
changed between the fills of a few stations at a time for as long as that makes them better."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tooling.engineering.stacks.lengthwise import least_uncompleted
from tooling.engineering.stacks.refill import Refill, Spot
from tooling.engineering.stacks.search import Search

PASSES = 6
"""So often shafts without a stack are tried one after the other."""
IDLE = 3
"""So many exchanges in a row per fill that make nothing better are enough."""


def exchanged(
    search: Search, dice: np.random.Generator, moves: int, enough: Callable[[Refill], bool]
) -> None:
    """The best whole choice so far, made better by up to so many exchanges, until ``enough``."""
    if not search.master.columns or search.maker.making:
        return
    changing = Exchange(search, dice)
    changing.fill_up()
    changing.improve(moves, enough)
    search.take(changing.refill.columns.values())


class Exchange:
    """What is exchanged next."""

    def __init__(self, search: Search, dice: np.random.Generator) -> None:
        self.refill, self._search, self._dice = Refill(search, dice), search, dice
        self._least = least_uncompleted(search.maker)
        self._spots: list[Spot] | None = None
        self.stations = 0.25

    def fill_up(self) -> None:
        """Shafts without a stack out of what is left, later with fills of other stations."""
        often, self.refill.sampled = self.refill.sampled, 0.9
        for turn in range(PASSES):
            empty = self.refill.empty()
            for at, shaft in empty:
                if self._search.stop():
                    break
                some = self._long(turn // 2, {at})
                self._changed(self.refill.refill(some, [(at, shaft)]))
        self.refill.sampled = often

    def improve(self, moves: int, enough: Callable[[Refill], bool]) -> None:
        """Exchanges until ``enough``, or until nothing has become better for a while."""
        idle, most = 0, IDLE * len(self._search.maker.problem.fills)
        for turn in range(moves):
            if idle >= most or self._search.stop() or (idle == 0 and enough(self.refill)):
                return
            better = -1
            if self._dice.random() < (0.7 if self._lacks() else 0.1):
                better = self._complete()
            if better < 1 and turn % 3 == 0:
                better = max(better, self._swap())
            if better < 1:
                better = max(better, self._some())
            idle = 0 if better == 1 else idle + 1

    def _some(self) -> int:
        """A few fills of different stations, one of them at an end where there is room."""
        chance = self._dice.random()
        if chance < 0.1:
            spots = self._known()
            return self.refill.refill(self._picked(spots, 1, set())) if spots else -1
        if chance < 0.1 + self.stations:
            free = list(self.refill.free())
            if not free:
                return -1
            at = free[int(self._dice.integers(len(free)))]
            shafts = self.refill.whole(at)
            return self.refill.refill(self._long(1, {at}), shafts) if shafts else -1
        some = self._long(2 + int(self._dice.integers(2)), set())
        return self.refill.refill(some) if some else -1

    def _lacks(self) -> bool:
        """Whether more shafts than must be are without a stack."""
        return sum(c.aims[0] for c in self.refill.columns.values()) > self._least

    def _complete(self) -> int:
        """A shaft without a stack gets one, out of what is left and a few fills of others."""
        empty = self.refill.empty()
        if not empty:
            return -1
        first = self._dice.random() < 0.5
        shaft = empty[0 if first else int(self._dice.integers(len(empty)))]
        some = self._long(int(self._dice.integers(5)), {shaft[0]})
        return self._changed(self.refill.refill(some, [shaft]))

    def _swap(self) -> int:
        """A shaft without a stack gets one instead of another shaft that wants more."""
        empty = self.refill.empty()
        if not empty:
            return -1
        shaft = empty[int(self._dice.integers(len(empty)))]
        need = self.refill.need(*shaft)
        larger = [each for each in self.refill.full()
                  if each[0] != shaft[0] and self.refill.need(*each) > need]  # fmt: skip
        if not larger:
            return -1
        larger.sort(key=lambda each: -self.refill.need(*each))
        instead = larger[int(self._dice.integers(min(8, len(larger))))]
        return self._changed(self.refill.refill([], [shaft], instead))

    def _changed(self, better: int) -> int:
        if better >= 0:
            self._spots = None
        return better

    def _known(self) -> list[Spot]:
        if self._spots is None:
            self._spots = self.refill.spots()
        return self._spots

    def _long(self, count: int, without: set[int]) -> list[Spot]:
        """So many long fills of one kind at stations of their own, the first an outboard one."""
        if not count:
            return []
        long = [spot for spot in self._known() if self.refill.is_long(spot)]
        ends = [spot for spot in long if self.refill.fill(spot).kind == "outboard"]
        first = self._picked(ends or long, 1, without)
        if not first:
            return []
        alike = [spot for spot in long if self.refill.group(spot) == self.refill.group(first[0])]
        return first + self._picked(alike, count - 1, without | {first[0].at})

    def _picked(self, spots: list[Spot], count: int, without: set[int]) -> list[Spot]:
        """So many by chance, each of a station of its own."""
        found: list[Spot] = []
        stations = set(without)
        for at in self._dice.permutation(len(spots)):
            if len(found) >= count:
                break
            if spots[at].at not in stations:
                found.append(spots[at])
                stations.add(spots[at].at)
        return found
