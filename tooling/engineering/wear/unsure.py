"""How unsure a few pieces leave what is learned: the scatter of readings, told as their mean.

A round of learning goes to the likeliest scatter. Few readings leave it wide open upwards: what
nine of ten intervals need is the mean of its square over all that the readings allow, weighed by
their marginal likelihood. With many readings the two are the same.
"""

from __future__ import annotations

from dataclasses import replace
from math import log, pi

import numpy as np

from tooling.engineering.wear.columns import Columns
from tooling.engineering.wear.forecasts import pools_of
from tooling.engineering.wear.latent import AFTER, UNKNOWNS, Design, design
from tooling.engineering.wear.learning import BELIEFS, Learnt
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.rates import Known, posterior
from tooling.engineering.wear.robust import weigh

PLACES = np.linspace(-1.5, 1.5, 13)
"""Scatters that are tried, as ln of the ratio to the likeliest: from a fifth to four times it."""


def unsure_scatter(cols: Columns, learnt: Learnt) -> Learnt:
    """The same with the root of the mean square of the scatter in place of the likeliest."""
    prior = learnt.as_prior(cols.alike_names)
    known, bed, bed_sd, _learned = pools_of(cols, prior)
    usual = np.exp(known.mean)
    weighed = weigh(design(cols, prior, bed, bed_sd, usual), known, prior)
    middle = max(prior.scatter_nm, 1.0)
    scatters = middle * np.exp(PLACES)
    sd = 1 / (2 * BELIEFS.scatter_pieces) ** 0.5
    heights = np.empty(len(scatters))
    for n, scatter in enumerate(scatters.tolist()):
        made = design(cols, replace(prior, scatter_nm=scatter), bed, bed_sd, usual)
        belief = -0.5 * (log(scatter / BELIEFS.scatter) / sd) ** 2
        heights[n] = belief + evidence(made, known, weighed.weight, weighed.after_weight)
    mass = np.exp(heights - heights.max())
    square = float(np.sum(mass * scatters**2) / np.sum(mass))
    return replace(learnt, prior=replace(learnt.prior, scatter_nm=square**0.5))


def evidence(made: Design, known: Known, weight: Floats, after_weight: Floats) -> float:
    """ln of the marginal likelihood of all values: unknowns and rates integrated out.

    Per point the values are normal given the rate, with the covariance V of ``how``'s steps, so
    that ln p(y | r) = −½·(ln|2πV| + leftᵀV⁻¹left) + b·r − c·r²/2; the rate's pool is integrated on
    the grid of the posterior. ``weight`` and ``after_weight`` are those of ``weigh``. Up to a
    constant of the pools.
    """
    count, point, rows = len(known.mean), made.point, made.rows
    spread = made.spread.copy()
    spread[:, AFTER] /= np.sqrt(after_weight)
    precision = np.where(made.is_verdict, 0.0, weight / made.noise)
    left = made.y - np.sum(rows * made.mean[point], axis=1)

    def sums(values: Floats) -> Floats:
        return np.bincount(point, weights=values * precision, minlength=count).astype(np.float64)

    gram = np.empty((count, UNKNOWNS, UNKNOWNS))
    for i in range(UNKNOWNS):
        for j in range(UNKNOWNS):
            gram[:, i, j] = sums(rows[:, i] * rows[:, j])
    inner = gram * spread[:, :, None] * spread[:, None, :] + np.eye(UNKNOWNS)
    with_y = np.stack([sums(rows[:, i] * left) for i in range(UNKNOWNS)], axis=1) * spread
    with_length = (
        np.stack([sums(rows[:, i] * made.length) for i in range(UNKNOWNS)], axis=1) * spread
    )
    gains = np.linalg.solve(inner, np.stack([with_y, with_length], axis=2))
    a = sums(left * left) - np.sum(with_y * gains[:, :, 0], axis=1)
    b = sums(left * made.length) - np.sum(with_y * gains[:, :, 1], axis=1)
    c = np.maximum(sums(made.length**2) - np.sum(with_length * gains[:, :, 1], axis=1), 0)
    valued = precision > 0
    spans = -float(np.sum(np.log(precision[valued] / (2 * pi))))
    spans += float(np.sum(np.linalg.slogdet(inner)[1]))
    rates = posterior(known, b, c)
    r = rates.r
    heights = known.log_density(np.log(r)) + b[:, None] * r - 0.5 * c[:, None] * r * r
    heights += np.log(rates.step)
    top = heights.max(axis=1)
    whole = top + np.log(np.sum(np.exp(heights - top[:, None]), axis=1))
    return float(np.sum(whole)) - 0.5 * (float(np.sum(a)) + spans)
