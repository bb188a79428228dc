"""Wear of one point: what is told, what is flagged, and that ``how`` can be worked out again."""

from __future__ import annotations

from dataclasses import fields, replace
from math import cos, exp, log, radians, sqrt

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from tests.engineering.wear_world import MODEL, pieces
from tooling.engineering.wear import (
    NM_PER_KM,
    Forecast,
    GaugeRecord,
    History,
    LifeSaid,
    PointSpec,
    Pool,
    Prior,
    ReadingAt,
    Rules,
    Says,
    Thermal,
    columns,
    ends_of,
    fit_prior,
    forecast,
    forecast_one,
    newest_of,
    sliding_scale,
    worth,
)

pytestmark = pytest.mark.one_database

UM, MM, KM = 1_000, 1_000_000, NM_PER_KM
POOL = Pool(
    log_rate=log(150), log_rate_sd=0.4, odd_share=0.01, bedding_nm=1_000, bedding_sd_nm=500,
    points=50, readings=100,
)  # fmt: skip
PRIOR = Prior(everything=POOL)
SPEC = PointSpec(depth_limit_nm=100 * UM)
NEW = 150 * MM


def read(km: float, lost_nm: float, *, u: float = 1_500, kind: str = "cold rolled") -> ReadingAt:
    """A diameter that lost so much depth after so many km."""
    return ReadingAt({kind: int(km * KM)}, value_nm=NEW - 2 * lost_nm, u_nm=u)


def history(*readings: ReadingAt, km: float = 0, spec: PointSpec = SPEC, **more) -> History:
    run = {"cold rolled": int(km * KM)}
    return History(spec, readings, run, **more)


def told(*readings: ReadingAt, km: float = 0, prior: Prior = PRIOR, **more) -> Forecast:
    return forecast_one(history(*readings, km=km, **more), prior)


FRESH = ReadingAt(value_nm=NEW, u_nm=1_500)


def test_nothing_read_tells_the_pool_and_gives_no_date() -> None:
    """99 µm at 150 nm/km after 1 µm of bedding-in: 660 km."""
    found = told(FRESH)
    assert (found.says, found.gives_date, found.look[0]) == (Says.POOL, False, "first")
    assert found.left_half_nm / KM == pytest.approx(660, rel=0.01)
    assert found.left_sure_nm / KM == pytest.approx(660 * exp(-1.2816 * 0.4), rel=0.03)


def test_one_value_is_a_pool_estimate_and_two_are_its_own() -> None:
    one, two = read(100, 20 * UM), read(200, 40 * UM)
    assert told(FRESH, one, km=100).says is Says.ESTIMATE
    found = told(FRESH, one, two, km=200)
    assert (found.says, found.gives_date) == (Says.OWN, True)
    assert found.left_half_nm / KM == pytest.approx(300, rel=0.05)
    assert 190 < found.rate_nm_per_km < 205


def test_without_limit_there_is_a_rate_and_no_length() -> None:
    found = told(FRESH, read(100, 20 * UM), km=100, spec=PointSpec())
    assert found.left_half_nm is None
    assert found.chance is None
    assert found.conformity == "cannot_tell"
    assert found.rate_nm_per_km > 150


def test_nothing_pooled_and_nothing_read_is_nothing_to_go_by() -> None:
    assert told(FRESH, prior=Prior()).says is Says.NOTHING


def test_the_error_of_the_reading_after_the_cut_stands_in_every_depth() -> None:
    """With a coarse first reading the later ones, however fine, leave the depth uncertain."""
    later = [read(km, km * 0.2 * UM, u=200) for km in (100, 101, 102, 103)]
    coarse = told(replace(FRESH, u_nm=10 * UM), *later, km=103)
    fine = told(replace(FRESH, u_nm=200), *later, km=103)
    assert coarse.depth_u_nm > 2.5 * fine.depth_u_nm
    assert coarse.left_sure_nm < fine.left_sure_nm


