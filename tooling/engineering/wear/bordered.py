"""A symmetric positive matrix whose first rows know one another only through the last few.

So are the pools' means of ln rate, of which there may be ten thousand: each has readings of its
own, and all share bedding-in and the strip factors. Block elimination (Schur complement) needs no
more than the border: n·k² operations instead of n³.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tooling.engineering.wear.normal import Floats


@dataclass(frozen=True)
class Bordered:
    """[[diag(``own``), ``link``], [``link``ᵀ, ``rest``]]: (n), (n × k) and (k × k)."""

    own: Floats
    link: Floats
    rest: Floats

    def plus(self, diagonal: Floats) -> Bordered:
        """The same with this (n + k) added on its diagonal."""
        count = len(self.own)
        return Bordered(
            self.own + diagonal[:count], self.link, self.rest + np.diag(diagonal[count:])
        )

    @cached_property
    def _through(self) -> Floats:
        return self.link / self.own[:, None]

    @cached_property
    def rest_covariance(self) -> Floats:
        """The last block of the inverse (k × k)."""
        return np.linalg.inv(self.rest - self.link.T @ self._through).astype(np.float64)

    def solve(self, right: Floats) -> Floats:
        """x with matrix · x = ``right`` (n + k)."""
        count = len(self.own)
        last = self.rest_covariance @ (right[count:] - self._through.T @ right[:count])
        return np.concatenate([right[:count] / self.own - self._through @ last, last])

    def variances(self) -> Floats:
        """The diagonal of the inverse (n + k)."""
        covariance = self.rest_covariance
        through = np.sum((self._through @ covariance) * self._through, axis=1)
        return np.concatenate([1 / self.own + through, np.diag(covariance)])

    def of_mean(self, weights: Floats) -> tuple[float, Floats]:
        """Of the first n weighed so, with the inverse as covariance: the variance, and the
        covariances with the last k."""
        pulled = self._through.T @ weights
        variance = float(np.sum(weights**2 / self.own) + pulled @ self.rest_covariance @ pulled)
        return variance, -self.rest_covariance @ pulled
