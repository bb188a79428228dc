"""Which few requirements conflict: alone they cannot be kept, and without any one of them they can.

Found by leaving out one after the other (the deletion filter of Chinneck and Dravnieks, 1991),
beginning with those along the chain that showed the impossibility.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import count

from tooling.engineering.regrinds.least import Impossible, Search


def is_possible(search: Search, active: Collection[int] | None = None) -> Impossible | None:
    """None where some answer keeps these requirements, with whatever may be replaced replaced:
    that frees most."""
    found = search.least(search.may_be_new(active), active)
    return found if isinstance(found, Impossible) else None


def conflicts(search: Search, most: int = 3) -> list[tuple[int, ...]]:
    """Conflicts that have no requirement in common, one after the other: what is left to free
    once the first is freed. Empty where all requirements can be kept."""
    active = set(range(len(search.model.requirements)))
    found: list[tuple[int, ...]] = []
    for _turn in count():
        shown = is_possible(search, active)
        if shown is None or len(found) == most:
            return found
        one = _irreducible(search, shown, active)
        found.append(tuple(sorted(one)))
        active -= one
    raise AssertionError("counting has no end")


def _irreducible(search: Search, shown: Impossible, active: Collection[int]) -> set[int]:
    kept = _candidates(search, shown, active)
    if is_possible(search, kept) is None:
        kept = set(active)
    for one in sorted(kept, reverse=True):
        if one in kept and is_possible(search, kept - {one}) is not None:
            kept = kept - {one}
    return kept


def _candidates(search: Search, shown: Impossible, active: Collection[int]) -> set[int]:
    """What the chain names, and everything about its pieces alone or about their contours."""
    requirements, pieces = shown.chain()
    growing = True
    while growing:
        growing = False
        for at, spots in search.model.contours:
            if at in active and pieces.intersection(spots) and not pieces.issuperset(spots):
                pieces |= set(spots)
                growing = True
    for at, spots in search.model.contours:
        if pieces.intersection(spots):
            requirements.add(at)
    for n in pieces:
        requirements |= set(search.model.of_piece[n].values())
    return requirements & set(active)