def test_a_limiting_value_shares_the_error_of_the_first_reading() -> None:
    """Near the limit, whether the value passes it does not hang on the reading after the cut."""
    value = PointSpec(limit_nm=NEW - 200 * UM)
    late = [read(km, km * 0.2 * UM, u=200) for km in (440, 460, 480)]
    rough = replace(FRESH, u_nm=20 * UM)
    by_value = told(rough, *late, km=480, spec=value)
    by_depth = told(rough, *late, km=480)
    assert by_value.left_late_nm - by_value.left_sure_nm < (
        by_depth.left_late_nm - by_depth.left_sure_nm
    )


@pytest.mark.parametrize(
    ("spec", "scale"),
    [
        (PointSpec(face_degrees=60), cos(radians(60)) / 2),
        (PointSpec(face_degrees=30, is_diameter=False), cos(radians(30))),
        (PointSpec(axial=True, is_diameter=False, face_degrees=90), 1.0),
        (PointSpec(grows=True), 0.5),
    ],
)
def test_depth_is_normal_to_the_face(spec, scale) -> None:
    sign = -1 if spec.grows else 1
    worn = ReadingAt({"cold rolled": 200 * KM}, value_nm=NEW - sign * 60 * UM, u_nm=100)
    cols = columns([history(FRESH, worn, km=200, spec=spec)])
    assert cols.depth[0] == pytest.approx(60 * UM * scale)


def test_strip_classes_count_by_their_factor() -> None:
    found = forecast_one(
        History(SPEC, (FRESH,), {"galvanized": 100 * KM, "Cold Rolled": 50 * KM}), PRIOR
    )
    assert found.used_nm == 300 * KM


def test_plating_is_a_knee() -> None:
    """20 µm of plating that wears a quarter as fast lasts as 80 µm of steel: 400 km, then 250."""
    plated = PointSpec(depth_limit_nm=100 * UM, chrome_nm=20 * UM)
    pool = replace(POOL, log_rate=log(200), bedding_nm=0, bedding_sd_nm=0, log_rate_sd=0.05)
    prior = Prior(everything=pool, chrome_ratio=4, chrome_ratio_sd=0.01, late_sd=0.0)
    found = told(FRESH, km=0, spec=plated, prior=prior)
    assert found.left_half_nm / KM == pytest.approx(800, rel=0.01)
    within = told(FRESH, read(200, 10 * UM), km=200, spec=plated, prior=prior)
    assert within.depth_nm == pytest.approx(10 * UM, rel=0.05)
    through = told(FRESH, read(500, 40 * UM), km=500, spec=plated, prior=prior)
    assert through.left_half_nm / KM == pytest.approx(300, rel=0.05)


def test_plating_of_unknown_thickness_widens_the_interval() -> None:
    known, unknown = (
        told(FRESH, km=0, spec=replace(SPEC, chrome_nm=chrome)) for chrome in (19 * UM, 0)
    )
    assert "chrome" in unknown.unmeasured
    assert "plating" in unknown.look
    assert "chrome" not in known.unmeasured
    spread = [each.left_late_nm - each.left_sure_nm for each in (known, unknown)]
    assert spread[1] > spread[0]


def test_verdicts_of_a_template_move_the_forecast() -> None:
    """At 400 km the pool expects 61 µm of 100: `fits` says under 50, `fails` says over 100."""
    at = {"cold rolled": 400 * KM}
    fits, light, fails = (
        told(FRESH, ReadingAt(at, verdict=verdict), km=400)
        for verdict in ("fits", "light", "fails")
    )
    assert fits.left_half_nm > light.left_half_nm > fails.left_half_nm
    assert fits.says is Says.ESTIMATE
    assert fails.through > 0.5 > light.through
    grade = ReadingAt(at, depth_from_nm=30 * UM, depth_to_nm=40 * UM)
    sharp = replace(SPEC, template_nm=1 * UM)
    assert 29 * UM < told(FRESH, grade, km=400, spec=sharp).depth_nm < 41 * UM


