"""Whether a measured value is in, out, or too near its limit to tell: ISO 14253-1."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tooling.engineering.how import Step

SOURCE = "ISO 14253-1; guard band U at k = 2, common practice"


class Verdict(StrEnum):
    """``cannot_tell`` also where there is no limit, or nothing was read."""

    IN = "in"
    OUT = "out"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True)
class Conformity:
    """The verdict with the step that decided it."""

    verdict: Verdict
    step: Step


def judge(
    value: float, *, u: float, lower: float | None, upper: float | None, k: float = 2.0
) -> Conformity:
    """Proven in when inside the limits by more than k·u, proven out when beyond by more than that.

    ``u`` is the standard uncertainty; all in one unit. Raises ValueError for a negative
    uncertainty, or limits in the wrong order.
    """
    if u < 0 or k <= 0:
        raise ValueError("an uncertainty is not negative, a guard band more than nothing")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError("the lower limit lies above the upper one")
    guard = k * u
    inside = (lower is None or value >= lower + guard) and (upper is None or value <= upper - guard)
    outside = (lower is not None and value < lower - guard) or (
        upper is not None and value > upper + guard
    )
    known = lower is not None or upper is not None
    verdict = Verdict.OUT if outside else Verdict.IN if inside and known else Verdict.CANNOT_TELL
    step = Step(
        what="conformity with a guard band",
        formula="in: lower + k·u ≤ value ≤ upper − k·u; out: beyond a limit by more than k·u",
        source=SOURCE,
        inputs={"value": value, "u": u, "k": k, "lower": lower, "upper": upper},
        value=str(verdict),
    )
    return Conformity(verdict, step)


def judge_depths(
    depth: NDArray[np.float64], u: NDArray[np.float64], limit: NDArray[np.float64], k: float
) -> NDArray[np.str_]:
    """Verdicts of many depths against their largest allowed one; NaN cannot be told."""
    guard = k * u
    return np.select(
        [depth > limit + guard, depth <= limit - guard],
        [Verdict.OUT.value, Verdict.IN.value],
        default=Verdict.CANNOT_TELL.value,
    )
