"""Learning from all histories: strip factors, scatter, bedding-in, and the rates of like pieces.

Empirical Bayes. A round works out what every piece's readings say under the prior of the round
before (the same arithmetic as the forecasts'), then moves the prior: means of ln rate per pool,
mean of bedding-in and the strip factors by one scoring step of the marginal likelihood, the
variances by expectation and maximisation. Weak beliefs from memory keep it steady with few pieces.
Odd readings and odd pieces weigh little, by the chance that they are odd. Several lives of one
piece are no more pieces than they are unlike (``counting``), in every slope alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tooling.engineering.wear.columns import Columns, Ints, columns
from tooling.engineering.wear.earlier import Siblings, counting, piece_share, said_by, siblings
from tooling.engineering.wear.forecasts import Expected, expect, part
from tooling.engineering.wear.latent import BED, BEND, RATIO, Design
from tooling.engineering.wear.learning import (
    BELIEFS,
    Learnt,
    beliefs_of,
    class_shares,
    information,
    scatter_after,
    slopes,
    spread_after,
)
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import USUAL_SPREAD, Pool, Prior
from tooling.engineering.wear.random_effects import pooled, reml
from tooling.engineering.wear.rates import Known
from tooling.engineering.wear.robust import Weighed
from tooling.engineering.wear.specs import History
from tooling.engineering.wear.unsure import unsure_scatter

ROUNDS = 60
SETTLED = 2e-4
MOST = 5_000
"""Points of which the prior is learned, evenly from each pool; more change nothing to be seen."""
ABSURD_NM = 10_000_000
"""No roll loses 10 mm between cuts: a life that says so was read on another piece or in another
unit, and nothing is learned from it. Its own forecast and flags still show it."""
FEW, FRESH_NM = 4.0, 1_800.0
"""How far pieces differ in bedding-in is not known from few: so much more, as of so many pieces;
from memory."""
BETWEEN_POOLS = 0.3
"""How far pools differ (standard deviation of ln rate) where fewer than three tell; from memory."""
NEIGHBOURS = 10.0
"""A pool's own spread counts against that of all pools as if these had so many pieces."""


def fit_prior(given: Sequence[History] | Columns, start: Prior = Prior()) -> Prior:  # noqa: B008
    """The prior that all histories together teach; ``start`` where they say nothing.

    Give every life of every piece, from cut to cut: finished ones teach as much. The order of
    histories changes nothing that matters (sums in another order), their number is kept per pool.
    """
    cols = given if isinstance(given, Columns) else columns(given)
    whole, cols = cols, thinned(cols)
    if cols.count == 0:
        return start
    learnt, same = _first(cols, start), siblings(cols)
    for _ in range(ROUNDS):
        before = learnt
        learnt = _round(cols, learnt, same)
        if not learnt.is_sound:
            learnt = before
            break
        if learnt.moved_from(before) < SETTLED:
            break
    return _told(whole, cols, unsure_scatter(cols, learnt))


