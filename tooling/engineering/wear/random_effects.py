"""Pooling like things that truly differ: random effects by DerSimonian-Laird and REML."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tooling.engineering.wear.normal import Floats


@dataclass(frozen=True)
class Pooled:
    """The mean, its standard error, and the variance between the things."""

    mean: float
    se: float
    tau2: float


def pooled(estimates: Floats, variances: Floats, tau2: float) -> Pooled:
    """Inverse-variance mean at a known variance between."""
    weights = 1 / (variances + tau2)
    total = float(np.sum(weights))
    return Pooled(float(np.sum(weights * estimates)) / total, total**-0.5, tau2)


def dersimonian_laird(estimates: Floats, variances: Floats) -> Pooled:
    """By moments (DerSimonian and Laird 1986). One estimate has no variance between.

    Raises ValueError for none, and for variances that are not above nothing.
    """
    _check(estimates, variances)
    weights = 1 / variances
    total = float(np.sum(weights))
    mean = float(np.sum(weights * estimates)) / total
    q = float(np.sum(weights * (estimates - mean) ** 2))
    c = total - float(np.sum(weights * weights)) / total
    tau2 = max(0.0, (q - (len(estimates) - 1)) / c) if c > 0 else 0.0
    return pooled(estimates, variances, tau2)


def reml(estimates: Floats, variances: Floats, *, steps: int = 500) -> Pooled:
    """Restricted maximum likelihood by Fisher scoring, from the moment estimate (Viechtbauer 2005).

    Raises as ``dersimonian_laird``.
    """
    tau2 = dersimonian_laird(estimates, variances).tau2
    if len(estimates) < 2:
        return pooled(estimates, variances, 0.0)
    for _ in range(steps):
        now = pooled(estimates, variances, tau2)
        w = 1 / (variances + tau2)
        total, square, cube = (float(np.sum(w**n)) for n in (1, 2, 3))
        score = float(np.sum(w * w * (estimates - now.mean) ** 2)) - (total - square / total)
        information = square - 2 * cube / total + (square / total) ** 2
        after = max(0.0, tau2 + score / information)
        if abs(after - tau2) <= 1e-13 * (tau2 + 1e-12):
            tau2 = after
            break
        tau2 = after
    return pooled(estimates, variances, tau2)


def _check(estimates: Floats, variances: Floats) -> None:
    if len(estimates) == 0 or len(estimates) != len(variances):
        raise ValueError("as many estimates as variances, and one at least")
    if not np.all(variances > 0):
        raise ValueError("a variance is more than nothing")