def test_one_verdict_against_integration() -> None:
    """Posterior median of the rate given `fits` at 400 km, by quadrature."""
    pool = replace(POOL, bedding_nm=0, bedding_sd_nm=0, odd_share=0.0)
    prior = Prior(everything=pool, late_sd=0.0)
    found = told(FRESH, ReadingAt({"cold rolled": 400 * KM}, verdict="fits"), km=400, prior=prior)

    def density(z: float) -> float:
        fits = stats.norm.cdf((50 * UM - exp(z) * 400) / 10_000)
        return float(stats.norm.pdf(z, log(150), 0.4) * fits)

    whole = integrate.quad(density, 1, 8)[0]
    mean = integrate.quad(lambda z: z * density(z), 1, 8)[0] / whole
    assert log(found.rate_nm_per_km) == pytest.approx(mean, abs=0.06)


def test_a_reading_off_the_line_is_named_and_keeps_little_weight() -> None:
    line = [read(km, km * 0.2 * UM) for km in (50, 100, 150, 200)]
    broken = read(250, 95 * UM)
    found = told(FRESH, *line, broken, km=250)
    off = [each for each in found.readings if each.is_off]
    assert [each.reading for each in off] == [broken]
    assert off[0].weight < 0.1
    assert "off_line" in found.flags
    assert "again" in found.look
    clean = told(FRESH, *line, km=250)
    assert found.left_half_nm == pytest.approx(clean.left_half_nm, rel=0.05)


def test_growth_beyond_uncertainty_is_flagged_and_may_be_build_up() -> None:
    grown = told(FRESH, read(100, 30 * UM), read(200, 5 * UM), km=200)
    assert {"grown", "build_up"} <= set(grown.flags)
    within = told(FRESH, read(100, 20 * UM), read(110, 19 * UM), km=110)
    assert not {"grown", "build_up"} & set(within.flags)
    earlier = told(FRESH, read(100, -20 * UM), read(200, 35 * UM), km=200)
    assert "grown" in earlier.flags
    assert "build_up" not in earlier.flags


def test_readings_at_the_same_strip_stand_in_the_order_of_time() -> None:
    """Read again after an hour and 15 µm deeper: no growth; the other way round it is."""
    first, deeper = read(100, 20 * UM), read(100, 35 * UM)
    hour = 3_600.0
    falls = told(FRESH, replace(deeper, moment=hour), first, km=100)
    assert not {"grown", "build_up"} & set(falls.flags)
    rises = told(FRESH, replace(first, moment=hour), deeper, km=100)
    assert {"grown", "build_up"} <= set(rises.flags)


def test_two_ends_that_wear_apart() -> None:
    ends = [
        history(FRESH, read(200, lost), km=200, spec=replace(SPEC, key="P", end=end))
        for end, lost in (("inboard", 40 * UM), ("outboard", 80 * UM))
    ]
    cols = columns(ends)
    [apart] = ends_of(cols.keys, cols.ends, newest_of(cols, PRIOR), Rules())
    assert apart.is_apart
    assert apart.outboard_rate == pytest.approx(2 * apart.inboard_rate)
    alike = columns([ends[0], replace(ends[0], spec=replace(SPEC, key="P", end="outboard"))])
    [same] = ends_of(alike.keys, alike.ends, newest_of(alike, PRIOR), Rules())
    assert not same.is_apart
    assert ends_of(cols.keys[:1], cols.ends[:1], newest_of(cols, PRIOR)[:1], Rules()) == []


def test_chance_in_the_run_ahead_rises_with_it_and_with_the_class() -> None:
    line = [read(km, km * 0.2 * UM) for km in (100, 200, 300)]
    chances = [
        told(FRESH, *line, km=400, ahead_nm={kind: km * KM}).chance
        for kind, km in (("cold rolled", 10), ("cold rolled", 90), ("stainless", 90))
    ]
    assert chances[0] < chances[1] < chances[2]


