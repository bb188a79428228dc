"""The revised NIOSH lifting equation against its printed tables and worked examples."""

from __future__ import annotations

from math import prod
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, table
from tooling.engineering.lifting import (
    CONDITIONS,
    Hands,
    Lift,
    System,
    assess,
    asymmetry_multiplier,
    distance_multiplier,
    frequency_multiplier,
    horizontal_multiplier,
    vertical_multiplier,
)
from tooling.engineering.tables.lifting import COUPLING, Coupling

pytestmark = pytest.mark.one_database

CM, INCH, POUND_KG = 10_000_000, 25_400_000, 0.45359237
UNIT: dict[str, tuple[int, System]] = {"cm": (CM, "metric"), "in": (INCH, "us")}
CHECKS = "lifting_and_density"


def a_lift(**changes: Any) -> Lift:
    """Close, at knuckle height, seldom: the conditions under which the limit is 23 kg."""
    words: dict[str, Any] = {
        "mass_kg": 23.0, "origin": Hands(25 * CM, 75 * CM), "destination": Hands(25 * CM, 75 * CM),
        "lifts_per_minute": 0.1, "hours": 1, "coupling": "good",
    }  # fmt: skip
    return Lift(**{**words, **changes})


def test_under_ideal_conditions_the_limit_is_the_load_constant() -> None:
    assert assess(a_lift()).limit_kg == pytest.approx(23)
    us = assess(a_lift(system="us", origin=Hands(inch(10), inch(30)),
                       destination=Hands(inch(10), inch(30))))  # fmt: skip
    assert us.limit_kg == pytest.approx(51 * POUND_KG)


def test_the_frequency_table_equals_the_one_that_other_programs_carry() -> None:
    hours = {"<=1 h": 1, ">1 to <=2 h": 2, ">2 to <=8 h": 8}
    for row in table(CHECKS, "Frequency multiplier FM"):
        said = row["F_lifts_per_min"]
        rate = {"<=0.2": 0.2, ">15": 15.01}.get(said) or float(said)
        for words, most in hours.items():
            for height, is_high in (("V<30in(75cm)", False), ("V>=30in(75cm)", True)):
                expected = row[f"{words} {height}"]
                assert frequency_multiplier(rate, most, is_high) == pytest.approx(expected)


def test_between_its_rows_the_frequency_table_is_linear_and_beyond_it_nothing_is_allowed() -> None:
    # Between 4 (.84) and 5 (.80) lifts a minute; below 0.2 as at 0.2; past 12 nothing below 75 cm.
    assert frequency_multiplier(4.5, 1, True) == pytest.approx(0.82)
    assert frequency_multiplier(0, 1, True) == 1
    assert frequency_multiplier(12.5, 1, False) == 0
    with pytest.raises(ValueError, match="8 hours"):
        frequency_multiplier(1, 8.1, True)


def test_the_coupling_table_equals_the_other_source() -> None:
    for row in table(CHECKS, "Coupling multiplier CM"):
        pair = COUPLING[row["coupling"], False], COUPLING[row["coupling"], True]
        assert pair == (row["below_30in_75cm"], row["at_or_above"])


def test_the_horizontal_multiplier_equals_its_table() -> None:
    for row in table(CHECKS, "Horizontal multiplier"):
        unit, system = UNIT[row["unit"]]
        ours = horizontal_multiplier(row["H"] * unit, system)
        assert ours == pytest.approx(row["HM_formula"], abs=0.0051)


def test_the_vertical_multiplier_equals_its_table() -> None:
    for row in table(CHECKS, "Vertical multiplier"):
        unit, system = UNIT[row["unit"]]
        assert vertical_multiplier(row["V"] * unit, system) == pytest.approx(row["VM"], abs=0.0051)


def test_the_distance_multiplier_equals_its_table() -> None:
    for row in table(CHECKS, "Distance multiplier"):
        unit, system = UNIT[row["unit"]]
        assert distance_multiplier(row["D"] * unit, system) == pytest.approx(row["DM"], abs=0.0051)


def test_the_asymmetry_multiplier_equals_its_table() -> None:
    for row in table(CHECKS, "Asymmetry multiplier"):
        assert asymmetry_multiplier(row["A_deg"]) == pytest.approx(row["AM"], abs=0.0051)


def test_beyond_each_limit_the_multiplier_is_nothing() -> None:
    assert horizontal_multiplier(63 * CM + 1, "metric") == 0
    assert horizontal_multiplier(inch(25) + 1, "us") == 0
    assert vertical_multiplier(175 * CM + 1, "metric") == 0
    assert distance_multiplier(175 * CM + 1, "metric") == 0
    assert asymmetry_multiplier(135.1) == 0


def test_nearer_and_shorter_than_the_least_counts_as_the_least() -> None:
    assert horizontal_multiplier(5 * CM, "metric") == 1
    assert distance_multiplier(0, "us") == 1


