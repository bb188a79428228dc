"""Forecasts of many gauge points at once: how far each is worn, and how long it lasts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from tooling.engineering.wear.columns import Columns, Ints
from tooling.engineering.wear.conformity import judge_depths
from tooling.engineering.wear.earlier import with_earlier
from tooling.engineering.wear.flags import Flag, Look, Marks, mark
from tooling.engineering.wear.latent import (
    AFTER,
    FINEST_NM,
    RATIO,
    THICK,
    UNKNOWNS,
    Design,
    Plating,
    design,
    equivalent,
    plating,
    seen,
)
from tooling.engineering.wear.normal import Floats, quantile
from tooling.engineering.wear.onward import Onward, onward
from tooling.engineering.wear.prior import Pool, Prior
from tooling.engineering.wear.rates import (
    LOG_LONGEST,
    LONGEST_KM,
    Known,
    Rates,
    posterior,
    solve_for,
)
from tooling.engineering.wear.robust import Weighed, weigh
from tooling.engineering.wear.specs import Rules, Says
from tooling.engineering.wear.strips import newest_run, one_km_onward, unsure_onward

CHUNK = 1_024
"""Points worked at a time, so that the work stays in the processor's cache."""
SAYS = (Says.OWN, Says.ESTIMATE, Says.POOL, Says.NOTHING)


@dataclass(frozen=True)
class Forecasts:
    """One entry per point, but ``off_line``: one per reading of the columns.

    ``says`` indexes ``SAYS``. Lengths of strip in km of cold rolled: ``used_km`` since the cut;
    ``half_km`` and ``sure_km`` left until the true depth passes the limit, at even odds and at the
    rules' confidence; ``late_km`` is what the lucky end of the same confidence would run (NaN:
    no limit). ``chance`` that the limit is passed by the end of the run ahead, ``through`` that it
    is passed already. Depths in nm normal to the face: ``depth``, ``depth_u`` now, as bare metal;
    ``limit``. ``rate``, ``rate_low``, ``rate_high`` in nm per km: median and the central 90 %.
    ``next_low``, ``next_half``, ``next_high``: the gauge's value (nm) in nine of ten next readings
    after the run ahead, and its middle. ``conformity`` of the newest value; ``flags`` and
    ``look`` are bits of ``Flag`` and ``Look``; ``gain`` is the share by which one more reading now
    would narrow the rate. ``readings`` counts what was read since the cut, ``values`` what of it
    has a value.
    """

    says: Ints
    used_km: Floats
    half_km: Floats
    sure_km: Floats
    late_km: Floats
    chance: Floats
    through: Floats
    depth: Floats
    depth_u: Floats
    limit: Floats
    rate: Floats
    rate_low: Floats
    rate_high: Floats
    next_low: Floats
    next_half: Floats
    next_high: Floats
    conformity: np.ndarray
    flags: Ints
    look: Ints
    unmeasured: Ints
    gain: Floats
    readings: Ints
    values: Ints
    off_line: Floats
    weight: Floats


PER_READING = ("off_line", "weight")


def forecast(cols: Columns, prior: Prior, rules: Rules = Rules()) -> Forecasts:  # noqa: B008
    """The forecast of every point. 100,000 points take about two seconds.

    A point's numbers depend on its own readings and the prior alone: the order of points and of
    readings, and how many are worked together, change no bit of them.
    """
    return joined(
        [
            chunk(part(cols, start, min(start + CHUNK, cols.count)), prior, rules)[0]
            for start in range(0, max(cols.count, 1), CHUNK)
        ]
    )


def joined(parts: Sequence[Forecasts]) -> Forecasts:
    """Forecasts of some points after those of others."""
    if len(parts) == 1:
        return parts[0]
    return Forecasts(
        **{
            each.name: np.concatenate([getattr(part, each.name) for part in parts])
            for each in fields(Forecasts)
        }
    )