def thinned(cols: Columns) -> Columns:
    """The points that have a value since the cut, at most ``MOST`` of them (or 30 per pool)."""
    values = np.bincount(cols.point[~np.isnan(cols.depth)], minlength=cols.count)
    absurd = np.bincount(cols.point[np.abs(cols.depth) > ABSURD_NM], minlength=cols.count) > 0
    rows = np.flatnonzero((values > 0) & np.isfinite(cols.base) & ~absurd)
    if len(rows) > MOST:
        pools = [rows[cols.alike[rows] == code] for code in range(len(cols.alike_names))]
        most = _share([len(pool) for pool in pools], MOST)
        evenly = [
            pool[np.arange(min(most, len(pool))) * len(pool) // max(1, min(most, len(pool)))]
            for pool in pools
        ]
        rows = np.sort(np.concatenate(evenly))
    return taken(cols, rows)


def _share(sizes: Sequence[int], most: int) -> int:
    """The largest number per pool with which all pools together stay within ``most``; some."""
    low, high = 30, most
    while low < high:
        middle = (low + high + 1) // 2
        fits = sum(min(size, middle) for size in sizes) <= most
        low, high = (middle, high) if fits else (low, middle - 1)
    return low


def taken(cols: Columns, rows: Ints) -> Columns:
    """These points with their readings, in this order."""
    if len(rows) == cols.count and np.array_equal(rows, np.arange(cols.count)):
        return cols
    counts = np.diff(cols.first)[rows]
    first = np.concatenate([[0], np.cumsum(counts)])
    readings = np.repeat(cols.first[rows] - first[:-1], counts) + np.arange(first[-1])
    whole = part(cols, 0, cols.count)
    words = {
        name: getattr(whole, name)[rows]
        for name in (
            "alike", "scale", "sign", "base", "base_u", "limit", "by_value", "chrome", "chrome_u",
            "is_plated", "sliding", "template", "unmeasured", "run_km", "ahead_km", "earlier_off",
            "earlier_precision",
        )
    }  # fmt: skip
    words |= {
        name: getattr(whole, name)[readings]
        for name in ("depth", "depth_u", "low", "high", "read_run_km", "order")
    }
    return replace(
        cols,
        keys=tuple(cols.keys[row] for row in rows),
        ends=tuple(cols.ends[row] for row in rows),
        first=first.astype(np.int64),
        point=np.repeat(np.arange(len(rows)), counts).astype(np.int64),
        **words,
    )


def _first(cols: Columns, start: Prior) -> Learnt:
    pools = [start.pool(name) for name in cols.alike_names]
    every = start.everything
    return Learnt(
        prior=replace(start, pools={}, factors=dict(start.factors)),
        means=np.array([pool.log_rate for pool in pools], dtype=np.float64),
        mean_errors=np.full(len(pools), USUAL_SPREAD),
        spreads=np.full(len(pools), BELIEFS.rate_sd),
        spread=BELIEFS.rate_sd,
        odd=every.odd_share,
        bedding=every.bedding_nm,
        bedding_sd=every.bedding_sd_nm,
        bedding_error=0.0,
        factor_errors={},
        factor_shared={},
        rate_shared=0.0,
    )


def _expect(cols: Columns, learnt: Learnt) -> Expected:
    return expect(cols, learnt.as_prior(cols.alike_names))


def _round(cols: Columns, learnt: Learnt, same: Siblings) -> Learnt:
    got = _expect(cols, learnt)
    known, made, weighed, rates = got.known, got.made, got.weighed, got.rates
    solved = weighed.solved
    r, mass = rates.r, rates.mass
    mean_r = rates.mean
    square_r = np.sum(mass * r * r, axis=1)
    z = np.log(r) - known.mean[:, None]
    usual, odd = _shares(z / known.sd[:, None], known)
    trust = mass * (usual + odd / known.times[:, None] ** 2)
    counts = counting(same, learnt.prior.piece_share)
    pull = counts * np.sum(trust * z, axis=1) / known.sd**2

    names = [name for name in cols.classes if name != "cold rolled"]
    shares = class_shares(cols, learnt.prior, names)
    precision = np.where(made.is_verdict, 0, weighed.weight / made.noise)
    (bed_now, bed_variance), (late_now, late_variance) = (
        (
            solved.at[:, n] + solved.by[:, n] * mean_r,
            solved.cov[:, n, n] + solved.by[:, n] ** 2 * (square_r - mean_r**2),
        )
        for n in (BED, BEND)
    )
    prior = learnt.prior
    pools = len(cols.alike_names)
    gradient = np.concatenate(
        [
            np.bincount(cols.alike, weights=pull, minlength=pools),
            [float(np.sum(counts * (bed_now - learnt.bedding))) / learnt.bedding_sd**2],
            [float(np.sum(counts * (late_now - prior.late_more))) / prior.late_sd**2],
            slopes(made, solved, precision * counts[made.point], shares, mean_r, square_r),
        ]
    )
    matrix = information(cols.alike, pools, made, known, precision, shares, mean_r, counts)
    extra, hold = beliefs_of(learnt, names)
    held = matrix.plus(hold)
    step = held.solve(gradient + extra)
    step[:pools] = np.clip(step[:pools], -1, 1)
    step[pools + 2 :] = np.clip(step[pools + 2 :], -0.7, 0.7)
    errors = np.sqrt(held.variances())

    moved = z - step[:pools][cols.alike][:, None]
    square = np.sum(trust * moved**2, axis=1)
    variance_z = np.sum(mass * (z - np.sum(mass * z, axis=1)[:, None]) ** 2, axis=1)
    counted = np.bincount(cols.alike, weights=counts, minlength=pools)
    per_pool = np.bincount(cols.alike, weights=counts * square, minlength=pools)
    mean_of_all = counted / counted.sum()
    rate_variance, with_rest = held.of_mean(mean_of_all)
    rate_shared = rate_variance**0.5
    shared = -with_rest[2:] / rate_shared
    variance = spread_after(
        learnt.spread**2, square, variance_z, BELIEFS.rate_sd, BELIEFS.rate_pieces, counts
    )
    own = (NEIGHBOURS * variance + per_pool) / (NEIGHBOURS + counted)
    bedding = max(0.0, learnt.bedding + float(step[pools]))
    bed_square = bed_variance + (bed_now - bedding) ** 2
    late = prior.late_more + float(np.clip(step[pools + 1], -0.1, 0.1))
    late_square = late_variance + (late_now - late) ** 2
    plated = _plating_after(cols, got, prior)
    factors = dict(learnt.prior.factors)
    for name, move in zip(names, step[pools + 2 :], strict=True):
        factors[name] = learnt.prior.factor(name) * float(np.exp(move))
    return replace(
        learnt,
        prior=replace(
            learnt.prior,
            factors=factors,
            late_more=late,
            late_sd=spread_after(
                prior.late_sd**2, late_square, late_variance, BELIEFS.late_sd, BELIEFS.late_pieces
            )
            ** 0.5,
            piece_share=piece_share(same, *said_by(known, rates), learnt.spreads[cols.alike]),
            scatter_nm=scatter_after(cols, made, weighed, rates, learnt.prior),
            odd_readings=_odd_readings(made, weighed, learnt.prior),
            chrome_ratio=plated[0],
            chrome_ratio_sd=plated[1],
        ),
        means=learnt.means + step[:pools],
        mean_errors=errors[:pools],
        bedding_error=float(errors[pools]),
        spreads=np.sqrt(own),
        spread=variance**0.5,
        odd=float(np.clip((np.sum(mass * odd) + 1) / (cols.count + 40), 0.01, 0.25)),
        bedding=bedding,
        bedding_sd=spread_after(
            learnt.bedding_sd**2,
            bed_square,
            bed_variance,
            BELIEFS.bedding_sd,
            BELIEFS.bedding_pieces,
        )
        ** 0.5,
        factor_errors=dict(zip(names, errors[pools + 2 :].tolist(), strict=True)),
        factor_shared=dict(zip(names, shared.tolist(), strict=True)),
        rate_shared=rate_shared,
    )


def _shares(deviations: Floats, known: Known) -> tuple[Floats, Floats]:
    """How likely a piece at this deviation is a usual one, and an odd one."""
    odd, times = known.odd[:, None], known.times[:, None]
    good = (1 - odd) * np.exp(-0.5 * deviations**2)
    bad = odd / times * np.exp(-0.5 * (deviations / times) ** 2) + 1e-300
    return good / (good + bad), bad / (good + bad)


def _odd_readings(made: Design, weighed: Weighed, prior: Prior) -> float:
    least = 1 / prior.odd_reading_times**2
    odd = 1 - (weighed.weight[~made.is_verdict] - least) / (1 - least)
    return float(np.clip((np.sum(odd) + 2) / (len(odd) + 100), 0.002, 0.2))


def _plating_after(cols: Columns, got: Expected, prior: Prior) -> tuple[float, float]:
    """How much faster bare steel wears than plating, by the plated pieces, and its spread."""
    plated = cols.is_plated
    if not np.any(plated):
        return prior.chrome_ratio, prior.chrome_ratio_sd
    solved = got.weighed.solved
    mean_r = got.rates.mean
    off = (solved.at[:, RATIO] + solved.by[:, RATIO] * mean_r)[plated]
    variance = solved.cov[plated, RATIO, RATIO]
    count, hold = int(np.sum(plated)), 3.0
    default = Prior()
    ratio = prior.chrome_ratio + (
        float(np.sum(off)) + hold * (default.chrome_ratio - prior.chrome_ratio)
    ) / (count + hold)
    square = float(np.sum(variance + (off - (ratio - prior.chrome_ratio)) ** 2))
    sd = ((hold * default.chrome_ratio_sd**2 + square) / (hold + count)) ** 0.5
    return max(1.0, ratio), sd


def _told(whole: Columns, cols: Columns, learnt: Learnt) -> Prior:
    """The prior as it is kept: pools drawn to one another as far as they are alike."""
    pools = len(cols.alike_names)
    variances = np.maximum(learnt.mean_errors**2, 1e-12)
    every = reml(learnt.means, variances)
    between = every.tau2 if pools >= 3 else max(every.tau2, BETWEEN_POOLS**2 if pools > 1 else 0)
    every = pooled(learnt.means, variances, between)
    points = np.bincount(whole.alike[np.unique(whole.point)], minlength=pools)
    readings = np.bincount(whole.alike[whole.point], minlength=pools)
    told = {}
    for number, name in enumerate(cols.alike_names):
        own = variances[number]
        share = between / (between + own) if pools > 1 else 1.0
        mean = share * learnt.means[number] + (1 - share) * every.mean
        se2 = share * own + ((1 - share) * every.se) ** 2
        told[name] = replace(
            _pool(learnt, float(mean), float(learnt.spreads[number]), float(se2**0.5), cols.count),
            points=int(points[number]),
            readings=int(readings[number]),
        )
    new = max(between, 0 if cols.alike_names == ("",) else BETWEEN_POOLS**2)
    every_pool = replace(
        _pool(learnt, every.mean, float((learnt.spread**2 + new) ** 0.5), every.se, cols.count),
        points=int(points.sum()),
        readings=int(readings.sum()),
    )
    factor_sd = dict(learnt.prior.factor_sd) | learnt.factor_errors
    everything = told.pop("", every_pool)
    return replace(
        learnt.prior, everything=everything, pools=told, factor_sd=factor_sd,
        factor_shared=learnt.factor_shared, rate_shared=learnt.rate_shared,
    )  # fmt: skip


def _pool(learnt: Learnt, mean: float, sd: float, se: float, count: int) -> Pool:
    """Bedding-in is as unsure as pieces differ in it, as its mean is known, and, where few pieces
    tell, as it may be at first (``FEW``)."""
    few = FEW / (FEW + count)
    bedding_u = (learnt.bedding_sd**2 + learnt.bedding_error**2 + few * FRESH_NM**2) ** 0.5
    return Pool(
        log_rate=mean, log_rate_sd=sd, log_rate_se=se, odd_share=learnt.odd,
        bedding_nm=learnt.bedding, bedding_sd_nm=bedding_u,
    )  # fmt: skip
