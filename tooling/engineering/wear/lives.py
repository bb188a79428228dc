"""What finished lives say of the rate of a roll, to be told to the life that goes on."""

from __future__ import annotations

from tooling.engineering.wear.columns import Columns
from tooling.engineering.wear.earlier import said_by
from tooling.engineering.wear.forecasts import CHUNK, expect, part
from tooling.engineering.wear.prior import Prior
from tooling.engineering.wear.specs import LifeSaid
from tooling.engineering.wear.strips import factors_unsure


def lives_said(cols: Columns, prior: Prior) -> list[LifeSaid | None]:
    """Per life of the columns; None for one whose readings say next to nothing of its rate. Less
    precise by what is unsure of the factors of its strip, for the next life may run other strip.
    """
    found: list[LifeSaid | None] = []
    for start in range(0, cols.count, CHUNK):
        some = part(cols, start, min(start + CHUNK, cols.count))
        got = expect(some, prior)
        off, precision = said_by(got.known, got.rates)
        precision = precision / (1 + precision * factors_unsure(some, prior))
        found += [
            LifeSaid(each, sure) if sure > 0 else None
            for each, sure in zip(off.tolist(), precision.tolist(), strict=True)
        ]
    return found
