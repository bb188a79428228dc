"""One round of learning: slopes and curvature of the likelihood, and the variances after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np

from tooling.engineering.wear.bordered import Bordered
from tooling.engineering.wear.columns import Columns, Ints
from tooling.engineering.wear.latent import AFTER, BED, BEND, UNKNOWNS, Design, Solved
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import (
    DEFAULT_FACTORS,
    FACTOR_SPREAD,
    UNKNOWN_SPREAD,
    USUAL_RATE_NM_PER_KM,
    USUAL_SPREAD,
    Pool,
    Prior,
)
from tooling.engineering.wear.rates import Known, Rates
from tooling.engineering.wear.robust import Weighed


@dataclass(frozen=True)
class Beliefs:
    """What is believed before any reading, and as how many pieces it counts; from memory.

    The mean of bedding-in is nothing ± ``bedding_mean``. ``scatter`` is what the prior of a shop
    without readings says, within a factor of about two either way (as one piece would tell it).
    """

    rate_sd: float = 0.5
    rate_pieces: float = 4.0
    bedding_mean: float = 2_500.0
    bedding_sd: float = 600.0
    bedding_pieces: float = 1.0
    late_sd: float = 0.02
    late_pieces: float = 10.0
    scatter: float = Prior().scatter_nm
    scatter_pieces: float = 1.0


BELIEFS = Beliefs()
DAMPED = 0.4


@dataclass(frozen=True)
class Learnt:
    """The prior while it is being learned: per pool the mean of ln rate, its error, the spread."""

    prior: Prior
    means: Floats
    mean_errors: Floats
    spreads: Floats
    spread: float
    odd: float
    bedding: float
    bedding_sd: float
    bedding_error: float
    factor_errors: dict[str, float]
    factor_shared: dict[str, float]
    rate_shared: float

    def as_prior(self, names: Sequence[str]) -> Prior:
        """A prior with one pool per name, without the errors of the means."""
        return replace(
            self.prior,
            pools={
                name: Pool(
                    log_rate=float(self.means[n]), log_rate_sd=float(self.spreads[n]),
                    odd_share=self.odd, bedding_nm=self.bedding, bedding_sd_nm=self.bedding_sd,
                )
                for n, name in enumerate(names)
            },
        )  # fmt: skip

    @property
    def is_sound(self) -> bool:
        """Whether everything learned is a finite number."""
        numbers = (
            *self.means, *self.mean_errors, *self.spreads, self.spread, self.bedding,
            self.bedding_sd, self.prior.scatter_nm, self.prior.late_more, self.prior.late_sd,
            self.prior.chrome_ratio, *self.prior.factors.values(),
        )  # fmt: skip
        return bool(np.all(np.isfinite(np.array(numbers, dtype=np.float64))))

    def moved_from(self, other: Learnt) -> float:
        """The greatest relative move of anything learned."""
        moves = [
            float(np.max(np.abs(self.means - other.means))),
            abs(log(self.spread / other.spread)),
            abs(self.bedding - other.bedding) / 1_000,
            abs(log((self.prior.scatter_nm + 100) / (other.prior.scatter_nm + 100))),
            abs(log(self.bedding_sd / other.bedding_sd)) / 3,
            abs(self.prior.late_more - other.prior.late_more),
            abs(self.prior.late_sd - other.prior.late_sd),
            abs(self.prior.piece_share - other.prior.piece_share),
            *(
                abs(log(factor / other.prior.factor(name)))
                for name, factor in self.prior.factors.items()
            ),
        ]
        return max(moves)


def beliefs_of(learnt: Learnt, names: Sequence[str]) -> tuple[Floats, Floats]:
    """Slopes and curvatures that the beliefs add: pools' means, bedding-in, factors."""
    hold = [1 / USUAL_SPREAD**2] * len(learnt.means)
    pull = [(log(USUAL_RATE_NM_PER_KM) - mean) / USUAL_SPREAD**2 for mean in learnt.means]
    hold += [1 / BELIEFS.bedding_mean**2, 1 / BELIEFS.late_sd**2]
    pull += [
        -learnt.bedding / BELIEFS.bedding_mean**2,
        -learnt.prior.late_more / BELIEFS.late_sd**2,
    ]
    for name in names:
        sd = FACTOR_SPREAD if name in DEFAULT_FACTORS else UNKNOWN_SPREAD
        hold.append(1 / sd**2)
        pull.append(log(DEFAULT_FACTORS.get(name, 1.0) / learnt.prior.factor(name)) / sd**2)
    return np.array(pull), np.array(hold)


def class_shares(cols: Columns, prior: Prior, names: Sequence[str]) -> Floats:
    """Equivalent km of these classes in every reading (m × names)."""
    chosen = [cols.classes.index(name) for name in names]
    factors = np.array([prior.factor(name) for name in names], dtype=np.float64)
    return cols.read_run_km[:, chosen] * factors


