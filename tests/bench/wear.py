"""Wear: coverage of the intervals, errors beside plain lines and the pool, and speed in bulk.

Coverage: five fixed seeds × 1,000 pieces (50 of each of 20 shops, each with what it learned of
400) for each number of readings, from the law of the model
and from another (wear-in, outliers, gauge rounding); then sixty shops for each size of a small
pool. No seed was looked at while the beliefs of the engine were found: see ``wear_coverage``.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from tests.bench.build import Built
from tests.bench.clock import Figure, seconds
from tests.engineering.wear_coverage import (
    COUNTS,
    SEEDS,
    SHOPS_OF_A_SEED,
    SIZES,
    Held,
    held,
    held_after_cuts,
    held_small,
    pool_of,
    shops_of,
)
from tests.engineering.wear_world import MODEL, OTHER, pieces
from tooling.engineering.wear import Prior, columns, fit_prior, forecast, forecast_one

PIECES = 1_000
POINTS = 100_000
WITHIN = 2.0
OTHER_LEAST = 85.0
SMALL_SHOPS, SMALL_LEAST = 60, 87.0
"""Percent of pieces, and points of percent."""


def wear(built: Built) -> list[Figure]:
    """Coverage, errors and seconds; nothing of the shop that was built is needed."""
    rows = _speed()
    for name, law in (("model", MODEL), ("other law", OTHER)):
        priors = {shop: pool_of(law, shop) for shop in shops_of(SEEDS)}
        each = PIECES // SHOPS_OF_A_SEED
        for readings in COUNTS:
            found = [held(law, shop, readings, each, prior) for shop, prior in priors.items()]
            what = f"{name}, {readings} readings"
            rows += _model(what, readings, found) if law is MODEL else _other(what, found)
            if law is MODEL:
                rows += _onto_cold_rolled(readings, each, priors)
    return rows + _small() + _after_cuts()


def _onto_cold_rolled(readings: int, each: int, priors: dict[int, Prior]) -> list[Figure]:
    """The same pieces, but all strip to come is cold rolled, told from a mix by learned factors."""
    found = [
        held(MODEL, shop, readings, each, prior, onto_cold_rolled=True)
        for shop, prior in priors.items()
    ]
    what = f"onto cold rolled, {readings} readings"
    return [
        Figure(f"{what}: in the {name} % interval", 100 * _mean(found, field), "%")
        for name, field in (("50", "half"), ("90", "nine"))
    ]


def _after_cuts() -> list[Figure]:
    """Rolls with one to three lives behind them, and hard ones among them; four seeds of 300."""
    rows = []
    for name, harder in (("after cuts", 1.0), ("hard rolls after cuts", 0.5)):
        found = [held_after_cuts(seed, 300, 0.5, harder) for seed in range(4)]
        for n, readings in enumerate(COUNTS):
            nine, error, pool = (
                float(np.mean([getattr(each[n], field) for each in found]))
                for field in ("nine", "error", "pool_error")
            )
            what = f"{name}, {readings} readings"
            rows.append(Figure(f"{what}: in the 90 % interval", 100 * nine, "%"))
            if harder == 1.0:
                rows.append(Figure(f"{what}: off 90 %", abs(100 * nine - 90), "pt", 3))
            limit = 0.6 if harder < 1 and not readings else 1.05
            rows.append(
                Figure(f"{what}: median error / without its lives", error / pool, "×", limit)
            )
    return rows


def _small() -> list[Figure]:
    """A shop that learned from few pieces alone; its standard error is about one point."""
    rows = []
    for size in SIZES:
        for readings, (half, nine) in held_small(size, SMALL_SHOPS).items():
            what = f"pool of {size}, {readings} readings"
            rows.append(Figure(f"{what}: in the 50 % interval", 100 * half, "%"))
            rows.append(Figure(f"{what}: in the 90 % interval", 100 * nine, "%"))
            rows.append(Figure(f"{what}: missed", 100 - 100 * nine, "%", 100 - SMALL_LEAST))
    return rows


def _mean(found: list[Held], name: str) -> float:
    return float(np.mean([getattr(each, name) for each in found]))


def _model(what: str, readings: int, found: list[Held]) -> list[Figure]:
    half, nine = 100 * _mean(found, "half"), 100 * _mean(found, "nine")
    error, line, pool = (_mean(found, name) for name in ("error", "line_error", "pool_error"))
    rows = [
        Figure(f"{what}: in the 50 % interval", half, "%"),
        Figure(f"{what}: off 50 %", abs(half - 50), "pt", WITHIN),
        Figure(f"{what}: in the 90 % interval", nine, "%"),
        Figure(f"{what}: off 90 %", abs(nine - 90), "pt", WITHIN),
        Figure(f"{what}: next readings in 90 %", 100 * _mean(found, "next_nine"), "%"),
        Figure(f"{what}: median error", error, "km"),
        Figure(f"{what}: median error / the pool's", error / pool, "×", 1 if readings else None),
    ]
    if readings:
        rows.append(Figure(f"{what}: median error / a plain line's", error / line, "×", 1))
    return rows


def _other(what: str, found: list[Held]) -> list[Figure]:
    nine = 100 * _mean(found, "nine")
    return [
        Figure(f"{what}: in the 90 % interval", nine, "%"),
        Figure(f"{what}: missed", 100 - nine, "%", 100 - OTHER_LEAST),
        Figure(f"{what}: median error", _mean(found, "error"), "km"),
    ]


def _speed() -> list[Figure]:
    """100,000 points, two readings each in the mean; the pool of all of them; one point."""
    some = pieces(MODEL, 77, 2_000, (0, 1, 2, 3, 4))[0]
    prior = fit_prior(some)
    many = [
        replace(each, spec=replace(each.spec, key=n))
        for n, each in enumerate(some * (POINTS // len(some)))
    ]
    began = time.perf_counter()
    cols = columns(many)
    made = time.perf_counter()
    best = min(seconds(lambda: forecast(cols, prior)) for _ in range(3))
    told = time.perf_counter()
    fit_prior(cols)
    fitted = time.perf_counter()
    forecast_one(some[4], prior)
    one = time.perf_counter()
    return [
        Figure("100,000 points: histories to columns", made - began, "s"),
        Figure("100,000 points: forecasts, best of three", best, "s", 3),
        Figure("100,000 points: pool", fitted - told, "s"),
        Figure("one point with its steps", (one - fitted) * 1_000, "ms"),
    ]
