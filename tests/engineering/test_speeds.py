"""Surface speeds, ratio at a station and the progression along the mill."""

from __future__ import annotations

from fractions import Fraction
from math import pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, table, worked
from tooling.engineering.speeds import (
    DrivePass,
    DriveRoll,
    SpeedLimits,
    check_ratio,
    check_speeds,
    equal_speed_nm,
    round_half_up,
    speed_step,
    surface_speed_m_min,
)

pytestmark = pytest.mark.one_database

MM = 1_000_000


def bottoms(
    now: list[int], drawn: list[int] | None = None, u_nm: int | None = 0
) -> list[DrivePass]:
    """Passes with a bottom roll each, numbered from 1."""
    drawings: list[int | None] = list(drawn) if drawn else [None] * len(now)
    return [
        DrivePass(number, bottom=DriveRoll(diameter, drawing, u_nm))
        for number, (diameter, drawing) in enumerate(zip(now, drawings, strict=True), start=1)
    ]


def progression_codes(passes: list[DrivePass]) -> list[str]:
    return [f.code for f in check_speeds(passes) if f.check == "progression"]


def test_surface_speed_equals_the_published_arithmetic() -> None:
    for row in table("surface_speed", "Surface speed"):
        diameter = inch(row["D"]) if row["unit"] == "in" else row["D"] * MM
        assert surface_speed_m_min(diameter, row["rpm"]) == pytest.approx(
            row["m_per_min"], abs=1e-4
        )


def test_surface_speed_equals_the_hand_arithmetic_in_feet_and_metres() -> None:
    for row in worked("surface speed"):
        metres = surface_speed_m_min(inch(row["diameter_in"]), row["rpm"])
        assert metres == pytest.approx(row["m_per_min"], abs=0.005)
        assert metres / 0.3048 == pytest.approx(row["ft_per_min"], abs=0.006)


def test_two_diameters_on_one_shaft_slip_by_their_difference() -> None:
    # 8.00 and 8.25 in at 60 rpm: 125.664 and 129.591 ft/min, 3.125 % apart.
    (row,) = table("surface_speed", "Slip between diameters on one shaft")
    slow, fast = (surface_speed_m_min(inch(d), 60) for d in ("8", "8.25"))
    assert slow / 0.3048 == pytest.approx(row["slow_fpm"], abs=1e-3)
    assert fast / slow - 1 == pytest.approx(row["slip_percent"] / 100)


def test_the_speed_step_recomputes_from_its_inputs() -> None:
    step = speed_step(150 * MM, 60)
    assert step.value == pi * step.inputs["diameter_nm"] / 1e9 * step.inputs["rpm"]  # type: ignore[operator]


@given(st.integers(1, 10**9), st.integers(1, 500))
def test_speed_doubles_with_diameter_and_with_rpm(diameter: int, rpm: int) -> None:
    speed = surface_speed_m_min(diameter, rpm)
    assert surface_speed_m_min(2 * diameter, rpm) == pytest.approx(2 * speed)
    assert surface_speed_m_min(diameter, 2 * rpm) == pytest.approx(2 * speed)


def test_a_speed_needs_a_diameter() -> None:
    with pytest.raises(ValueError, match="more than nothing"):
        surface_speed_m_min(0, 60)


def test_cutting_top_by_ratio_times_bottom_keeps_the_ratio_and_equal_cuts_do_not() -> None:
    for row in worked("ratio kept") + worked("ratio off"):
        top, bottom = (DriveRoll(inch(row[name]), None, 0) for name in ("top_in", "bottom_in"))
        finding = check_ratio(DrivePass(1, top, bottom, ratio=Fraction(row["ratio"])))
        assert finding.values["percent"] == pytest.approx(row["off_percent"], abs=0.005)
        assert finding.level == ("warn" if row["off_percent"] else "ok")


def test_the_warning_says_what_the_top_should_be() -> None:
    top, bottom = DriveRoll(inch("8.970"), None, 0), DriveRoll(inch("5.970"), None, 0)
    finding = check_ratio(DrivePass(1, top, bottom, ratio=Fraction(3, 2)))
    assert finding.values["wanted_nm"] == inch("8.955")