def test_already_through_has_nothing_left() -> None:
    found = told(FRESH, read(300, 90 * UM), read(400, 121 * UM), km=400)
    assert (found.left_half_nm, found.left_sure_nm, found.conformity) == (0, 0, "out")
    assert "through" in found.flags


def test_without_a_value_after_the_cut_what_was_ordered_stands_in() -> None:
    spec = replace(SPEC, new_nm=NEW)
    found = told(read(100, 20 * UM), km=100, spec=spec)
    assert found.unmeasured == ("after_cut",)
    assert "after_cut" in found.look
    measured = told(FRESH, read(100, 20 * UM), km=100)
    assert found.depth_u_nm > measured.depth_u_nm


def test_without_any_start_the_first_reading_is_one() -> None:
    found = told(read(100, 20 * UM), read(200, 40 * UM), km=200)
    assert set(found.unmeasured) == {"after_cut", "new"}
    assert found.depth_nm == pytest.approx(20 * UM, rel=0.1)


def test_a_warm_piece_is_brought_to_20_degrees() -> None:
    """11.5e-6 · 150 mm · 10 K = 17.25 µm."""
    gauge = GaugeRecord(resolution_nm=1_000, uncertainty_nm=3_000)
    warm = worth(NEW, size_nm=NEW, gauge=gauge, thermal=Thermal(False, 30.0))
    assert NEW - warm.value_nm == pytest.approx(17_250)
    soaked = worth(NEW, size_nm=NEW, gauge=gauge, thermal=Thermal(True))
    nobody = worth(NEW, size_nm=NEW, gauge=GaugeRecord(), thermal=Thermal())
    assert soaked.u_nm == pytest.approx(
        sqrt(1_000**2 / 12 + 1_500**2 + (NEW * 11.5e-6 * 3) ** 2 / 3)
    )
    assert nobody.assumed == ("gauge", "temperature")
    assert nobody.u_nm > warm.u_nm > soaked.u_nm * 0.5
    for found in (warm, soaked, nobody):
        gauge_step, heat_step, total = found.steps
        assert total.value == pytest.approx(
            sqrt(gauge_step.value**2 + heat_step.value["u_nm"] ** 2)
        )


def test_sliding_scales_the_pool_alone() -> None:
    scale, step = sliding_scale(local_radius_nm=110 * MM, drive_radius_nm=100 * MM)
    assert scale == pytest.approx((0.1 + 0.01) / 0.05)
    assert step.value == scale
    slid = told(FRESH, spec=replace(SPEC, sliding=2.0))
    plain = told(FRESH)
    assert slid.rate_nm_per_km == pytest.approx(2 * plain.rate_nm_per_km, rel=1e-6)


def test_earlier_lives_move_the_rate_and_say_so() -> None:
    """Three lives at half the pool's rate, each within a tenth: by hand with 1/variance weights."""
    lives = tuple(LifeSaid(log(0.5), 100.0) for _ in range(3))
    pool = replace(POOL, odd_share=0.0)
    found = told(FRESH, prior=Prior(everything=pool), earlier=lives)
    roll, life = 0.5 * 0.4**2, 0.5 * 0.4**2
    weight = 3 / (1 / 100 + life)
    mean = log(150) + weight * log(0.5) / (weight + 1 / roll)
    sd = sqrt(1 / (weight + 1 / roll) + life)
    [step] = [each for each in found.how if "earlier lives" in each.what]
    assert step.value["mean"] == pytest.approx(mean)
    assert step.value["sd"] == pytest.approx(sd)
    assert found.rate_nm_per_km == pytest.approx(exp(mean), rel=1e-3)
    assert found.says is Says.POOL
    odd = told(FRESH, earlier=(LifeSaid(log(9.0), 100.0),))
    usual = told(FRESH, earlier=(LifeSaid(log(2.0), 100.0),))
    assert odd.rate_nm_per_km < usual.rate_nm_per_km * 1.5
    with pytest.raises(ValueError, match="precision"):
        LifeSaid(0.0, 0.0)