def slopes(
    made: Design, solved: Solved, precision: Floats, shares: Floats, mean_r: Floats,
    square_r: Floats,
) -> Floats:  # fmt: skip
    """Slope of the marginal likelihood in ln factor of every class (Fisher's identity)."""
    point = made.point
    at, by = solved.at[point], solved.by[point]
    level = made.y - np.sum(made.rows * at, axis=1)
    slope = made.length + np.sum(made.rows * by, axis=1)
    inner = precision * (level * mean_r[point] - slope * square_r[point])
    return np.array([np.sum(inner * shares[:, c]) for c in range(shares.shape[1])])


def information(
    alike: Ints, pools: int, made: Design, known: Known, precision: Floats, shares: Floats,
    mean_r: Floats, counts: Floats,
) -> Bordered:  # fmt: skip
    """Σ Xᵀ V⁻¹ X over the points, linear about each rate: pools' means, bedding-in, factors.

    V holds the noise and what is unknown of each piece, ln rate included (Lindstrom and Bates).
    ``counts``: as how much of a piece each life tells.
    """
    count, classes = len(mean_r), shares.shape[1]
    point, rate = made.point, mean_r[made.point]
    random = np.column_stack([made.rows, rate * made.length])
    spread = np.column_stack([made.spread, known.sd])
    fixed = np.column_stack(
        [random[:, UNKNOWNS], made.rows[:, [BED, BEND]], rate[:, None] * shares]
    )

    def sums(one: Floats, other: Floats) -> Floats:
        return np.stack(
            [
                np.stack(
                    [
                        np.bincount(point, weights=one[:, i] * other[:, j] * precision,
                                    minlength=count)
                        for j in range(other.shape[1])
                    ],
                    axis=1,
                )
                for i in range(one.shape[1])
            ],
            axis=1,
        )  # fmt: skip

    inner = sums(random, random) * spread[:, :, None] * spread[:, None, :]
    inner += np.eye(UNKNOWNS + 1)
    cross = sums(random, fixed) * spread[:, :, None]
    each = sums(fixed, fixed) - np.einsum("nij,nik->njk", cross, np.linalg.solve(inner, cross))
    each *= counts[:, None, None]
    sums_of = [
        np.bincount(alike, weights=each[:, 0, k], minlength=pools).astype(np.float64)
        for k in range(3 + classes)
    ]
    return Bordered(sums_of[0], np.stack(sums_of[1:], axis=1), np.sum(each[:, 1:, 1:], axis=0))


def spread_after(
    now: float, square: Floats, unsure: Floats, believed: float, pieces: float,
    counts: Floats | float = 1.0,
) -> float:  # fmt: skip
    """A variance after a round, by scoring: ``now`` is that of the round before.

    Per piece ``square`` is the expected square of what varies and ``unsure`` its variance given the
    readings: pieces that say little of it move it little. The belief is log-normal, as sure as so
    many ``pieces`` would make it. ``counts``: how much each tells. Damped, because several
    variances may explain the same miss; a round halves or doubles it at most.
    """
    slope = float(np.sum(counts * (square - now))) + pieces * now * log(believed**2 / now)
    known = float(np.sum(counts * ((now - np.minimum(unsure, now)) / now) ** 2)) + pieces
    return min(max(now + DAMPED * slope / known, now / 2), now * 2)


def scatter_after(
    cols: Columns, made: Design, weighed: Weighed, rates: Rates, prior: Prior
) -> float:
    """How readings scatter beyond their gauges, after a round (EM over the two parts)."""
    solved, point, mean_r = weighed.solved, made.point, rates.mean
    variance_r = np.sum(rates.mass * rates.r**2, axis=1) - mean_r**2
    at = solved.at + solved.by * mean_r[:, None]
    miss = made.y - np.sum(made.rows * at[point], axis=1) - made.length * mean_r[point]
    slope = made.length + np.sum(made.rows * solved.by[point], axis=1)
    unsure = slope**2 * variance_r[point] + np.einsum(
        "ni,nij,nj->n", made.rows, solved.cov[point], made.rows
    )
    valued = ~made.is_verdict
    steep = made.rows[valued, AFTER]
    square = weighed.weight[valued] * (miss**2 + unsure)[valued] / steep**2
    after = at[:, AFTER] ** 2 + solved.cov[:, AFTER, AFTER] + solved.by[:, AFTER] ** 2 * variance_r
    square = np.concatenate([square, weighed.after_weight * after])
    gauge = np.concatenate([cols.depth_u[valued] ** 2, cols.base_u**2])
    unsure = np.concatenate(
        [
            unsure[valued] / steep**2,
            solved.cov[:, AFTER, AFTER] + solved.by[:, AFTER] ** 2 * variance_r,
        ]
    )
    now = max(prior.scatter_nm, 1.0) ** 2
    share = now / (now + gauge)
    part = share**2 * square + share * gauge
    left = share**2 * unsure + share * gauge
    return spread_after(now, part, left, BELIEFS.scatter, BELIEFS.scatter_pieces) ** 0.5