def test_no_ratio_is_checked_where_a_shaft_or_segment_idles() -> None:
    idle = DriveRoll(200 * MM, None, 0, driven=False)
    for drive_pass in (DrivePass(1, idle, DriveRoll(100 * MM)), DrivePass(1, None, idle)):
        assert check_ratio(drive_pass).code == "ratio_not_checked"


def test_rpm_factors_of_drive_groups_count_in_the_ratio() -> None:
    # The top turns twice as fast, so at 1:1 it must be half as large.
    top = DriveRoll(50 * MM, None, 0, rpm_factor=Fraction(2))
    assert check_ratio(DrivePass(1, top, DriveRoll(100 * MM, None, 0))).level == "ok"


def test_a_diameter_never_measured_is_named() -> None:
    finding = check_ratio(DrivePass(1, DriveRoll(100 * MM), DriveRoll(100 * MM, None, 0)))
    assert finding.unmeasured == ("top_nm",)


def test_the_ratio_step_recomputes_from_its_inputs() -> None:
    top, bottom = DriveRoll(inch("8.970"), None, 0), DriveRoll(inch("5.970"), None, 0)
    (step,) = check_ratio(DrivePass(1, top, bottom, ratio=Fraction(3, 2))).steps
    wanted = step.inputs["ratio"] * step.inputs["bottom_nm"]  # type: ignore[operator]
    assert step.value == pytest.approx(abs(step.inputs["top_nm"] - wanted) / wanted)


def test_one_pass_recut_alone_goes_slack_and_a_set_recut_together_does_not() -> None:
    for row in worked("progression fails") + worked("progression passes"):
        now, drawn = ([inch(d) for d in row[name]] for name in ("now_in", "drawn_in"))
        findings = [f for f in check_speeds(bottoms(now, drawn)) if f.check == "progression"]
        assert [f.pass_number for f in findings if f.code == "speed_slack"] == row["slack_after"]


def test_slack_is_a_no_that_an_engineer_may_sign() -> None:
    finding = check_speeds(bottoms([100 * MM, 99 * MM], [100 * MM, 100 * MM]))[-1]
    assert (finding.level, finding.refused) == ("no", False)


def test_equal_is_not_slack() -> None:
    assert progression_codes(bottoms([100 * MM] * 3, [100 * MM] * 3)) == ["step_kept"] * 2


def test_a_drop_that_the_drawing_has_warns() -> None:
    passes = bottoms([100 * MM, 99 * MM], [100 * MM, 99 * MM + 500_000])
    assert progression_codes(passes) == ["speed_drop_drawn"]


def test_a_drop_within_the_uncertainty_of_the_difference_is_not_slack() -> None:
    # u = √(3² + 4²) = 5 µm: a drop of 5 µm is within, of 5.001 µm beyond.
    for drop, code in ((5_000, "step_kept"), (5_001, "speed_slack")):
        passes = [
            DrivePass(1, bottom=DriveRoll(100 * MM, 100 * MM, 3_000)),
            DrivePass(2, bottom=DriveRoll(100 * MM - drop, 100 * MM, 4_000)),
        ]
        assert progression_codes(passes) == [code]


def test_an_undrawn_drop_is_slack_and_an_undrawn_step_outside_the_shops_window_warns() -> None:
    assert progression_codes(bottoms([100 * MM, 99 * MM])) == ["speed_slack"]
    assert progression_codes(bottoms([100 * MM, 100 * MM + 49_000])) == ["step_unusual"]
    assert progression_codes(bottoms([100 * MM, 100 * MM + 50_000])) == ["step_kept"]
    assert progression_codes(bottoms([100 * MM, 101 * MM + 1])) == ["step_unusual"]


def test_the_window_for_undrawn_steps_is_a_setting() -> None:
    passes = bottoms([100 * MM, 102 * MM])
    (finding,) = [
        f for f in check_speeds(passes, SpeedLimits(step_most=Fraction(3, 100)))
        if f.check == "progression"
    ]  # fmt: skip
    assert finding.level == "ok"