def test_a_prior_survives_json() -> None:
    prior = fit_prior(pieces(MODEL, 5, 20, (2, 3))[0])
    assert Prior.from_dict(prior.as_dict()) == prior
    with pytest.raises(ValueError, match="no part"):
        Prior.from_dict({"rate": 1})


def test_one_and_many_are_the_same_to_the_last_bit() -> None:
    """In any order, beside any neighbours, plated ones too."""
    some = pieces(MODEL, 9, 30, (0, 1, 2, 5))[0]
    some += [replace(each, spec=replace(each.spec, chrome_nm=0)) for each in some[:5]]
    some += [history(FRESH, ReadingAt({"cold rolled": 9 * KM}, verdict="light"), km=10)]
    forwards = forecast(columns(some), PRIOR)
    backwards = forecast(columns([*some[::-1], *some]), PRIOR)
    shuffled = forecast(
        columns([replace(each, readings=each.readings[::-1]) for each in some]), PRIOR
    )
    for each in fields(forwards):
        if each.name in ("off_line", "weight"):
            continue
        values = getattr(forwards, each.name)
        np.testing.assert_array_equal(getattr(shuffled, each.name), values)
        np.testing.assert_array_equal(getattr(backwards, each.name)[: len(some)][::-1], values)
    for n, one in enumerate(some):
        alone = forecast(columns([one]), PRIOR)
        for name in ("sure_km", "chance", "depth_u", "next_low", "next_high", "gain"):
            assert getattr(alone, name)[0] == getattr(forwards, name)[n], name


def test_no_points_at_all() -> None:
    assert len(forecast(columns([]), PRIOR).says) == 0
    assert fit_prior([]) == Prior()
    assert fit_prior([history(FRESH)]) == Prior()