def part(cols: Columns, start: int, end: int) -> Columns:
    """The points ``start`` to ``end`` (exclusive) with their readings."""
    points, readings = slice(start, end), slice(cols.first[start], cols.first[end])
    whole = {"classes", "alike_names"}
    of_readings = {"depth", "depth_u", "low", "high", "read_run_km", "order"}
    cut = {
        each.name: getattr(cols, each.name)[readings if each.name in of_readings else points]
        for each in fields(Columns)
        if each.name not in {*whole, "first", "point"}
    }
    return replace(
        cols,
        **cut,
        first=cols.first[start : end + 1] - cols.first[start],
        point=cols.point[readings] - start,
    )


@dataclass(frozen=True)
class Inside:
    """What stands behind the forecasts of one chunk, for the ``how``."""

    known: Known
    made: Design
    weighed: Weighed
    rates: Rates
    layer: Plating
    shape: Onward

    def unsure_rate(self, cols: Columns, prior: Prior) -> Floats:
        """Relative variance of the rate on the strip ahead, else on strip like that which was
        read, from the factors of the strip that told it."""
        return unsure_onward(cols, prior, self.own, one_km_onward(cols, prior))

    @property
    def own(self) -> Floats:
        """How much of ln rate the point's own readings tell."""
        return np.clip(1 - (self.rates.log_moments[1] / self.known.sd) ** 2, 0, 1)


def _column(cols: Columns, prior: Prior, get: Callable[[Pool], float]) -> Floats:
    pools = [prior.pool(name) for name in cols.alike_names]
    return np.array([get(pool) for pool in pools], dtype=np.float64)[cols.alike]


def of_pools(cols: Columns, prior: Prior) -> Known:
    """The rate beforehand of every point, by like pieces alone."""
    return Known(
        _column(cols, prior, lambda p: p.log_rate) + np.log(cols.sliding),
        _column(cols, prior, lambda p: (p.log_rate_sd**2 + p.log_rate_se**2) ** 0.5),
        _column(cols, prior, lambda p: p.odd_share),
        _column(cols, prior, lambda p: p.odd_times),
    )


def pools_of(cols: Columns, prior: Prior) -> tuple[Known, Floats, Floats, np.ndarray]:
    """Per point from its pool, and its earlier lives: the rate beforehand; bedding-in and its
    spread; whether it is learned."""
    spread = _column(cols, prior, lambda p: p.log_rate_sd)
    return (
        with_earlier(of_pools(cols, prior), spread, cols, prior.piece_share),
        _column(cols, prior, lambda p: p.bedding_nm),
        _column(cols, prior, lambda p: p.bedding_sd_nm),
        _column(cols, prior, lambda p: float(p.is_learned)) > 0,
    )


@dataclass(frozen=True)
class Expected:
    """What the readings say under a prior."""

    known: Known
    made: Design
    weighed: Weighed
    rates: Rates


def expect(cols: Columns, prior: Prior) -> Expected:
    """The rates of all points by pool and readings."""
    known, bed, bed_sd, _learned = pools_of(cols, prior)
    made = design(cols, prior, bed, bed_sd, np.exp(known.mean))
    weighed = weigh(made, known, prior)
    return Expected(known, made, weighed, posterior(known, weighed.solved.b, weighed.solved.c))


def functional(
    cols: Columns, layer: Plating, prior: Prior, shape: Onward, length: Floats, depth: Floats
) -> Floats:
    """The row of the model for a depth at a length, without the error of the reading after."""
    row = np.zeros((len(length), UNKNOWNS))
    wide = np.sqrt(cols.base_u**2 + prior.scatter_nm**2 + layer.thickness_u**2)
    shape.put(row, length)
    row[:, THICK] = -layer.thick(depth, wide)
    row[:, RATIO] = -np.where(layer.ratio_u > 0, layer.thin(depth), 0)
    return row


