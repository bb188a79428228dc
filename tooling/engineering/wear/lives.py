"""What finished lives say of the rate of a roll, to be told to the life that goes on."""

from __future__ import annotations

import numpy as np

from tooling.engineering.wear.columns import Columns
from tooling.engineering.wear.earlier import said_by
from tooling.engineering.wear.forecasts import CHUNK, expect, part
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import Prior
from tooling.engineering.wear.specs import LifeSaid


def lives_said(cols: Columns, prior: Prior) -> list[LifeSaid | None]:
    """Per life of the columns; None for one whose readings say next to nothing of its rate. Less
    precise by what is unsure of the factors of its strip, for the next life may run other strip.
    """
    found: list[LifeSaid | None] = []
    for start in range(0, cols.count, CHUNK):
        some = part(cols, start, min(start + CHUNK, cols.count))
        got = expect(some, prior)
        off, precision = said_by(got.known, got.rates)
        precision = precision / (1 + precision * _factors_unsure(some, prior))
        found += [
            LifeSaid(each, sure) if sure > 0 else None
            for each, sure in zip(off.tolist(), precision.tolist(), strict=True)
        ]
    return found


def _factors_unsure(cols: Columns, prior: Prior) -> Floats:
    """Variance of ln rate from the factors of the strip up to the newest reading."""
    newest = np.zeros_like(cols.run_km)
    has = cols.first[1:] > cols.first[:-1]
    newest[has] = cols.read_run_km[cols.first[1:][has] - 1]
    whole, square = np.zeros(cols.count), np.zeros(cols.count)
    for number, name in enumerate(cols.classes):
        each = prior.factor(name) * newest[:, number]
        whole += each
        square += (each * prior.factor_spread(name)) ** 2
    return square / np.maximum(whole, 1e-9) ** 2
