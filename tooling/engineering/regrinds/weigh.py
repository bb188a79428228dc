"""What an answer costs: money where the shop gave prices, else pieces and stock."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tooling.engineering.regrinds.model import Model

MM = 1_000_000


@dataclass(frozen=True)
class Price:
    """One piece in hundredths: left (paid for where it is faced), cut, each nm cut, new."""

    leave: int
    cut: int
    per_nm: Fraction
    new: int
    life_per_nm: Fraction


@dataclass(frozen=True)
class Weights:
    """The prices of a model's pieces. ``has_prices`` False: fewest replaced, cut, least stock."""

    has_prices: bool
    prices: tuple[Price, ...]

    @classmethod
    def of(cls, model: Model) -> Weights:
        given = model.problem.prices
        if given is None:
            nothing = Price(0, 0, Fraction(0), 0, Fraction(0))
            return cls(False, (nothing,) * len(model.facts))
        found = []
        for facts in model.facts:
            life = Fraction(facts.piece.life_cents_per_mm or 0) / MM
            face = given.face_cents if facts.has_flank else 0
            new = facts.piece.new_cents
            found.append(
                Price(
                    leave=given.setup_cents + face if facts.is_faced else 0,
                    cut=given.setup_cents + face,
                    per_nm=Fraction(given.cents_per_mm) / MM + life,
                    new=given.new_cents if new is None else new,
                    life_per_nm=life,
                )
            )
        return cls(True, tuple(found))

    def among(self, pieces: Sequence[int]) -> Weights:
        """Of these pieces only, in their order."""
        return Weights(self.has_prices, tuple(self.prices[n] for n in pieces))


@dataclass(frozen=True, order=True)
class Aims:
    """What is made small, first to last. ``cents`` is 0 where the shop gave no prices; ``stock_nm``
    is what comes off the pieces that are cut, on diameter; ``worked``: cut or faced."""

    cents: Fraction
    replaced: int
    worked: int
    stock_nm: int


def aims(model: Model, weights: Weights, new: Collection[int], off_nm: Sequence[int]) -> Aims:
    """The aims of an answer."""
    cents, worked, stock = Fraction(0), 0, 0
    for n, facts in enumerate(model.facts):
        price, off = weights.prices[n], off_nm[n]
        if n in new:
            cents += price.new + price.life_per_nm * (off - model.low_nm[n])
            continue
        worked += off > 0 or facts.is_faced
        stock += off
        cents += price.cut + price.per_nm * off if off > 0 else price.leave
    return Aims(cents, len(new), worked, stock)


def added(parts: Sequence[Aims]) -> Aims:
    """The aims of several parts together."""
    return Aims(
        sum((each.cents for each in parts), Fraction(0)),
        sum(each.replaced for each in parts),
        sum(each.worked for each in parts),
        sum(each.stock_nm for each in parts),
    )