def test_the_manuals_worked_examples_come_out_at_full_precision() -> None:
    rows = table(CHECKS, "Worked examples of the manual")
    for row in rows:
        given = row["inputs"]
        here = Hands(inch(given["H"]), inch(given["V"]), given["A"])
        there = Hands(inch(given["H"]), inch(given["V"] + given["Dd"]))
        rate = {1.0: 0.2, 0.88: 3}[given["FM"]]
        coupling: Coupling = "fair" if given["CM"] == 0.95 or given["V"] >= 30 else "good"
        lift = Lift(given["L"] * POUND_KG, here, there, rate, 1, coupling, False, system="us")
        if row["point"] == "destination":
            back = Hands(inch(given["H"]), inch(given["V"] - given["Dd"]))
            lift = Lift(given["L"] * POUND_KG, back, here, rate, 1, coupling, True, system="us")
        limit = assess(lift).limits[-1]
        assert limit.limit_kg / POUND_KG == pytest.approx(row["RWL_lb_full_precision"], abs=0.002)
        index = given["L"] * POUND_KG / limit.limit_kg
        assert index == pytest.approx(row["LI_full_precision"], abs=0.002)


def test_the_destination_counts_where_the_load_is_placed_with_care() -> None:
    far = Hands(50 * CM, 75 * CM)
    assert assess(a_lift(destination=far)).limit_kg == pytest.approx(11.5)
    answer = assess(a_lift(destination=far, control_at_destination=False))
    assert answer.limit_kg == pytest.approx(23)
    assert [limit.point for limit in answer.limits] == ["origin"]


def test_the_frequency_column_goes_by_the_height_at_the_origin() -> None:
    # 13 lifts a minute: .34 from 75 cm up, nothing below, whatever the destination's height.
    low, high = Hands(25 * CM, 50 * CM), Hands(25 * CM, 80 * CM)
    up = assess(a_lift(origin=low, destination=high, lifts_per_minute=13))
    down = assess(a_lift(origin=high, destination=low, lifts_per_minute=13))
    assert [limit.multipliers["FM"] for limit in up.limits] == [0, 0]
    assert [limit.multipliers["FM"] for limit in down.limits] == [0.34, 0.34]


@pytest.mark.parametrize("condition", CONDITIONS)
def test_where_the_equation_does_not_apply_it_says_why_and_gives_no_limit(condition: Any) -> None:
    answer = assess(a_lift(conditions=frozenset({condition})))
    assert (answer.not_applicable, answer.limit_kg, answer.index) == ((condition,), None, None)


def test_beyond_eight_hours_it_does_not_apply() -> None:
    assert assess(a_lift(hours=8.5)).not_applicable == ("more_than_8_hours",)


def test_every_condition_of_the_other_source_is_known() -> None:
    # Nine conditions and the eight hours; lifting by two is added by us.
    assert len(table(CHECKS, "When the equation does not apply")) == len(CONDITIONS) - 1 + 1


def test_out_of_reach_the_limit_is_zero_and_there_is_no_index() -> None:
    answer = assess(a_lift(origin=Hands(70 * CM, 75 * CM)))
    assert (answer.limit_kg, answer.index) == (0, None)


heights = st.integers(0, 175 * CM)


@given(heights, heights, st.integers(0, 63 * CM), st.floats(0, 135), st.floats(0, 9))
def test_no_lift_is_allowed_more_than_the_load_constant(
    low: Any, high: Any, reach: Any, turn: Any, rate: Any
) -> None:
    lift = a_lift(
        origin=Hands(reach, low, turn), destination=Hands(reach, high), lifts_per_minute=rate
    )
    answer = assess(lift)
    assert answer.limit_kg is not None
    assert 0 <= answer.limit_kg <= 23


@given(heights, st.integers(0, 63 * CM))
def test_limit_and_index_recompute_from_their_steps(height: Any, reach: Any) -> None:
    *limits, index = assess(a_lift(origin=Hands(reach, height))).steps
    for step in limits:
        assert step.value == pytest.approx(prod(step.inputs.values()))  # type: ignore[arg-type]
    assert index.inputs["limit_kg"] == min(step.value for step in limits)  # type: ignore[type-var]
    assert index.value == index.inputs["mass_kg"] / index.inputs["limit_kg"]  # type: ignore[operator]


@pytest.mark.parametrize(
    "make",
    [
        lambda: a_lift(mass_kg=0),
        lambda: a_lift(hours=0),
        lambda: a_lift(lifts_per_minute=-1),
        lambda: a_lift(conditions=frozenset({"tired"})),
        lambda: Hands(-1, 0),
        lambda: Hands(0, 0, 181),
    ],
)
def test_nonsense_is_refused(make: Any) -> None:
    with pytest.raises(ValueError, match=r"lift|conditions|hands"):
        make()
