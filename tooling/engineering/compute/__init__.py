"""The computations that programs may call by name: JSON in, JSON out, both held to a schema."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from tooling.engineering.compute import (
    check_code,
    feelers,
    fit,
    gap,
    key,
    lift,
    order,
    regrind,
    speeds,
    stacks,
    strip,
    timing,
    wear,
)
from tooling.engineering.compute.answers import Computation, run

COMPUTATIONS: Mapping[str, Computation] = MappingProxyType(
    {
        each.name: each
        for each in (
            key.COMPUTATION,
            fit.COMPUTATION,
            gap.COMPUTATION,
            feelers.COMPUTATION,
            speeds.COMPUTATION,
            strip.COMPUTATION,
            lift.COMPUTATION,
            check_code.COMPUTATION,
            order.COMPUTATION,
            stacks.COMPUTATION,
            wear.COMPUTATION,
            regrind.COMPUTATION,
            timing.COMPUTATION,
        )
    }
)
"""By the name that ``manage.py compute`` takes."""


def compute(name: str, given: Any) -> dict[str, Any]:
    """The answer of a computation as plain JSON: status, answer, bound, how.

    Raises KeyError for an unknown name and ToolingError ``invalid_input`` (or the computation's
    own code) for what it cannot work with.
    """
    return run(COMPUTATIONS[name], given)


__all__ = ["COMPUTATIONS", "Computation", "compute"]
