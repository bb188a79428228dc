"""What the lives of a roll before its last cut say of the one that it has now.

ln rate = mean of like pieces + what the roll keeps from cut to cut + what is new with each life:
random effects in two levels. ``piece_share`` is the first's share of the variance between like
pieces.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from tooling.engineering.wear.columns import Columns, Ints
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import USUAL_PIECE_SHARE
from tooling.engineering.wear.rates import Known, Rates

SAYS_NOTHING = 0.02
"""A life whose precision is less than this share of what like pieces say is left out."""
BELIEVED_PIECES = 6.0
"""The share from memory counts as that of so many pieces with two lives each."""
FURTHEST, LEAST, MOST = 2.5, 0.02, 0.9
"""Deviations count up to so many standard ones; the share stays between these."""


def with_earlier(known: Known, spread: Floats, cols: Columns, share: float) -> Known:
    """The rate beforehand of every point, moved by what its earlier lives said.

    ``known`` from the pool alone, ``spread`` its standard deviation between pieces (n). Points
    without earlier lives keep every bit of theirs. A life far out counts less, by the chance that
    it is odd.
    """
    if cols.earlier_precision.shape[1] == 0:
        return known
    life = (1 - share) * spread**2
    roll = np.maximum(known.sd**2 - life, 1e-12)
    total, pulled = 1 / roll, np.zeros_like(roll)
    for k in range(cols.earlier_precision.shape[1]):
        off, precision = cols.earlier_off[:, k], cols.earlier_precision[:, k]
        weight = precision / (1 + precision * life)
        square = off**2 * precision / (1 + precision * known.sd**2)
        good = (1 - known.odd) * np.exp(-0.5 * square)
        bad = known.odd / known.times * np.exp(-0.5 * square / known.times**2) + 1e-300
        weight = weight * (good + bad / known.times**2) / (good + bad)
        total, pulled = total + weight, pulled + weight * off
    has = np.any(cols.earlier_precision > 0, axis=1)
    return Known(
        np.where(has, known.mean + pulled / total, known.mean),
        np.where(has, np.sqrt(1 / total + life), known.sd),
        known.odd,
        known.times,
    )


def said_by(known: Known, rates: Rates) -> tuple[Floats, Floats]:
    """How far ln rate is off the pool's mean by the readings alone, and the precision of that.

    The pool is taken out of the posterior again, both as normal; 0 and 0 where the readings say
    next to nothing.
    """
    mean, sd = rates.log_moments
    precision = np.maximum(1 / sd**2 - 1 / known.sd**2, 0)
    says = precision * known.sd**2 > SAYS_NOTHING
    off = (mean - known.mean) / sd**2 / np.where(says, precision, 1.0)
    return np.where(says, off, 0.0), np.where(says, precision, 0.0)


@dataclass(frozen=True)
class Siblings:
    """Which rows are lives of one point of one piece, of those that have a key: ``lives`` (n) how
    many of a row's piece there are, and every pair of them as ``one`` and ``other`` (pairs)."""

    lives: Ints
    one: Ints
    other: Ints


def siblings(cols: Columns) -> Siblings:
    """Rows of the same key and end."""
    found: dict[tuple[object, str], list[int]] = {}
    for row, (key, end) in enumerate(zip(cols.keys, cols.ends, strict=True)):
        if key:
            found.setdefault((key, end), []).append(row)
    lives = np.ones(cols.count, dtype=np.int64)
    pairs: list[tuple[int, int]] = []
    for rows in found.values():
        if len(rows) > 1:
            lives[rows] = len(rows)
            pairs += combinations(rows, 2)
    one, other = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    return Siblings(lives, one, other)


def piece_share(same: Siblings, off: Floats, precision: Floats, spread: Floats) -> float:
    """The share of the variance that a piece keeps, from products of the deviations of its lives.

    Each product of two lives estimates share·spread², their squares the spread itself, as in a
    correlation; they are weighed by how well both are known, beside the belief from memory.
    """
    sd = np.sqrt(spread**2 + 1 / np.maximum(precision, 1e-12))
    near = np.clip(off, -FURTHEST * sd, FURTHEST * sd)
    trust = spread**2 / sd**2 * (precision > 0)
    one, other = same.one, same.other
    weight = trust[one] * trust[other] * 2 / same.lives[one]
    squares = (near[one] / sd[one]) ** 2 + (near[other] / sd[other]) ** 2
    products = near[one] * near[other] / (spread[one] * spread[other])
    total = BELIEVED_PIECES + float(np.sum(weight * squares)) / 2
    pulled = BELIEVED_PIECES * USUAL_PIECE_SHARE + float(np.sum(weight * products))
    return float(np.clip(pulled / total, LEAST, MOST))


def counting(same: Siblings, share: float) -> Floats:
    """As how much of a piece each life counts where pools are learned: k lives of one piece that
    keeps this share are k / (1 + (k − 1)·share) pieces, as generalised least squares weighs them.
    """
    counts: Floats = 1 / (1 + (same.lives - 1) * share)
    return counts
