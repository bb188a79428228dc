"""One point's linear model, many points at a time: what readings say of its rate of wear.

A point lost v(depth) = a·h(E) + r·E + m·g(E) after the equivalent length E. v is the depth as bare
steel would have lost it: a plated layer counts for its slower wear (``chrome_ratio`` κ), so that
the knee becomes a straight line. h(E) = 1 − exp(−E / bedding length); g(E) = E² / (E + late
length), so that late in life a point wears at r + m. The unknowns beside the rate r are a (bedding
in), m, the thickness and the ratio of the plating, and e0, the error of the reading after the cut,
which stands in every depth. Given r they are normal, so they are integrated out exactly: what is
left is a likelihood of r of the form exp(b·r − c·r² / 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tooling.engineering.wear.columns import Columns, Ints
from tooling.engineering.wear.normal import Floats, cdf, density
from tooling.engineering.wear.prior import Prior

UNKNOWNS = 5
BED, THICK, RATIO, AFTER, BEND = range(UNKNOWNS)
FINEST_NM = 1.0
"""No reading is surer than this."""


@dataclass(frozen=True)
class Plating:
    """Per point: thickness, its uncertainty, how much faster bare steel wears, its uncertainty."""

    thickness: Floats
    thickness_u: Floats
    ratio: Floats
    ratio_u: Floats

    def at(self, rows: Ints) -> Plating:
        """The plating of these points."""
        return Plating(*(each[rows] for each in
                         (self.thickness, self.thickness_u, self.ratio, self.ratio_u)))  # fmt: skip

    def bare(self, depth: Floats) -> Floats:
        """v: the depth as bare steel would have lost it."""
        plated = np.minimum(depth, self.thickness)
        return self.ratio * plated + np.maximum(depth - self.thickness, 0)

    def depth(self, bare: Floats) -> Floats:
        """The depth that v stands for: the inverse of ``bare``."""
        knee = self.ratio * self.thickness
        return np.minimum(bare, knee) / self.ratio + np.maximum(bare - knee, 0)

    def slope(self, depth: Floats, u: Floats) -> Floats:
        """dv/d(depth), softened across the knee by the uncertainty of the depth."""
        within = cdf((self.thickness - depth) / np.maximum(u, 1.0))
        return 1 + (self.ratio - 1) * within

    def thick(self, depth: Floats, u: Floats) -> Floats:
        """What one nm more of plating adds to v at this depth."""
        return (self.ratio - 1) * cdf((depth - self.thickness) / np.maximum(u, 1.0))

    def thin(self, depth: Floats) -> Floats:
        """What one more of the ratio adds to v at this depth."""
        plated: Floats = np.minimum(depth, self.thickness)
        return plated


def plating(cols: Columns, prior: Prior) -> Plating:
    """The plating of every point; bare steel has none and a ratio of 1."""
    plated = cols.is_plated
    return Plating(
        np.where(plated, cols.chrome, 0.0),
        np.where(plated, cols.chrome_u, 0.0),
        np.where(plated, prior.chrome_ratio, 1.0),
        np.where(plated, prior.chrome_ratio_sd, 0.0),
    )


def bedded(length: Floats, bedding_km: float) -> Floats:
    """h: the share of bedding in that is over after this equivalent length in km."""
    share: Floats = -np.expm1(-length / bedding_km)
    return share


def bent(length: Floats, late_km: float) -> Floats:
    """g: km worn at the late rate rather than the early one, after this equivalent length in km."""
    return length * length / (length + late_km)


def equivalent(run_km: Floats, classes: tuple[str, ...], prior: Prior) -> Floats:
    """Σ factor × km, class by class in the order of their names."""
    total = np.zeros(len(run_km))
    for number, name in enumerate(classes):
        total += prior.factor(name) * run_km[:, number]
    return total


@dataclass(frozen=True)
class Design:
    """Readings as rows of the linear model: y ≈ rows·unknowns + length·r, variance ``noise``.

    ``mean`` and ``spread`` (n × unknowns) are what is known of the unknowns beforehand.
    ``is_verdict`` rows have bounds on v, ``low`` and ``high``, in place of y.
    """

    point: Ints
    rows: Floats
    length: Floats
    y: Floats
    noise: Floats
    is_verdict: np.ndarray
    low: Floats
    high: Floats
    mean: Floats
    spread: Floats


def design(cols: Columns, prior: Prior, bed: Floats, bed_sd: Floats, usual: Floats) -> Design:
    """The linear model of every reading; ``bed`` ± ``bed_sd`` and the ``usual`` rate (nm per km)
    per point from its pool."""
    layer = plating(cols, prior)
    scatter = prior.scatter_nm
    base_u = np.sqrt(cols.base_u**2 + scatter**2)
    at = layer.at(cols.point)
    length = equivalent(cols.read_run_km, cols.classes, prior)
    is_verdict = np.isnan(cols.depth)
    middle = np.where(
        np.isfinite(cols.low), cols.low, np.where(np.isfinite(cols.high), cols.high, 0)
    )
    depth = np.where(is_verdict, middle, cols.depth)
    u = np.where(is_verdict, cols.template[cols.point], np.sqrt(cols.depth_u**2 + scatter**2))
    wide = np.sqrt(u**2 + base_u[cols.point] ** 2 + at.thickness_u**2)
    slope = at.slope(depth, wide)
    rows = np.empty((len(depth), UNKNOWNS))
    rows[:, BED] = bedded(length, prior.bedding_km)
    rows[:, THICK] = -at.thick(depth, wide)
    rows[:, RATIO] = -np.where(at.ratio_u > 0, at.thin(depth), 0)
    rows[:, AFTER] = np.where(is_verdict, 0, slope)
    rows[:, BEND] = usual[cols.point] * bent(length, prior.late_km)
    return Design(
        point=cols.point,
        rows=rows,
        length=length,
        y=np.where(is_verdict, 0, at.bare(depth)),
        noise=(slope * np.maximum(u, FINEST_NM)) ** 2,
        is_verdict=is_verdict,
        low=_bound(at, cols.low),
        high=_bound(at, cols.high),
        mean=np.stack(
            [bed, *(np.zeros_like(bed),) * 3, np.full_like(bed, prior.late_more)], axis=1
        ),
        spread=np.stack(
            [bed_sd, layer.thickness_u, layer.ratio_u, base_u, np.full_like(bed, prior.late_sd)],
            axis=1,
        ),
    )


def _bound(layer: Plating, depth: Floats) -> Floats:
    """A bound on the depth as one on v; an open one stays open."""
    known = np.isfinite(depth)
    return np.where(known, layer.bare(np.where(known, depth, 0.0)), depth)


@dataclass(frozen=True)
class Solved:
    """Per point: unknowns given r are ``at + by·r`` with covariance ``cov``; likelihood b, c.

    ``some`` are the unknowns that any of these points has: the others are exactly nothing.
    """

    at: Floats
    by: Floats
    cov: Floats
    b: Floats
    c: Floats
    some: tuple[int, ...]


def solve(made: Design, precision: Floats, y: Floats, spread: Floats, count: int) -> Solved:
    """Integrate the unknowns out of every point's readings, each with its precision."""
    rows, length, point = made.rows, made.length, made.point
    left = y - _dot(rows, made.mean[point])
    some = [n for n in range(UNKNOWNS) if n == AFTER or np.any(spread[:, n] > 0)]
    wide = spread[:, some]

    def per_point(values: Floats) -> Floats:
        sums: Floats = np.bincount(point, weights=values, minlength=count).astype(np.float64)
        return sums

    gram = np.empty((count, len(some), len(some)))
    with_y, with_length = np.empty((count, len(some))), np.empty((count, len(some)))
    weighted = length * precision
    for i, one in enumerate(some):
        column = rows[:, one] * precision
        with_y[:, i] = per_point(column * left)
        with_length[:, i] = per_point(column * length)
        for j, other in enumerate(some[: i + 1]):
            gram[:, i, j] = gram[:, j, i] = per_point(column * rows[:, other])
    cov = _inverse(gram * wide[:, :, None] * wide[:, None, :])
    cov *= wide[:, :, None] * wide[:, None, :]
    gain_y, gain_length = _times(cov, with_y), _times(cov, with_length)
    c = per_point(weighted * length) - _dot(with_length, gain_length)
    b = per_point(weighted * left) - _dot(with_length, gain_y)
    at, by = made.mean.copy(), np.zeros((count, UNKNOWNS))
    at[:, some] += gain_y
    by[:, some] = -gain_length
    whole = np.zeros((count, UNKNOWNS, UNKNOWNS))
    whole[:, np.array(some)[:, None], np.array(some)[None, :]] = cov
    return Solved(at, by, whole, b, np.maximum(c, 0), tuple(some))


