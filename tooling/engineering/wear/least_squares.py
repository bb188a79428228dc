"""A straight line, or any linear model, through readings: least squares with its intervals."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from tooling.engineering.wear.normal import Floats, student_quantile


@dataclass(frozen=True)
class Fit:
    """Coefficients with standard errors; residual standard deviation and degrees of freedom."""

    coefficients: Floats
    errors: Floats
    residual_sd: float
    freedom: int
    r_squared: float
    _inverse: Floats

    def predicted(self, row: Floats) -> float:
        """The line at this row of the model."""
        return float(np.dot(row, self.coefficients))

    def interval(self, row: Floats, level: float) -> tuple[float, float]:
        """Prediction interval of the next reading: ŷ ± t·s·√(1 + h)."""
        leverage = float(np.sum(np.square(np.dot(row, self._inverse))))
        half = student_quantile((1 + level) / 2, self.freedom) * self.residual_sd
        half *= sqrt(1 + leverage)
        return self.predicted(row) - half, self.predicted(row) + half


def least_squares(model: Floats, values: Floats) -> Fit:
    """Least squares by orthogonal triangles (QR) over scaled columns, refined once.

    ``model`` is (readings × coefficients), a column of ones where there is an intercept: R² is
    then against the mean, else against nothing (as NIST certifies). Raises ValueError where the
    readings do not determine the coefficients and an error of them.
    """
    rows, columns = model.shape
    if rows <= columns:
        raise ValueError("more readings than coefficients are needed")
    norms = np.sqrt(np.sum(model * model, axis=0))
    if not np.all(norms > 0):
        raise ValueError("a column of the model is nothing")
    q, r = np.linalg.qr(model / norms)
    if np.min(np.abs(np.diag(r))) < 1e-13:
        raise ValueError("the readings do not tell the coefficients apart")
    scaled = np.linalg.solve(r, q.T @ values)
    exact = model.astype(np.longdouble)
    for _ in range(2):
        left = values.astype(np.longdouble) - exact @ (scaled / norms).astype(np.longdouble)
        scaled = scaled + np.linalg.solve(r, q.T @ left.astype(np.float64))
    coefficients = scaled / norms
    residual = (values.astype(np.longdouble) - exact @ coefficients.astype(np.longdouble)).astype(
        np.float64
    )
    freedom = rows - columns
    squares = float(np.sum(residual * residual))
    residual_sd = sqrt(squares / freedom)
    inverse = np.linalg.inv(r) / norms[:, None]
    errors = residual_sd * np.sqrt(np.sum(inverse * inverse, axis=1))
    with_mean = bool(np.any(np.all(model == model[:1], axis=0)))
    about = values - values.mean() if with_mean else values
    total = float(np.sum(about * about))
    r_squared = 1 - squares / total if total else 1.0
    return Fit(coefficients, errors, residual_sd, freedom, r_squared, inverse)
