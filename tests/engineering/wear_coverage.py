"""How often intervals hold what they promise, and how far off the middle is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.engineering.wear_world import Law, line_left, pieces, read_again
from tooling.engineering.wear import Prior, Rules, columns, fit_prior, forecast

COUNTS = (0, 1, 2, 5)
POOLED = 400


@dataclass(frozen=True)
class Held:
    """Shares of pieces inside the 50 % and 90 % intervals of length left, and of next readings
    inside theirs; median errors of length left (km) of the forecast, of a line through the piece's
    own readings, and of the pool alone."""

    half: float
    nine: float
    error: float
    line_error: float
    pool_error: float
    next_nine: float


def pool_of(law: Law, seed: int, count: int = POOLED) -> Prior:
    """What a shop's earlier pieces taught: one to five readings each."""
    return fit_prior(pieces(law, 1_000 + seed, count, (1, 2, 3, 4, 5), 700.0)[0])


def held(law: Law, seed: int, readings: int, count: int, prior: Prior) -> Held:
    """Coverage over fresh pieces with so many readings each."""
    histories, left, following = read_again(law, 10 * seed + readings + 1, count, (readings,))
    cols = columns(histories)
    raw = np.array([sum(each.ahead_nm.values()) for each in histories])
    nominal = np.array([prior.equivalent_nm(each.ahead_nm) for each in histories])
    left = left * nominal / raw
    inner = forecast(cols, prior, Rules(confidence=0.75))
    outer = forecast(cols, prior, Rules(confidence=0.95))
    bare = [type(each)(each.spec, each.readings[:1], {}) for each in histories]
    pool = forecast(columns(bare), prior)
    lines = np.full(count, np.inf)
    if readings:
        lines = np.array([line_left(each, prior.factor) for each in histories])
    return Held(
        half=float(np.mean((left >= inner.sure_km) & (left <= inner.late_km))),
        nine=float(np.mean((left >= outer.sure_km) & (left <= outer.late_km))),
        error=float(np.median(np.abs(outer.half_km - left))),
        line_error=float(np.median(np.abs(lines - left))),
        pool_error=float(np.median(np.abs(np.maximum(pool.half_km - outer.used_km, 0) - left))),
        next_nine=float(np.mean((following >= outer.next_low) & (following <= outer.next_high))),
    )