def _dot(one: Floats, other: Floats) -> Floats:
    total = one[:, 0] * other[:, 0]
    for i in range(1, one.shape[1]):
        total = total + one[:, i] * other[:, i]
    return total


def _times(matrix: Floats, vector: Floats) -> Floats:
    return np.stack([_dot(matrix[:, i], vector) for i in range(vector.shape[1])], axis=1)


def _inverse(scaled: Floats) -> Floats:
    """(1 + scaled)⁻¹ of many small positive matrices, by sweeping: no pivots are needed."""
    swept = scaled.copy()
    for i in range(swept.shape[1]):
        swept[:, i, i] += 1
    for k in range(swept.shape[1]):
        pivot = swept[:, k, k].copy()
        row = swept[:, k, :] / pivot[:, None]
        column = swept[:, :, k].copy()
        swept -= column[:, :, None] * row[:, None, :]
        swept[:, k, :] = row
        swept[:, :, k] = -column / pivot[:, None]
        swept[:, k, k] = 1 / pivot
    return swept


def seen(solved: Solved, row: Floats, length: Floats) -> tuple[Floats, Floats, Floats]:
    """For a row of the model and a length per point: A, B and q, so that A + B·r ± √q is there."""
    q = np.zeros(len(row))
    for i in solved.some:
        for j in solved.some:
            q += row[:, i] * row[:, j] * solved.cov[:, i, j]
    return _dot(row, solved.at), _dot(row, solved.by) + length, np.maximum(q, 0)


def truncated(
    mean: Floats, variance: Floats, low: Floats, high: Floats, noise: Floats
) -> tuple[Floats, Floats]:
    """Mean and variance of a normal value that is told to lie between two bounds ± √noise."""
    sd = np.sqrt(variance + noise)
    to_high, to_low = (high - mean) / sd, (low - mean) / sd
    mass = np.maximum(cdf(to_high) - cdf(to_low), 1e-12)
    edge_high = np.where(np.isfinite(high), density(np.clip(to_high, -37, 37)), 0)
    edge_low = np.where(np.isfinite(low), density(np.clip(to_low, -37, 37)), 0)
    pull = (edge_low - edge_high) / mass
    bend = (
        np.where(np.isfinite(low), np.nan_to_num(to_low, posinf=0, neginf=0), 0) * edge_low
        - np.where(np.isfinite(high), np.nan_to_num(to_high, posinf=0, neginf=0), 0) * edge_high
    ) / mass
    shrink = pull * pull - bend
    new_mean = mean + variance / sd * pull
    new_variance = variance * (1 - variance / sd**2 * np.clip(shrink, 1e-6, 1))
    return new_mean, new_variance
