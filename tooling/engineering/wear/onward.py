"""How a point's depth goes on after its newest reading: never back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tooling.engineering.wear.columns import Columns
from tooling.engineering.wear.latent import BED, BEND, Solved, bedded, bent, equivalent
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import Prior
from tooling.engineering.wear.rates import Rates

LIKELY = 2.5
"""Rates within so many standard deviations (of ln rate) are asked whether they turn back."""


@dataclass(frozen=True)
class Onward:
    """The two bending terms of every point: bedding-in and late wear.

    Readings that contradict one another can make either term so negative that a point would heal.
    From the newest reading (``last_km``) on such a term stays as it is, so that depth only grows.
    """

    usual: Floats
    last_km: Floats
    bed_stays: np.ndarray
    bend_stays: np.ndarray
    bedding_km: float
    late_km: float

    def put(self, row: Floats, length: Floats) -> None:
        """Write both terms at this equivalent length (km) into rows of the model."""
        held = np.minimum(length, self.last_km)
        row[:, BED] = bedded(np.where(self.bed_stays, held, length), self.bedding_km)
        row[:, BEND] = self.usual * bent(np.where(self.bend_stays, held, length), self.late_km)


def onward(cols: Columns, prior: Prior, usual: Floats, solved: Solved, rates: Rates) -> Onward:
    """Which terms would turn back anywhere between the slowest and the quickest likely rate."""
    last = np.zeros(cols.count)
    has = cols.first[1:] > cols.first[:-1]
    lengths = equivalent(cols.read_run_km, cols.classes, prior)
    last[has] = lengths[cols.first[1:][has] - 1]
    mean, sd = rates.log_moments
    ends = np.exp(mean - LIKELY * sd), np.exp(mean + LIKELY * sd)
    late = [r + usual * (solved.at[:, BEND] + solved.by[:, BEND] * r) for r in ends]
    bed = [solved.at[:, BED] + solved.by[:, BED] * r for r in ends]
    return Onward(
        usual=usual,
        last_km=last,
        bed_stays=has & (np.minimum(*bed) < 0),
        bend_stays=has & (np.minimum(*late) < 0),
        bedding_km=prior.bedding_km,
        late_km=prior.late_km,
    )
