"""The rate of wear of many points: its posterior on a grid, and what follows from it.

The pool says ln r is normal (with a share of odd pieces, wider); the readings say
exp(b·r − c·r² / 2). The product is taken on a grid of ln r that spans it, so that no shape is
assumed. Everything is worked row by row: a point's numbers do not depend on its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log

import numpy as np

from tooling.engineering.wear.normal import Floats, quantile, quantiles, quick_cdf

NODES = 24
_EVEN = (2 * np.arange(NODES) + 1) / NODES - 1
_PLACES = 0.3 * _EVEN + 0.7 * _EVEN**3
_WIDTHS = (0.3 + 2.1 * _EVEN**2) * 2 / NODES
"""Where the nodes lie between the ends of the grid, closer about the middle, and their cells."""
DROP = 13.0
"""The grid reaches to where the density is e^-13 of its highest."""
NEWTON = 12
SEARCH = 12
CLOSE = 1e-3
"""Quantiles are found to this many standard deviations."""
LONGEST_KM = 1e6


@dataclass(frozen=True)
class Known:
    """Per point, from its pool: mean and spread of ln r, share of odd pieces, how much wider."""

    mean: Floats
    sd: Floats
    odd: Floats
    times: Floats

    def log_density(self, z: Floats) -> Floats:
        """ln of the prior's density, up to a constant, at (n × k) or (n,) values of ln r."""
        wide = (-1,) + (1,) * (z.ndim - 1)
        sd, odd, times = (each.reshape(wide) for each in (self.sd, self.odd, self.times))
        square = ((z - self.mean.reshape(wide)) / sd) ** 2
        usual = (1 - odd) * np.exp(-0.5 * square)
        return np.log(usual + odd / times * np.exp(-0.5 * square / times**2) + 1e-300)


@dataclass(frozen=True)
class Rates:
    """Posterior: ``mass`` over the rates ``r`` (n × nodes), cells ``step`` wide in ln r."""

    r: Floats
    mass: Floats
    step: Floats

    @property
    def mean(self) -> Floats:
        total: Floats = np.sum(self.mass * self.r, axis=1)
        return total

    @property
    def log_moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of ln r."""
        z = np.log(self.r)
        mean = np.sum(self.mass * z, axis=1)
        return mean, np.sqrt(np.sum(self.mass * (z - mean[:, None]) ** 2, axis=1))

    def beyond(self, a: Floats, b: Floats, q: Floats, v: Floats) -> Floats:
        """P(a + b·r + √q·normal ≥ v) per point; each node stands for its cell of the grid."""
        slope = b[:, None] * self.r
        spread = slope * self.step
        spread *= spread
        spread *= 1 / 12
        spread += np.maximum(q, 1e-6)[:, None]
        slope += (a - v)[:, None]
        slope /= np.sqrt(spread)
        share = quick_cdf(slope)
        share *= self.mass
        chance: Floats = np.sum(share, axis=1)
        return chance


def peak(known: Known, b: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Where the posterior of ln r is highest, and the standard deviation of its curvature there."""
    tight = 1 / known.sd**2
    own = np.maximum(b, 0) / np.maximum(c, 1e-30)
    trust = np.where(b > 0, b * own, 0)
    guess = np.log(np.maximum(own, 1e-12))
    z = np.where(
        trust > 0,
        (tight * known.mean + trust * np.clip(guess, known.mean - 6, known.mean + 6))
        / (tight + trust),
        known.mean,
    )
    for _ in range(NEWTON):
        r = np.exp(z)
        down = c * r * r
        pull = -(z - known.mean) * tight + b * r - down
        z = z + np.clip(pull / (tight + np.maximum(down, 2 * down - b * r)), -1.5, 1.5)
    r = np.exp(z)
    down = c * r * r
    return z, 1 / np.sqrt(tight + np.maximum(2 * down - b * r, 0.25 * down))


def posterior(known: Known, b: Floats, c: Floats) -> Rates:
    """The product of pool and readings on a grid that spans it."""
    z0, sd = peak(known, b, c)

    def height(z: Floats) -> Floats:
        r = np.exp(np.minimum(z, 300))
        if z.ndim == 1:
            return known.log_density(z) + b * r - 0.5 * c * r * r
        return known.log_density(z) + b[:, None] * r - 0.5 * c[:, None] * r * r

    top = height(z0)
    reaches = []
    for side in (-1.0, 1.0):
        reach = 4.2 * sd
        for _ in range(14):
            short = top - height(z0 + side * reach) < DROP
            if not short.any():
                break
            reach = np.where(short, reach * 1.25, reach)
        reaches.append(reach)
    reach = np.where(_PLACES < 0, reaches[0][:, None], reaches[1][:, None])
    z = z0[:, None] + reach * _PLACES
    step = reach * _WIDTHS
    tall = height(z)
    mass = np.exp(tall - np.max(tall, axis=1)[:, None]) * step
    mass /= np.sum(mass, axis=1)[:, None]
    return Rates(np.exp(z), mass, step)


def solve_for(
    chance: Callable[[Floats], Floats], target: float, start: Floats, slope: Floats
) -> Floats:
    """x with chance(x) = target, for a chance that rises with x: secants on the normal scale.

    ``start`` and ``slope`` (normal deviations per x) are guesses. A row that is close enough keeps
    its x, so that rows do not wait for one another.
    """
    aim = quantile(target)
    x, low, high = start, np.full_like(start, -np.inf), np.full_like(start, np.inf)
    off = quantiles(chance(x)) - aim
    for _ in range(SEARCH):
        done = np.abs(off) < CLOSE
        if np.all(done):
            break
        low, high = np.where(off < 0, x, low), np.where(off >= 0, x, high)
        after = x - np.clip(off, -3, 3) / slope
        inside = (after > low) & (after < high)
        middle = np.where(np.isfinite(low) & np.isfinite(high), (low + high) / 2, after)
        after = np.where(done, x, np.where(inside, after, middle))
        off_after = np.where(done, off, quantiles(chance(after)) - aim)
        moved = after - x
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (off_after - off) / moved
        good = np.isfinite(secant) & (secant > 0.05 * slope) & (secant < 20 * slope)
        slope = np.where(good, secant, slope)
        x, off = after, off_after
    return x


LOG_LONGEST = log(LONGEST_KM * 10)
