"""A model taken apart into pieces that have nothing to do with each other."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from tooling.engineering.regrinds.least import Search
from tooling.engineering.regrinds.model import Arc, Model
from tooling.engineering.regrinds.weigh import Weights


def pushing(model: Model, most_nm: Sequence[int], least_nm: Sequence[int]) -> tuple[Arc, ...]:
    """The arcs that can raise anything: at the most that may come off the one, the other needs
    more than the least it loses anyway. No other arc ever matters. Contours are always kept."""
    return tuple(
        arc for arc in model.arcs
        if model.requirements[arc.requirement].kind == "contour"
        or arc.source * most_nm[arc.first] + arc.least > arc.target * least_nm[arc.second]
    )  # fmt: skip


def starts(search: Search) -> list[int]:
    """The least that comes off each piece by itself, whatever becomes of it."""
    free = search.may_be_new()
    found = []
    for n in range(len(search.model.facts)):
        own = search.domain(n, is_new=False)
        ways = [] if own.is_empty else [own.up(own.low_nm)]
        ways += [search.model.low_nm[n]] if n in free else []
        found.append(min((each for each in ways if each is not None), default=0))
    return found


def highest(search: Search) -> list[int]:
    """The most that may come off each piece by itself."""
    free, found = search.may_be_new(), []
    for n in range(len(search.model.facts)):
        own = search.domain(n, is_new=False)
        high = own.high_nm if own.exact_nm is None else own.exact_nm
        found.append(max(high, search.domain(n, is_new=True).high_nm) if n in free else high)
    return found


def split(model: Model, arcs: Iterable[Arc]) -> list[tuple[int, ...]]:
    """The pieces by what binds them together: arcs, centres, contours; in their order."""
    leader = list(range(len(model.facts)))

    def find(n: int) -> int:
        while leader[n] != n:
            leader[n] = leader[leader[n]]
            n = leader[n]
        return n

    pairs = [(arc.first, arc.second) for arc in arcs]
    pairs += [(each.first, each.second) for each in model.sums]
    pairs += [(spots[0], n) for _at, spots in model.contours for n in spots[1:]]
    for one, other in pairs:
        first, second = sorted((find(one), find(other)))
        leader[second] = first
    groups: dict[int, list[int]] = {}
    for n in range(len(leader)):
        groups.setdefault(find(n), []).append(n)
    return [tuple(group) for group in groups.values()]


def restrict(model: Model, pieces: Sequence[int], arcs: Iterable[Arc]) -> Model:
    """The same with these pieces only, numbered anew; requirements keep their numbers."""
    at = {n: spot for spot, n in enumerate(pieces)}
    return replace(
        model,
        facts=tuple(model.facts[n] for n in pieces),
        low_nm=tuple(model.low_nm[n] for n in pieces),
        of_piece=tuple(model.of_piece[n] for n in pieces),
        arcs=tuple(replace(arc, first=at[arc.first], second=at[arc.second])
                   for arc in arcs if arc.first in at and arc.second in at),
        sums=tuple(replace(each, first=at[each.first], second=at[each.second])
                   for each in model.sums if each.first in at and each.second in at),
        contours=tuple((req, tuple(at[n] for n in spots))
                       for req, spots in model.contours if spots[0] in at),
    )  # fmt: skip


def worth_replacing(
    search: Search, weights: Weights, off_nm: Sequence[int], arcs: Iterable[Arc]
) -> frozenset[int]:
    """The pieces that a new roll could save anything on: they cost something as they are, or push
    another; with all that share a contour with them. Others are never replaced by choice."""
    found = {n for n, off in enumerate(off_nm) if off > 0 or weights.prices[n].leave > 0}
    found |= {arc.first for arc in arcs
              if search.model.requirements[arc.requirement].kind != "contour"}  # fmt: skip
    return frozenset(_with_contours(search.model, found))


def _with_contours(model: Model, found: set[int]) -> Collection[int]:
    before: set[int] = set()
    while before != found:
        before = set(found)
        for _at, spots in model.contours:
            if found.intersection(spots):
                found |= set(spots)
    return found
