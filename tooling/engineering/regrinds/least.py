"""The least that must come off every piece, once it is settled which are replaced.

Longest paths from the pieces' own needs along the requirements between two pieces (the method of
Bellman and Ford, here with a factor on each arc and with amounts that jump from nothing to what
cleans a piece up). No other amounts take less off any piece, and none leaves larger centres.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field

from tooling.engineering.regrinds.model import Arc, Model

Stop = Callable[[], bool]
LOOK_EVERY = 2_000
MOST_RAISES = 2_000_000
"""No set of rolls comes near it; beyond it the answer is “stopped”, never a wrong one."""


class Stopped(Exception):
    """Asked to stop before there was an answer."""


@dataclass(frozen=True)
class Domain:
    """What may come off one piece: ``exact`` amounts, or from ``low_nm`` to ``high_nm``.

    A new roll may have any diameter in between; a cut is nothing, or from ``need`` up by steps.
    ``causes``: the requirements about this piece that made it so.
    """

    low_nm: int
    high_nm: int
    is_new: bool
    need_nm: int = 0
    step_nm: int = 1
    exact_nm: int | None = None
    is_empty: bool = False

    def up(self, value: int) -> int | None:
        """The least allowed amount from ``value`` up; None where there is none."""
        if self.is_empty:
            return None
        if self.exact_nm is not None:
            return self.exact_nm if value <= self.exact_nm else None
        if not self.is_new and value > 0:
            value = max(self.need_nm, -(-value // self.step_nm) * self.step_nm)
        value = max(value, self.low_nm)
        return value if value <= self.high_nm else None


@dataclass(frozen=True)
class Raised:
    """One piece raised to an amount, by a requirement and by what had been raised before."""

    piece: int
    value: int
    requirement: int | None = None
    before: Raised | None = None


@dataclass(frozen=True)
class Amounts:
    """The least amounts in nm, and for each piece what raised it last."""

    off_nm: tuple[int, ...]
    last: tuple[Raised, ...]


@dataclass(frozen=True)
class Impossible:
    """No amounts keep everything: the chains of raises that end where nothing is allowed."""

    ends: tuple[Raised, ...]
    requirement: int | None = None

    def chain(self) -> tuple[set[int], set[int]]:
        """The requirements along the chains, and the pieces that they touch."""
        requirements = {self.requirement} if self.requirement is not None else set()
        pieces: set[int] = set()
        for end in self.ends:
            at: Raised | None = end
            while at is not None:
                pieces.add(at.piece)
                if at.requirement is not None:
                    requirements.add(at.requirement)
                at = at.before
        return requirements, pieces


@dataclass
class Search:
    """The least amounts of one model, asked for again and again."""

    model: Model
    should_stop: Stop = lambda: False
    raises: int = 0
    _out: list[list[Arc]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._out = [[] for _each in self.model.facts]
        for arc in self.model.arcs:
            self._out[arc.first].append(arc)

    def may_be_new(self, active: Collection[int] | None = None) -> frozenset[int]:
        """The pieces that may be replaced: themselves, and all that share a contour with them."""
        free = {n for n in range(len(self.model.facts)) if self._is_free(n, active)}
        for at, spots in self.model.contours:
            if (active is None or at in active) and not free.issuperset(spots):
                free -= set(spots)
        before = None
        while before != free:  # contours that share a piece
            before = set(free)
            for at, spots in self.model.contours:
                if (active is None or at in active) and not free.issuperset(spots):
                    free -= set(spots)
        return frozenset(free)

    def _is_free(self, n: int, active: Collection[int] | None) -> bool:
        of = self._of(n, active)
        if "fixed" in of or "kept" in of:
            return False
        return "pin" not in of or self._pin(n) == "replace"

    def _of(self, n: int, active: Collection[int] | None) -> dict[str, int]:
        of = self.model.of_piece[n]
        return of if active is None else {kind: at for kind, at in of.items() if at in active}

    def _pin(self, n: int) -> str:
        pin = self.model.problem.pin(self.model.facts[n].piece.name)
        return pin.kind if pin is not None else ""

    def domain(self, n: int, is_new: bool, active: Collection[int] | None = None) -> Domain:
        """What may come off a piece, when it is replaced or not."""
        facts, of, step = self.model.facts[n], self._of(n, active), self.model.step_nm
        smallest = min((each.now_nm for each in facts.piece.diameters), default=0)
        if is_new:
            high = max(0, facts.room_nm) if "least" in of else max(0, smallest - 1)
            return Domain(self.model.low_nm[n], high, is_new=True)
        cap = facts.cap * step if "least" in of else max(0, smallest - 1) // step * step
        must = "must" in of
        empty = must and facts.must_face and not facts.can_face and "narrow" in of
        if "narrow" in of:
            cap = 0
        need = facts.need * step
        if "fixed" in of:
            return Domain(0, 0, False, exact_nm=0, is_empty=empty or must)
        if "pin" in of:
            exact = self._pinned(n)
            if exact is None:
                return Domain(0, 0, False, is_empty=True)
            is_face = facts.told_to_face
            empty = empty or (is_face and bool(of.keys() & {"narrow", "unfaced"}))
            short = must and ((exact == 0 and not is_face)
                              or (facts.must_diameter and exact < need))  # fmt: skip
            return Domain(0, cap, False, exact_nm=exact,
                          is_empty=empty or short or exact > cap)  # fmt: skip
        low = need if must and facts.must_diameter else 0
        return Domain(low, cap, False, need, step, is_empty=empty)

    def _pinned(self, n: int) -> int | None:
        facts = self.model.facts[n]
        pin = self.model.problem.pin(facts.piece.name)
        if pin is None or pin.kind == "replace":
            return None
        if pin.kind in ("leave", "face"):
            return 0
        found = facts.piece.diameter(pin.diameter)
        assert found is not None
        assert pin.diameter_nm is not None
        return found.now_nm - pin.diameter_nm

    def least(
        self, new: Collection[int], active: Collection[int] | None = None
    ) -> Amounts | Impossible:
        """The least amounts when ``new`` are replaced and only ``active`` requirements hold."""
        count = len(self.model.facts)
        domains = [self.domain(n, n in new, active) for n in range(count)]
        last: list[Raised] = []
        for n, domain in enumerate(domains):
            start = domain.up(domain.low_nm)
            if start is None:
                return Impossible((Raised(n, domain.low_nm),))
            last.append(Raised(n, start))
        waiting, is_waiting = deque(range(count)), [True] * count
        while waiting:
            n = waiting.popleft()
            is_waiting[n] = False
            value = last[n].value
            for arc in self._out[n]:
                if active is not None and arc.requirement not in active:
                    continue
                least = -(-(arc.source * value + arc.least) // arc.target)
                if least <= last[arc.second].value:
                    continue
                raised = domains[arc.second].up(least)
                if raised is None:
                    return Impossible((Raised(arc.second, least, arc.requirement, last[n]),))
                last[arc.second] = Raised(arc.second, raised, arc.requirement, last[n])
                self._count()
                if not is_waiting[arc.second]:
                    is_waiting[arc.second] = True
                    waiting.append(arc.second)
        return self._summed(last, active)

    def _summed(self, last: list[Raised], active: Collection[int] | None) -> Amounts | Impossible:
        for each in self.model.sums:
            if active is None or each.requirement in active:
                ends = (last[each.first], last[each.second])
                if sum(end.value for end in ends) > each.most_nm:
                    return Impossible(ends, each.requirement)
        return Amounts(tuple(each.value for each in last), tuple(last))

    def _count(self) -> None:
        self.raises += 1
        if self.raises > MOST_RAISES or (self.raises % LOOK_EVERY == 0 and self.should_stop()):
            raise Stopped


def contour_groups(model: Model, among: Iterable[int]) -> list[tuple[int, ...]]:
    """The pieces, put together where they share a contour."""
    leader = {n: n for n in among}

    def find(n: int) -> int:
        while leader[n] != n:
            n = leader[n]
        return n

    for _at, spots in model.contours:
        inside = [n for n in spots if n in leader]
        for n in inside[1:]:
            first, second = sorted((find(inside[0]), find(n)))
            leader[second] = first
    groups: dict[int, list[int]] = {}
    for n in leader:
        groups.setdefault(find(n), []).append(n)
    return [tuple(sorted(group)) for group in groups.values()]