def test_every_step_can_be_worked_out_again() -> None:
    """From the inputs of each step alone, with SciPy: the length left last, by root finding."""
    run = {"cold rolled": 100 * KM, "galvanised": 60 * KM}
    readings = (
        FRESH,
        ReadingAt({"cold rolled": 100 * KM}, value_nm=NEW - 36 * UM, u_nm=1_200),
        ReadingAt(run, value_nm=NEW - 83 * UM, u_nm=1_500),
    )
    found = forecast_one(History(SPEC, readings, run, {"stainless": 10 * KM}), PRIOR)
    steps = {}
    for step in found.how:
        steps.setdefault(step.what, []).append(step)

    [length] = steps["equivalent length since the cut"]
    factors = length.inputs["factors"]
    assert sum(km * factors[kind] for kind, km in length.inputs["run_km"].items()) == length.value
    for step in steps["depth lost"]:
        given = step.inputs
        depth = given["sign"] * (given["after_cut_nm"] - given["value_nm"]) * given["scale"]
        assert step.value["depth_nm"] == pytest.approx(depth)
        own = sqrt((given["scale"] * given["u_nm"]) ** 2 + given["scatter_nm"] ** 2)
        assert step.value["own_u_nm"] == pytest.approx(own)

    [own] = steps["what its own readings say of the rate"]
    given = {name: np.array(value) for name, value in own.inputs.items()}
    v = np.diag(given["noise"] / given["weight"])
    v = v + given["rows"] @ np.diag(given["spread"] ** 2) @ given["rows"].T
    miss = given["y"] - given["rows"] @ given["mean"]
    c = given["length_km"] @ np.linalg.solve(v, given["length_km"])
    b = given["length_km"] @ np.linalg.solve(v, miss)
    assert [own.value["b"], own.value["c"]] == pytest.approx([b, c], rel=1e-9)

    [rate] = steps["rate of wear, nm per km"]
    known = rate.inputs

    def density(z: float) -> float:
        wide = known["sd"] * known["odd_times"]
        prior = (1 - known["odd_share"]) * stats.norm.pdf(z, known["mean"], known["sd"])
        prior += known["odd_share"] * stats.norm.pdf(z, known["mean"], wide)
        r = exp(z)
        return prior * exp(b * r - c * r * r / 2 - b * b / c / 2)

    centre = log(found.rate_nm_per_km)
    span = (centre - 1, centre + 1)
    whole = integrate.quad(density, *span, epsabs=1e-14)[0]
    mean = integrate.quad(lambda z: z * density(z), *span, epsabs=1e-14)[0] / whole
    assert rate.value["mean_of_log"] == pytest.approx(mean, abs=1e-4)

    for step in steps["length left until the true depth passes the limit"]:
        g = step.inputs
        at, by, cov = (np.array(g[n]) for n in ("unknowns_at", "unknowns_by_rate", "unknowns_cov"))

        def passed(left: float, g=g, at=at, by=by, cov=cov) -> float:
            e = g["used_km"] + left
            row = np.zeros(5)
            row[0] = 1 - exp(-e / g["bedding_km"])
            row[4] = g["usual"] * e * e / (e + g["late_km"])
            a, slope, q = row @ at, row @ by + e, row @ cov @ row
            q += g["factors_unsure"] * (g["mean_rate"] * left) ** 2

            def beyond(z: float) -> float:
                return density(z) * stats.norm.cdf((a + slope * exp(z) - g["limit_nm"]) / sqrt(q))

            return integrate.quad(beyond, *span, epsabs=1e-14)[0] / whole

        wanted = optimize.brentq(lambda left, g=g: passed(left) - g["chance"], 1, 2_000)
        assert step.value == pytest.approx(wanted, rel=3e-3)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: PointSpec(face_degrees=91),
        lambda: PointSpec(face_degrees=90),
        lambda: PointSpec(new_nm=1, limit_nm=2),
        lambda: PointSpec(new_nm=2, limit_nm=1, grows=True),
        lambda: PointSpec(depth_limit_nm=0),
        lambda: PointSpec(sliding=0),
        lambda: ReadingAt(),
        lambda: ReadingAt(value_nm=1, verdict="fits"),
        lambda: ReadingAt(value_nm=1, u_nm=float("nan")),
        lambda: ReadingAt({"a": -1}, value_nm=1),
        lambda: History(SPEC, (ReadingAt({"a": 2}, value_nm=1),), {"a": 1}),
        lambda: Rules(confidence=1.0),
        lambda: Pool(log_rate_sd=0),
        lambda: Pool(log_rate=float("inf")),
        lambda: Prior(factors={"a": 0}),
        lambda: sliding_scale(local_radius_nm=0, drive_radius_nm=1),
        lambda: worth(1, size_nm=1, gauge=GaugeRecord(), thermal=Thermal(False, 200.0)),
    ],
)
def test_nonsense_is_refused(wrong) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        wrong()


def test_nothing_is_so_sure_that_it_cannot_be_told() -> None:
    """A gauge without any uncertainty, a shop without scatter."""
    exact = [replace(each, u_nm=0.0) for each in (FRESH, read(100, 20 * UM), read(200, 40 * UM))]
    found = told(*exact, km=200, prior=replace(PRIOR, scatter_nm=0.0))
    assert found.left_half_nm / KM == pytest.approx(300, rel=0.02)
    assert found.next_low_nm < found.next_high_nm


def test_a_slip_of_unit_teaches_nothing_and_breaks_nothing() -> None:
    """Inches kept as millimetres: 146 mm lost. The rest is learned as if it were not there."""
    sound = pieces(MODEL, 6, 40, (2, 3))[0]
    slipped = history(FRESH, ReadingAt({"cold rolled": 90 * KM}, NEW / 25.4, 1_000), km=100)
    assert fit_prior([*sound, slipped]).everything.log_rate == pytest.approx(
        fit_prior(sound).everything.log_rate
    )
    assert told(*slipped.readings, km=100).says is Says.ESTIMATE