def test_drive_groups_are_compared_by_surface_speed() -> None:
    # 100 mm at factor 1.01 runs as fast as 101 mm at 1, so 100.5 mm after it is slack.
    fast = DrivePass(1, bottom=DriveRoll(100 * MM, 100 * MM, 0, rpm_factor=Fraction(101, 100)))
    after = DrivePass(2, bottom=DriveRoll(100_500_000, 101 * MM, 0))
    (finding,) = [f for f in check_speeds([fast, after]) if f.check == "progression"]
    assert (finding.code, finding.values["step_nm"]) == ("speed_slack", -500_000)


def test_the_top_shaft_is_compared_at_the_stations_ratios() -> None:
    # Top 150 at 3:2 runs as 100 at the bottom; top 140 at 7:5 as well.
    one = DrivePass(1, top=DriveRoll(150 * MM, 150 * MM, 0), ratio=Fraction(3, 2))
    two = DrivePass(2, top=DriveRoll(140 * MM, 140 * MM, 0), ratio=Fraction(7, 5))
    (finding,) = [f for f in check_speeds([one, two]) if f.check == "progression"]
    assert (finding.code, finding.values["step_nm"]) == ("step_kept", 0)


def test_steps_are_counted_over_passes_whose_rolls_idle() -> None:
    idle = DrivePass(2, bottom=DriveRoll(90 * MM, 90 * MM, 0, driven=False))
    first, last = bottoms([100 * MM, 101 * MM], [100 * MM, 101 * MM])
    findings = [f for f in check_speeds([first, idle, last]) if f.check == "progression"]
    assert [(f.values["before"], f.values["after"]) for f in findings] == [(1, 2)]
    assert findings[0].values["step_nm"] == MM


def test_passes_driven_on_different_shafts_are_still_compared() -> None:
    top_only = DrivePass(1, top=DriveRoll(150 * MM, 150 * MM, 0), ratio=Fraction(3, 2))
    bottom_only = DrivePass(2, bottom=DriveRoll(99 * MM, 100 * MM, 0))
    assert progression_codes([top_only, bottom_only]) == ["speed_slack"]


def test_no_pass_and_one_pass_have_no_progression() -> None:
    assert check_speeds([]) == ()
    assert progression_codes(bottoms([100 * MM])) == []


@given(st.lists(st.integers(50 * MM, 400 * MM), min_size=2, max_size=24), st.integers(0, 5 * MM))
def test_cutting_every_pass_alike_never_makes_slack_where_there_was_none(
    now: Any, cut: Any
) -> None:
    before = progression_codes(bottoms(sorted(now), sorted(now)))
    after = progression_codes(bottoms([d - cut for d in sorted(now)], sorted(now)))
    assert "speed_slack" not in before + after


@given(st.lists(st.integers(50 * MM, 400 * MM), min_size=2, max_size=12))
def test_every_step_recomputes_from_its_inputs(now: Any) -> None:
    for finding in check_speeds(bottoms(now)):
        for step in finding.steps:
            assert step.value == step.inputs["after_nm"] - step.inputs["before_nm"]  # type: ignore[operator]


def test_a_shaft_without_a_roll_has_no_speed() -> None:
    with pytest.raises(ValueError, match="no roll on its top shaft"):
        equal_speed_nm(DrivePass(1, bottom=DriveRoll(100)), "top", 100)


def test_halves_of_a_nanometre_are_rounded_away_from_zero() -> None:
    assert [round_half_up(Fraction(n, 2)) for n in (-3, -1, 1, 3)] == [-2, -1, 1, 2]


@pytest.mark.parametrize(
    "make",
    [
        lambda: DriveRoll(0),
        lambda: DriveRoll(1, drawn_nm=0),
        lambda: DriveRoll(1, uncertainty_nm=-1),
        lambda: DriveRoll(1, rpm_factor=Fraction(0)),
        lambda: DrivePass(1, ratio=Fraction(0)),
    ],
)
def test_nonsense_is_refused_at_birth(make: Any) -> None:
    with pytest.raises(ValueError, match=r"not|more"):
        make()
