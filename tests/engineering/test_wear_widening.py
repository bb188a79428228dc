"""What a forecast keeps tells the length left in any strip to come as the engine itself does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.engineering.wear_coverage import pool_of
from tests.engineering.wear_world import MODEL, pieces
from tooling.engineering.wear import (
    History,
    Onto,
    Prior,
    Rules,
    columns,
    forecast,
    forecast_onto,
)
from tooling.engineering.wear.strips import one_km_onward, unsure_onward

RUNS: tuple[dict[str, int], ...] = (
    {"cold rolled": 1}, {"galvanised": 1}, {"stainless": 1}, {"high strength": 1}, {"copper": 1},
    {"galvanised": 2, "stainless": 1}, {"Galv": 1, "cold rolled": 3},
)  # fmt: skip
KM = 10**12


@pytest.fixture(scope="module")
def prior() -> Prior:
    """Of forty pieces: factors are far from sure."""
    return pool_of(MODEL, 41_077, 40)


@pytest.fixture(scope="module")
def read() -> list[History]:
    """Read and not run since, with nothing ahead."""
    some = pieces(MODEL, 41_078, 100, (0, 1, 2, 5))[0]
    return [
        replace(each, run_nm=each.readings[-1].run_nm if len(each.readings) > 1 else {},
                ahead_nm={})
        for each in some
    ]  # fmt: skip


@pytest.mark.parametrize("confidence", [0.6, 0.9, 0.95])
def test_lengths_in_any_strip_are_those_of_the_engine(
    prior: Prior, read: list[History], confidence: float
) -> None:
    rules = Rules(confidence=confidence)
    plain, kept = forecast_onto(columns(read), prior, rules)
    assert np.array_equal(plain.sure_km, forecast(columns(read), prior, rules).sure_km)
    for run in RUNS:
        ahead = [replace(each, ahead_nm={name: km * KM for name, km in run.items()})
                 for each in read]  # fmt: skip
        engine = forecast(columns(ahead), prior, rules)
        for which, right in (("sure", engine.sure_km), ("half", engine.half_km)):
            told = np.array([onto.left_m(which, run, prior) / 1_000 for onto in kept if onto])
            assert np.allclose(told, right, rtol=0.006, atol=0.05)


def test_what_is_unsure_of_a_run_is_what_the_engine_takes(
    prior: Prior, read: list[History]
) -> None:
    _plain, kept = forecast_onto(columns(read), prior)
    own = np.array([onto.own for onto in kept if onto])
    for run in RUNS:
        cols = columns([replace(each, ahead_nm={name: km * KM for name, km in run.items()})
                        for each in read])  # fmt: skip
        right = unsure_onward(cols, prior, own, one_km_onward(cols, prior))
        told = [onto.unsure_in(run, prior) for onto in kept if onto]
        assert np.allclose(told, right, rtol=1e-9, atol=1e-12)


def test_strip_that_nobody_knows_is_less_sure_and_strip_alike_is_as_told(
    prior: Prior, read: list[History]
) -> None:
    plain, kept = forecast_onto(columns(read), prior)
    for n, onto in enumerate(kept):
        assert onto is not None
        assert onto.left_m("sure", {}, prior) == pytest.approx(1_000 * plain.sure_km[n], abs=1e-3)
        assert onto.left_m("sure", {"copper": 1}, prior) <= onto.left_m("sure", {}, prior)
        assert Onto.from_dict(onto.as_dict()) == onto
        told = onto.as_dict()
        assert Onto.from_dict({**told, "half": told["half"] * 2, "sure": told["sure"] * 2}) is None


def test_a_point_without_a_limit_keeps_nothing_and_a_spent_one_has_nothing_left(
    prior: Prior, read: list[History]
) -> None:
    unlimited = replace(read[3], spec=replace(read[3].spec, depth_limit_nm=None, limit_nm=None))
    spent = replace(read[3], spec=replace(read[3].spec, depth_limit_nm=1_000, limit_nm=None))
    _told, (none, nothing) = forecast_onto(columns([unlimited, spent]), prior)
    assert none is None
    assert nothing is not None
    for run in RUNS:
        assert nothing.left_m("sure", run, prior) == 0.0