def chunk(cols: Columns, prior: Prior, rules: Rules) -> tuple[Forecasts, Inside]:
    """The forecasts of few points, and what stands behind them."""
    known, bed, bed_sd, learned = pools_of(cols, prior)
    made = design(cols, prior, bed, bed_sd, np.exp(known.mean))
    weighed = weigh(made, known, prior)
    solved = weighed.solved
    rates = posterior(known, solved.b, solved.c)
    layer = plating(cols, prior)
    used = equivalent(cols.run_km, cols.classes, prior)
    ahead = equivalent(cols.ahead_km, cols.classes, prior)
    mean = rates.mean
    shape = onward(cols, prior, np.exp(known.mean), solved, rates)
    inside = Inside(known, made, weighed, rates, layer, shape)
    log_mean, log_sd = rates.log_moments

    row = functional(cols, layer, prior, shape, used, np.zeros_like(used))
    a, b, q = seen(solved, row, used)
    depth = layer.depth(a + b * mean)
    row = functional(cols, layer, prior, shape, used, depth)
    a, b, q = seen(solved, row, used)
    rate_sd = np.sqrt(np.maximum(np.sum(rates.mass * rates.r**2, axis=1) - mean**2, 0))
    bare_variance = q + (b * rate_sd) ** 2
    depth = layer.depth(a + b * mean)
    slope = layer.slope(depth, np.sqrt(bare_variance))
    depth_u = np.sqrt(bare_variance) / slope

    since = np.maximum(cols.run_km - newest_run(cols), 0)
    unsure_now, unsure_next = (
        mean**2 * unsure_onward(cols, prior, inside.own, run)
        for run in (since, since + cols.ahead_km)
    )
    lengths = _lengths(cols, layer, prior, inside, used, unsure_now, rules)
    read, through, chance = (
        _passed(cols, layer, prior, inside, at, unsure)
        for at, unsure in (
            (np.minimum(shape.last_km, used), np.zeros_like(used)),
            (used, unsure_now),
            (used + ahead, unsure_next),
        )
    )
    through = np.maximum(read, through)
    chance = np.maximum(chance, through)
    nexts = _next(cols, layer, prior, inside, used + ahead, unsure_next)
    values = np.bincount(cols.point[~made.is_verdict], minlength=cols.count)
    counted = np.diff(cols.first)
    says = np.select([values >= rules.own_readings, counted > 0, learned], [0, 1, 2], default=3)
    noise = prior.scatter_nm**2 + cols.base_u**2
    gain = 1 - np.sqrt(
        np.maximum(1 - (b * rate_sd) ** 2 / (bare_variance + slope**2 * noise + 1e-9), 0)
    )
    marks = mark(
        cols,
        Marks(
            off=weighed.off, after_off=weighed.after_off, through=through, chance=chance,
            log_mean=log_mean, known=known, gain=gain, values=values, counted=counted,
            has_limit=np.isfinite(cols.limit), scatter=prior.scatter_nm,
        ),
        rules,
    )  # fmt: skip
    newest, newest_u = marks.newest, marks.newest_u
    found = Forecasts(
        says=says.astype(np.int64),
        used_km=used,
        half_km=lengths[0],
        sure_km=lengths[1],
        late_km=lengths[2],
        chance=chance,
        through=through,
        depth=depth,
        depth_u=depth_u,
        limit=cols.limit,
        rate=np.exp(log_mean),
        rate_low=np.exp(log_mean - 1.6449 * log_sd),
        rate_high=np.exp(log_mean + 1.6449 * log_sd),
        next_low=nexts[0],
        next_half=nexts[1],
        next_high=nexts[2],
        conformity=judge_depths(newest, newest_u, cols.limit, rules.guard_k),
        flags=marks.flags,
        look=marks.look,
        unmeasured=cols.unmeasured,
        gain=gain,
        readings=counted,
        values=values,
        off_line=weighed.off,
        weight=weighed.weight,
    )
    return found, inside


def _limit_row(
    cols: Columns, layer: Plating, prior: Prior, shape: Onward, length: Floats
) -> Floats:
    limit = np.nan_to_num(cols.limit)
    row = functional(cols, layer, prior, shape, length, limit)
    row[:, AFTER] = np.where(cols.by_value, layer.slope(limit, cols.base_u), 0)
    return row


def _passed(
    cols: Columns, layer: Plating, prior: Prior, inside: Inside, length: Floats, unsure: Floats
) -> Floats:
    """Chance that the true depth is beyond the limit after this equivalent length."""
    row = _limit_row(cols, layer, prior, inside.shape, length)
    a, b, q = seen(inside.weighed.solved, row, length)
    chance = inside.rates.beyond(a, b, q + unsure, layer.bare(np.nan_to_num(cols.limit)))
    return np.where(np.isfinite(cols.limit), chance, np.nan)


