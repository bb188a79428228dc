"""Told beside a forecast: readings off the line, growth, ends apart, what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag

import numpy as np

from tooling.engineering.wear.columns import AFTER_CUT, CHROME, GAUGE, Columns, Ints
from tooling.engineering.wear.latent import equivalent
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import Prior
from tooling.engineering.wear.rates import Known
from tooling.engineering.wear.specs import Rules

APART_SHARE = 0.25
"""Two ends wear apart beyond uncertainty and this share of the greater; from memory."""
UNLIKE = 3.0


class Flag(IntFlag):
    """What stands out. None of it changes what a reading counts beyond the stated weight."""

    OFF_LINE = 1
    """A reading breaks from the line of the others and of like pieces."""
    AFTER_CUT_OFF = 2
    """The reading after the cut does not go with the later ones."""
    GROWN = 4
    """A reading shows less wear than an earlier one, beyond uncertainty."""
    BUILD_UP = 8
    """The newest reading does: build-up is not wear; clean and measure again."""
    THROUGH = 16
    """The limit is more likely passed than not."""
    UNLIKE = 32
    """It wears unlike the like pieces."""
    ENDS_APART = 64
    """Two ends wear apart: misalignment, overload or an unsymmetrical section."""


class Look(IntFlag):
    """What to measure next, and why."""

    FIRST = 1
    """Nothing was read since the cut."""
    AFTER_CUT = 2
    """Nothing was read after the cut: depths stand on a value that nobody measured."""
    AGAIN = 4
    """A reading stands off: clean the point and measure again."""
    NEAR = 8
    """The limit may be passed in the run ahead, or was: a reading would settle it."""
    NARROWS = 16
    """One more reading would narrow the rate by a fifth or more."""
    PLATING = 32
    """Nobody recorded how thick the plating is."""
    GAUGE = 64
    """The gauge has no record of resolution and uncertainty."""
    OTHER_END = 128
    """The other end has no reading, or none as late."""


@dataclass(frozen=True)
class Marks:
    """What the flags are read from, per reading (``off``) or per point."""

    off: Floats
    after_off: Floats
    through: Floats
    chance: Floats
    log_mean: Floats
    known: Known
    gain: Floats
    values: Ints
    counted: Ints
    has_limit: np.ndarray
    scatter: float


@dataclass(frozen=True)
class Marked:
    """Bits per point; the newest depth that was read (NaN: none) with its uncertainty (k = 1)."""

    flags: Ints
    look: Ints
    newest: Floats
    newest_u: Floats


def mark(cols: Columns, got: Marks, rules: Rules) -> Marked:
    """The flags of every point, and what to measure next."""
    count, point = cols.count, cols.point
    off = np.bincount(point[np.abs(got.off) > rules.off_line], minlength=count) > 0
    grown, build_up, newest, newest_u = _growth(cols, got.scatter, rules.guard_k)
    after_off = np.abs(got.after_off) > rules.off_line
    through = np.nan_to_num(got.through) > 0.5
    unlike = (np.abs(got.log_mean - got.known.mean) > UNLIKE * got.known.sd) & (got.values > 0)
    flags = (
        off * Flag.OFF_LINE.value
        + after_off * Flag.AFTER_CUT_OFF.value
        + grown * Flag.GROWN.value
        + build_up * Flag.BUILD_UP.value
        + through * Flag.THROUGH.value
        + unlike * Flag.UNLIKE.value
    )
    chance = np.nan_to_num(got.chance)
    look = (
        (got.counted == 0) * Look.FIRST.value
        + ((cols.unmeasured & AFTER_CUT) > 0) * Look.AFTER_CUT.value
        + (off | grown | after_off) * Look.AGAIN.value
        + (got.has_limit & (chance > 0.05) & (chance < 0.95)) * Look.NEAR.value
        + (got.gain > 0.2) * Look.NARROWS.value
        + ((cols.unmeasured & CHROME) > 0) * Look.PLATING.value
        + ((cols.unmeasured & GAUGE) > 0) * Look.GAUGE.value
    )
    return Marked(flags.astype(np.int64), look.astype(np.int64), newest, newest_u)


def _growth(
    cols: Columns, scatter: float, k: float
) -> tuple[np.ndarray, np.ndarray, Floats, Floats]:
    """Whether any value, and whether the newest, shows less wear than the one before it."""
    count = cols.count
    valued = np.flatnonzero(~np.isnan(cols.depth))
    point, depth = cols.point[valued], cols.depth[valued]
    u = np.sqrt(cols.depth_u[valued] ** 2 + scatter**2)
    is_first = np.ones(len(valued), dtype=bool)
    is_first[1:] = point[1:] != point[:-1]
    base_u = np.sqrt(cols.base_u**2 + scatter**2)
    before = np.where(is_first, 0.0, np.roll(depth, 1))
    before_u = np.where(is_first, base_u[point], np.roll(u, 1))
    less = before - depth > k * np.sqrt(u**2 + before_u**2)
    less |= -depth > k * np.sqrt(u**2 + base_u[point] ** 2)
    is_last = np.ones(len(valued), dtype=bool)
    is_last[:-1] = point[1:] != point[:-1]
    newest, newest_u = np.full(count, np.nan), np.full(count, np.nan)
    newest[point[is_last]] = depth[is_last]
    newest_u[point[is_last]] = np.sqrt(u[is_last] ** 2 + base_u[point[is_last]] ** 2)
    grown = np.bincount(point[less], minlength=count) > 0
    build_up = np.bincount(point[less & is_last], minlength=count) > 0
    return grown, build_up, newest, newest_u


def newest_of(cols: Columns, prior: Prior) -> list[tuple[float, float, float]]:
    """Per point the newest depth read, its uncertainty (k = 1) and its equivalent km; else NaN."""
    _grown, _build_up, depth, u = _growth(cols, prior.scatter_nm, 2.0)
    km = np.full(cols.count, np.nan)
    valued = ~np.isnan(cols.depth)
    km[cols.point[valued]] = equivalent(cols.read_run_km, cols.classes, prior)[valued]
    return list(zip(depth.tolist(), u.tolist(), km.tolist(), strict=True))


@dataclass(frozen=True)
class Ends:
    """Two ends of one point: wear per km of each as last read, and how far apart in deviations."""

    inboard: int
    outboard: int
    inboard_rate: float
    outboard_rate: float
    apart: float
    is_apart: bool


def ends_of(
    keys: Sequence[object], ends: Sequence[str], newest: Sequence[tuple[float, float, float]],
    rules: Rules,
) -> list[Ends]:  # fmt: skip
    """Points with both ends read, judged apart or not.

    ``newest`` per point: depth, its uncertainty (k = 1), equivalent km when it was read; NaN where
    nothing was. Apart means beyond k uncertainties and a quarter of the greater. Numbers index
    ``keys``.
    """
    inboard = {
        key: n for n, (key, end) in enumerate(zip(keys, ends, strict=True)) if end == "inboard"
    }
    found = []
    for other, (key, end) in enumerate(zip(keys, ends, strict=True)):
        one = inboard.get(key) if end == "outboard" else None
        if one is None:
            continue
        (d1, u1, km1), (d2, u2, km2) = newest[one], newest[other]
        if not (km1 > 0 and km2 > 0 and d1 == d1 and d2 == d2):
            continue
        r1, r2 = d1 / km1, d2 / km2
        apart = (r1 - r2) / max(((u1 / km1) ** 2 + (u2 / km2) ** 2) ** 0.5, 1e-12)
        far = abs(apart) > rules.guard_k and abs(r1 - r2) > APART_SHARE * max(abs(r1), abs(r2))
        found.append(Ends(one, other, r1, r2, apart, far))
    return found
