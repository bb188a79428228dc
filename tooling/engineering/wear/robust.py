"""Readings weighed against one another: which are odd, and what verdicts of a template say.

A reading is good, or with a small chance odd and several times as far out. What the others (and
the pool) expect of it decides how likely either is; an odd one keeps the little weight that it
deserves and is told by name. A verdict becomes the value and the spread that it implies
(moments of the truncated normal), given the other readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tooling.engineering.wear.latent import AFTER, Design, Solved, solve, truncated
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import Prior
from tooling.engineering.wear.rates import Known, peak

SWEEPS = 4


@dataclass(frozen=True)
class Weighed:
    """The solved points, and per reading how far it is off what the rest expects.

    ``off`` in standard deviations of the reading given the rest (0 for a verdict), ``weight`` the
    share of its precision that it kept; ``after_off`` and ``after_weight`` the same per point for
    the reading after the cut.
    """

    solved: Solved
    off: Floats
    weight: Floats
    after_off: Floats
    after_weight: Floats


def weigh(made: Design, known: Known, prior: Prior) -> Weighed:
    """Sweeps over all readings until weights and verdicts have settled."""
    count, times = len(known.mean), prior.odd_reading_times
    weight, after_weight = np.ones(len(made.y)), np.ones(count)
    y = made.y.copy()
    precision = np.where(made.is_verdict, 0.0, 1 / made.noise)
    off, after_off = np.zeros(len(made.y)), np.zeros(count)
    spread, any_verdicts = made.spread, bool(made.is_verdict.any())
    solved = solve(made, precision, y, spread, count)
    for _ in range(SWEEPS):
        rate = np.exp(peak(known, solved.b, solved.c)[0])
        rate_variance = 1 / (1 / (rate * known.sd) ** 2 + solved.c)
        mean, variance = _expected(made, solved, rate, rate_variance)
        rest = np.maximum(1 / variance - precision, 1e-7 / variance)
        expected = np.where(precision > 0, (mean / variance - precision * y) / rest, mean)
        off = np.where(made.is_verdict, 0, (made.y - expected) / np.sqrt(1 / rest + made.noise))
        weight = np.where(
            made.is_verdict,
            1.0,
            _weight(made.y - expected, 1 / rest, made.noise, prior.odd_readings, times),
        )
        precision = weight / made.noise
        if any_verdicts:
            told, told_variance = truncated(expected, 1 / rest, made.low, made.high, made.noise)
            site = np.maximum(1 / told_variance - rest, 1e-9 * rest)
            y = np.where(made.is_verdict, (told / told_variance - rest * expected) / site, made.y)
            precision = np.where(made.is_verdict, site, precision)
        after_off, after_weight = _after(made, solved, rate, rate_variance, spread, prior)
        spread = made.spread.copy()
        spread[:, AFTER] /= np.sqrt(after_weight)
        solved = solve(made, precision, y, spread, count)
    return Weighed(solved, off, weight, after_off, after_weight)


def _expected(
    made: Design, solved: Solved, rate: Floats, rate_variance: Floats
) -> tuple[Floats, Floats]:
    """Mean and variance of what each reading reads, by everything known."""
    point, rows = made.point, made.rows
    mean = rate[point] * made.length
    slope = made.length.copy()
    variance = np.zeros(len(point))
    for i in range(rows.shape[1]):
        mean += rows[:, i] * (solved.at[point, i] + solved.by[point, i] * rate[point])
        slope += rows[:, i] * solved.by[point, i]
    for i in solved.some:
        for j in solved.some:
            variance += rows[:, i] * rows[:, j] * solved.cov[point, i, j]
    variance += slope**2 * rate_variance[point]
    return mean, np.maximum(variance, 1e-9 * made.noise + 1e-9)


def _weight(miss: Floats, rest: Floats, noise: Floats, odd: float, times: float) -> Floats:
    """Expected share of a reading's precision: good, or odd with ``times`` the deviation."""
    good, bad = rest + noise, rest + noise * times**2
    ratio = (
        odd
        / (1 - odd)
        * np.sqrt(good / bad)
        * np.exp(np.minimum(0.5 * miss**2 * (1 / good - 1 / bad), 600))
    )
    share = 1 / (1 + ratio)
    weight: Floats = share + (1 - share) / times**2
    return weight


def _after(
    made: Design, solved: Solved, rate: Floats, rate_variance: Floats, spread: Floats, prior: Prior
) -> tuple[Floats, Floats]:
    """The same for the reading after the cut, whose error is one of the unknowns."""
    mean = solved.at[:, AFTER] + solved.by[:, AFTER] * rate
    variance = solved.cov[:, AFTER, AFTER] + solved.by[:, AFTER] ** 2 * rate_variance
    own = np.maximum(spread[:, AFTER], 1e-3) ** 2
    rest = np.maximum(1 / np.maximum(variance, 1e-9) - 1 / own, 1e-6 / own)
    expected, noise = mean / np.maximum(variance, 1e-9) / rest, made.spread[:, AFTER] ** 2
    off = -expected / np.sqrt(1 / rest + noise)
    weight = _weight(expected, 1 / rest, noise, prior.odd_readings, prior.odd_reading_times)
    return off, weight