def _lengths(
    cols: Columns, layer: Plating, prior: Prior, inside: Inside, used: Floats, unsure: Floats,
    rules: Rules,
) -> list[Floats]:  # fmt: skip
    """Length left at even odds, at the confidence, and at its lucky end; NaN without a limit."""
    levels = (0.5, 1 - rules.confidence, rules.confidence)
    ahead = inside.unsure_rate(cols, prior) * inside.rates.mean**2
    return [left_at(cols, layer, prior, inside, used, unsure, ahead, level) for level in levels]


def left_at(
    cols: Columns, layer: Plating, prior: Prior, inside: Inside, used: Floats, unsure: Floats,
    ahead: Floats, level: float, near: Floats | None = None,
) -> Floats:  # fmt: skip
    """The length (km) after which the limit is passed with this chance, less what is used; it is
    looked for from ``near`` on. ``ahead``: variance that each further km adds, from the factors."""
    usable = np.isfinite(cols.limit)
    wall = layer.bare(np.nan_to_num(cols.limit))
    row = _limit_row(cols, layer, prior, inside.shape, used)
    log_mean, log_sd = inside.rates.log_moments
    a0, b0, _q = seen(inside.weighed.solved, row, used)

    def chance(x: Floats) -> Floats:
        length = np.exp(np.minimum(x, LOG_LONGEST))
        inside.shape.put(row, length)
        a, b, q = seen(inside.weighed.solved, row, length)
        further = ahead * np.maximum(length - used, 0) ** 2
        return inside.rates.beyond(a, b, q + unsure + further, wall)

    rate = np.exp(log_mean + quantile(level) * -log_sd)
    guess = (np.maximum(wall - a0, 1.0)) / rate - (b0 - used)
    wide = log_sd
    if near is not None:
        guess, wide = used + near, np.sqrt(log_sd**2 + ahead / inside.rates.mean**2)
    start = np.log(np.clip(guess, 1e-3, LONGEST_KM))
    x = solve_for(chance, level, start, 1 / np.maximum(wide, 0.02))
    left = np.clip(np.exp(np.minimum(x, 30)) - used, 0, LONGEST_KM)
    gone = chance(np.log(np.maximum(used, 1e-9))) >= level
    return np.where(usable, np.where(gone, 0.0, left), np.nan)


def _next(
    cols: Columns, layer: Plating, prior: Prior, inside: Inside, length: Floats, unsure: Floats
) -> list[Floats]:
    """The gauge's value in nine of ten next readings: low, middle, high; NaN without a start.

    The reading is taken with an uncertainty like that of the newest one (or of the one after the
    cut), and shares the error of the reading after the cut.
    """
    solved, rates = inside.weighed.solved, inside.rates
    mean, shape = rates.mean, inside.shape
    row = functional(cols, layer, prior, shape, length, np.zeros_like(length))
    a, b, _q = seen(solved, row, length)
    depth = layer.depth(a + b * mean)
    row = functional(cols, layer, prior, shape, length, depth)
    has = cols.first[1:] > cols.first[:-1]
    u = cols.base_u.copy()
    u[has] = np.nan_to_num(cols.depth_u[cols.first[1:][has] - 1])
    u = np.sqrt(u**2 + prior.scatter_nm**2)
    slope = layer.slope(depth, u)
    row[:, AFTER] = slope
    a, b, q = seen(solved, row, length)
    q = q + unsure + (slope * u) ** 2
    rate_sd = np.sqrt(np.maximum(np.sum(rates.mass * rates.r**2, axis=1) - mean**2, 0))
    sd = np.sqrt(q + (b * rate_sd) ** 2 + FINEST_NM**2)
    found = []
    for level in (0.05, 0.5, 0.95):
        start = a + b * mean + quantile(level) * sd
        y = solve_for(lambda v: 1 - rates.beyond(a, b, q, v), level, start, 1 / sd)
        found.append(cols.base - cols.sign * layer.depth(y) / cols.scale)
    low, middle, high = found
    return [np.minimum(low, high), middle, np.maximum(low, high)]


__all__ = ["SAYS", "Flag", "Forecasts", "Look", "forecast", "part"]
