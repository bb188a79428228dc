"""The statistics behind wear against certified, published and independent figures."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from tests.engineering.checks import table
from tooling.engineering.wear import conformity
from tooling.engineering.wear.least_squares import least_squares
from tooling.engineering.wear.measuring import Part, combined, resolution_u
from tooling.engineering.wear.normal import (
    cdf,
    mills,
    quantiles,
    quick_cdf,
    student_cdf,
    student_quantile,
)
from tooling.engineering.wear.random_effects import dersimonian_laird, pooled, reml

pytestmark = pytest.mark.one_database

DATA = {row["dataset"]: row for row in table("least_squares", "NIST StRD data")}
CERTIFIED = {row["dataset"]: row for row in table("least_squares", "NIST StRD certified")}
DIGITS = {
    "norris": 12, "pontius": 11, "noint1": 14, "noint2": 14, "longley": 10, "wampler1": 9,
    "wampler2": 12, "wampler3": 9, "wampler4": 7, "wampler5": 5,
}  # fmt: skip
"""Significant digits that 64-bit orthogonal triangles reach, as −log10 of the relative error."""
POWERS = {"norris": 1, "pontius": 2}


def numbers(texts: list[str]) -> np.ndarray:
    return np.array([float(text) for text in texts])


def model(name: str) -> tuple[np.ndarray, np.ndarray]:
    row = DATA[name]
    y = numbers(row["y"])
    if name == "longley":
        return np.column_stack([np.ones(len(y)), *(numbers(row[f"x{n}"]) for n in range(1, 7))]), y
    x = numbers(row["x"])
    if name.startswith("noint"):
        return x[:, None], y
    return np.column_stack([x**n for n in range(POWERS.get(name, 5) + 1)]), y


@pytest.mark.parametrize("name", sorted(DIGITS))
def test_certified_digits_of_nist(name) -> None:
    certified, (x, y) = CERTIFIED[name], model(name)
    fit = least_squares(x, y)
    wanted = numbers(certified["estimates"])
    digits = -np.log10(np.maximum(np.abs(fit.coefficients / wanted - 1), 1e-17))
    assert digits.min() >= DIGITS[name]
    errors = numbers(certified["std_dev_of_estimates"])
    if errors.all():
        assert fit.errors == pytest.approx(errors, rel=1e-7)
        assert fit.residual_sd == pytest.approx(float(certified["residual_std_dev"]), rel=1e-9)
        assert fit.freedom == certified["df_residual"]
    assert fit.r_squared == pytest.approx(float(certified["r_squared"]), abs=1e-8)


@pytest.mark.parametrize(
    "row", table("least_squares", "Prediction intervals on NIST data"),
    ids=lambda row: f"{row['dataset']} at {row['x0']}",
)  # fmt: skip
def test_prediction_intervals_as_by_hand_and_by_statsmodels(row) -> None:
    x, y = model(row["dataset"])
    at = np.array([row["x0"]] if row["through_origin"] else [1.0, row["x0"]])
    low, high = least_squares(x, y).interval(at, row["confidence_level"])
    assert [low, high] == pytest.approx(numbers(row["prediction_interval"]), rel=1e-8)
    frame = sm.OLS(y, x).fit().get_prediction(at[None]).summary_frame(
        alpha=1 - row["confidence_level"]
    )  # fmt: skip
    assert [low, high] == pytest.approx(
        frame[["obs_ci_lower", "obs_ci_upper"]].to_numpy()[0], rel=1e-9
    )


def test_a_published_small_data_set() -> None:
    [row] = table("least_squares", "Small data sets")
    x, y = np.array(row["data"]["weight"]), np.array(row["data"]["depression"])
    fit = least_squares(np.column_stack([np.ones(len(x)), x]), y)
    published = row["results"]
    assert fit.coefficients == pytest.approx([published["intercept"], published["slope"]], rel=1e-6)
    low, high = fit.interval(np.array([1.0, 8.0]), 0.95)
    assert [low, high] == pytest.approx(published["at_weight_8"]["pi95"], rel=1e-5)


def trials() -> tuple[np.ndarray, np.ndarray]:
    """Log risk ratios of the thirteen trials with their variances."""
    effects, variances = [], []
    for row in table("least_squares", "Thirteen trials"):
        a, c = row["treated_ill"], row["control_ill"]
        n, m = a + row["treated_well"], c + row["control_well"]
        effects.append(log(a / n) - log(c / m))
        variances.append(1 / a - 1 / n + 1 / c - 1 / m)
    return np.array(effects), np.array(variances)


def test_thirteen_trials_pooled_as_published() -> None:
    published = {row["method"]: row for row in table("least_squares",
                 "Pooled log risk ratio of the thirteen trials")}  # fmt: skip
    effects, variances = trials()
    equal, own = pooled(effects, variances, 0.0), published["equal effects"]
    assert equal.mean == pytest.approx(own["mean"], abs=5e-5)
    assert equal.mean / equal.se == pytest.approx(own["z"], abs=5e-4)
    assert np.sum((effects - equal.mean) ** 2 / variances) == pytest.approx(own["q"], abs=5e-4)
    found, told = dersimonian_laird(effects, variances), published["DerSimonian-Laird"]
    assert found.mean == pytest.approx(told["mean"], abs=5e-5)
    half = 1.959964 * found.se
    assert [found.mean - half, found.mean + half] == pytest.approx(
        [told["low"], told["high"]], abs=5e-5
    )


def test_pooling_as_statsmodels_pools() -> None:
    effects, variances = trials()
    theirs = combine_effects(effects, variances, method_re="dl")
    ours = dersimonian_laird(effects, variances)
    assert ours.tau2 == pytest.approx(theirs.tau2, rel=1e-12)
    assert ours.mean == pytest.approx(theirs.mean_effect_re, rel=1e-12)
    assert ours.se == pytest.approx(theirs.sd_eff_w_re, rel=1e-12)


def test_restricted_likelihood_is_highest_where_reml_stops() -> None:
    """Against the likelihood itself, and a mixed model where all variances are one figure."""
    effects, variances = trials()
    found = reml(effects, variances)

    def likelihood(tau2: float) -> float:
        at, w = pooled(effects, variances, tau2), 1 / (variances + tau2)
        square = float(np.sum(w * (effects - at.mean) ** 2))
        return -0.5 * (square - float(np.sum(np.log(w))) + log(float(np.sum(w))))

    best = likelihood(found.tau2)
    assert all(likelihood(found.tau2 * by) < best for by in (0.9, 0.99, 1.01, 1.1))
    same = np.full(13, 0.07)
    assert reml(effects, same).tau2 == pytest.approx(np.var(effects, ddof=1) - 0.07, rel=1e-9)


def test_uncertainty_of_a_gauge_block_as_in_jcgm_100_h1() -> None:
    """32 nm, 16 degrees of freedom, 93 nm at 99 %."""
    parts = [Part(1, 25, 18), Part(1, 9.7, 25.6), Part(1, 2.9, 50), Part(1, 16.675, 2)]
    row = next(r for r in table("uncertainty", "Results") if r["item"] == "H.1 result")
    found = combined(parts)
    assert found.u == pytest.approx(row["u_c_nm"], abs=5e-3)
    assert round(found.u) == row["u_c_published_nm"]
    assert found.freedom == pytest.approx(row["nu_eff"], abs=0.05)
    assert round(found.expanded(0.99)) == row["U99_published_nm"]
    assert found.expanded(0.95) == pytest.approx(row["U95_nm"], abs=0.02)


def test_a_micrometer_and_resolutions_as_published() -> None:
    row = next(r for r in table("uncertainty", "Results") if "micrometer" in r["item"])
    found = combined([Part(1, row["u_rep_mm"]), Part(1, row["u_res_mm"]), Part(1, row["u_cal_mm"])])
    assert found.u == pytest.approx(row["u_c_mm"], abs=1e-6)
    for each in table("uncertainty", "Resolution"):
        assert resolution_u(each["resolution"]) == pytest.approx(each["u_standard"], rel=1e-3)


@pytest.mark.parametrize("row", table("uncertainty", "Decision rule examples"))
def test_decisions_of_iso_14253(row) -> None:
    found = conformity.judge(
        row["measured"], u=row["U"] / 2, lower=row["lower_limit"], upper=row["upper_limit"]
    )
    words = {"uncertain": "cannot_tell", "conforms": "in", "does not conform": "out"}
    assert found.verdict == words[row["decision_when_proving_conformity"]]


def test_coverage_factors_as_in_the_table() -> None:
    for row in table("uncertainty", "Coverage factors at 16 degrees of freedom"):
        k = student_quantile((1 + row["p"]) / 2, row["dof"])
        assert k == pytest.approx(row["k_computed"], abs=1e-4)


def test_distributions_against_scipy() -> None:
    x = np.linspace(-30, 8, 4001)
    assert cdf(x) == pytest.approx(stats.norm.cdf(x), rel=1e-7)
    assert mills(x) == pytest.approx(np.exp(stats.norm.logpdf(x) - stats.norm.logcdf(x)), rel=1e-6)
    assert quick_cdf(x.copy()) == pytest.approx(stats.norm.cdf(x), abs=1.2e-7)
    assert np.all(np.diff(quick_cdf(x.copy())) >= 0)
    p = np.linspace(1e-6, 1 - 1e-6, 2001)
    assert quantiles(p) == pytest.approx(stats.norm.ppf(p), abs=1e-6)
    for freedom in (1, 2, 7.5, 34, 1000):
        for t in (-40.0, -2.0, 0.0, 0.3, 5.0):
            assert student_cdf(t, freedom) == pytest.approx(stats.t.cdf(t, freedom), abs=1e-12)
        assert student_quantile(0.975, freedom) == pytest.approx(stats.t.ppf(0.975, freedom))
