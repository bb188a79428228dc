"""What cutting the whole set by its worst roll would take, to compare a plan with."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tooling.engineering.regrinds.answer import Baseline
from tooling.engineering.regrinds.least import Search
from tooling.engineering.regrinds.model import Model
from tooling.engineering.regrinds.weigh import Weights, aims


def by_the_worst(search: Search, weights: Weights) -> Baseline:
    """All pieces of the plan cut alike, a top roll by the ratio times a bottom roll's amount, by
    what the worst of them needs; what cannot be cut so far is replaced."""
    model = search.model
    amount, factors = worst_amount(model)
    new, off = set(), []
    may_be_new = search.may_be_new()
    for n, facts in enumerate(model.facts):
        cut = _stepped(amount * factors[n], model.step_nm) if facts.piece.in_plan else 0
        cut = max(cut, facts.need * model.step_nm) if cut and facts.must_diameter else cut
        impossible = cut > facts.cap * model.step_nm or (facts.is_faced and not facts.can_face)
        if impossible and n in may_be_new:
            new.add(n)
            cut = min(cut, max(model.low_nm[n], facts.room_nm))
        off.append(cut)
    return Baseline(
        amount_nm=_stepped(amount, model.step_nm),
        aims=aims(model, weights, new, off),
        broken=tuple(model.requirements[at].told for at in broken(search, new, off)),
    )


def worst_amount(model: Model) -> tuple[Fraction, list[Fraction]]:
    """What a bottom roll loses, and each piece's share of it: the ratio on a top shaft, else 1."""
    factors = [Fraction(1)] * len(model.facts)
    at = {piece.name: n for n, piece in enumerate(model.problem.pieces)}
    for line in model.problem.lines:
        for one in line.passes:
            for name in one.top.pieces if one.top else ():
                factors[at[name]] = max(factors[at[name]], one.ratio)
    worst = max(
        (Fraction(facts.need * model.step_nm) / factors[n]
         for n, facts in enumerate(model.facts) if facts.must_diameter and facts.piece.in_plan),
        default=Fraction(0),
    )  # fmt: skip
    return worst, factors


def broken(search: Search, new: set[int], off_nm: Sequence[int]) -> list[int]:
    """The requirements that such amounts break, in their order."""
    model, found = search.model, set()
    for n in range(len(model.facts)):
        domain = search.domain(n, n in new)
        if domain.up(off_nm[n]) != off_nm[n]:
            found |= set(model.of_piece[n].values())
    for arc in model.arcs:
        if arc.target * off_nm[arc.second] < arc.source * off_nm[arc.first] + arc.least:
            found.add(arc.requirement)
    for each in model.sums:
        if off_nm[each.first] + off_nm[each.second] > each.most_nm:
            found.add(each.requirement)
    for at, spots in model.contours:
        if new.intersection(spots) and not new.issuperset(spots):
            found.add(at)
    return sorted(found)


def _stepped(amount: Fraction, step_nm: int) -> int:
    return int(-(-amount // step_nm)) * step_nm
