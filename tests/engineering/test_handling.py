"""Mass of rolls from their dimensions, totals, and the caution beside them."""

from __future__ import annotations

from math import pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, table, worked
from tooling.engineering.handling import (
    RollBody,
    caution_for,
    check_load,
    density_of,
    mass_of,
    total_of,
)
from tooling.engineering.tables.densities import DENSITIES, OTHER_NAMES

pytestmark = pytest.mark.one_database

POUND_KG = 0.45359237
SAME = {
    "carbon steel, generic": "steel",
    "AISI D2 tool steel": "D2",
    "AISI 4140": "4140",
    "A2 tool steel": "A2",
    "M2 high-speed steel": "M2",
    "P20": "P20",
    "gray cast iron, middle": "cast iron",
    "C95400 aluminium bronze": "aluminium bronze",
    "aluminium 6061": "aluminium",
}


def test_densities_agree_with_another_source_within_a_percent() -> None:
    rows = {r["material"]: r["kg_per_m3"] for r in table("lifting_and_density", "Densities")}
    for theirs, ours in SAME.items():
        density = density_of(ours)
        assert density is not None
        assert density.kg_per_m3 == pytest.approx(rows[theirs], rel=0.01), theirs


def test_masses_equal_the_published_roll_weights() -> None:
    for row in table("lifting_and_density", "Roll weights"):
        if "OD_in" in row:
            outside, bore, width = (inch(row[n]) for n in ("OD_in", "bore_in", "width_in"))
        else:
            outside, bore, width = (round(row[n] * 1e6) for n in ("OD_mm", "bore_mm", "width_mm"))
        body = RollBody(outside, bore, width, row["material"])
        assert mass_of(body).kg == pytest.approx(row["weight_kg"], rel=1e-3)


def test_masses_equal_the_hand_arithmetic_in_pounds() -> None:
    for row in worked("mass"):
        outside, bore, width = (inch(row[n]) for n in ("outside_in", "bore_in", "width_in"))
        kg = mass_of(RollBody(outside, bore, width, row["material"])).kg
        assert kg / POUND_KG == pytest.approx(row["lb"], rel=0.015)
        assert kg == pytest.approx(row["kg"], rel=0.015)


def test_the_keyway_is_taken_off() -> None:
    # 5/8 x 5/16 in over 4 in at 0.2782 lb/in³ is 0.2173 lb.
    row = table("lifting_and_density", "Roll weights")[0]
    sizes = inch(8), inch("2.5"), inch(4)
    plain = mass_of(RollBody(*sizes, material="D2")).kg
    keyed = mass_of(RollBody(*sizes, "D2", inch("0.625"), inch("0.3125"))).kg
    assert (plain - keyed) / POUND_KG == pytest.approx(row["keyway_removed_lb_approx"], rel=1e-3)


def test_a_weighed_mass_wins() -> None:
    mass = mass_of(RollBody(inch(8), inch("2.5"), inch(4)), weighed_kg=21.4)
    assert (mass.kg, mass.how_known, mass.step.value) == (21.4, "weighed", 21.4)


def test_an_unknown_material_counts_as_steel_and_says_so() -> None:
    body = RollBody(inch(8), inch("2.5"), inch(4), material="unobtainium")
    mass = mass_of(body)
    assert mass.kg == mass_of(RollBody(inch(8), inch("2.5"), inch(4), material="steel")).kg
    assert (mass.how_known, mass.step.unmeasured) == ("assumed", ("density_kg_per_m3",))


@pytest.mark.parametrize("name", ["d2", " D2 ", "1.2379", "X153CrMoV12"])
def test_a_material_is_known_by_any_usual_name(name: Any) -> None:
    density = density_of(name)
    assert density is not None
    assert density.name == "D2"


def test_every_other_name_leads_to_a_density() -> None:
    assert set(OTHER_NAMES.values()) <= set(DENSITIES)


@given(st.integers(1, 10**9), st.integers(0, 10**9), st.integers(1, 10**9))
def test_the_step_of_a_mass_recomputes_from_its_inputs(wall: Any, bore: Any, width: Any) -> None:
    step = mass_of(RollBody(bore + wall, bore, width, "D2", 1_000, 2_000)).step
    given = {name: float(str(value)) for name, value in step.inputs.items() if value is not None}
    ring = pi / 4 * (given["outside_nm"] ** 2 - given["bore_nm"] ** 2)
    area = ring - given["keyway_width_nm"] * given["keyway_depth_nm"]
    mass = area * given["width_nm"] / 1e27 * given["density_kg_per_m3"]
    assert step.value == pytest.approx(mass, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(
    ("kg", "said"),
    [(14.99, "none"), (15, "heavy"), (22.99, "heavy"), (23, "two_people"), (78, "two_people")],
)
def test_the_caution_comes_at_the_shops_limits(kg: Any, said: Any) -> None:
    assert caution_for(kg, warn_kg=15, two_people_kg=23) == said


def test_two_people_come_at_the_ideal_limit_of_the_published_equation() -> None:
    (row,) = worked("lift limit under ideal conditions")
    assert row["lb"] * POUND_KG == pytest.approx(row["kg"], abs=0.2)
    assert caution_for(row["kg"], warn_kg=15, two_people_kg=row["kg"]) == "two_people"


def test_limits_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="before two people"):
        caution_for(1, warn_kg=24, two_people_kg=23)


def test_a_total_counts_what_has_no_mass() -> None:
    load = total_of([1.5, None, 2.5])
    assert (load.kg, load.unknown) == (4.0, 1)
    assert total_of([]).kg == 0


@pytest.mark.parametrize(
    ("masses", "plate", "code"),
    [
        ([100.0, 99.0], 200, "cart_carries"),
        ([100.0, 101.0], 200, "cart_overloaded"),
        ([100.0, None], 200, "masses_unknown"),
        ([201.0, None], 200, "cart_overloaded"),
        ([1.0], None, "plate_unknown"),
    ],
)
def test_a_cart_is_held_against_its_plate(masses: Any, plate: Any, code: Any) -> None:
    assert check_load(total_of(masses), plate_kg=plate).code == code


@pytest.mark.parametrize("sizes", [(1, 1, 1), (5, 1, 0), (5, -1, 1), (5, 1, 1, "D2", -1, 0)])
def test_a_body_that_cannot_be_is_refused(sizes: Any) -> None:
    with pytest.raises(ValueError, match=r"body|keyway"):
        RollBody(*sizes)


def test_a_weighed_mass_is_more_than_nothing() -> None:
    with pytest.raises(ValueError, match="weighed"):
        mass_of(RollBody(5, 1, 1), weighed_kg=0)
