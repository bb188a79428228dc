"""Strip length: published coils, hand counts, and what overrides what."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, table
from tooling.engineering.strip import (
    by_coil,
    by_counter,
    by_mass,
    by_parts,
    by_pounds_per_inch,
    judge,
)

ROWS = table("coil_length", "Coil length and PIW")
INCH_ROWS = [row for row in ROWS if "OD_in" in row]
M = 10**9


@pytest.mark.parametrize("row", INCH_ROWS, ids=lambda row: f"{row['OD_in']} in")
def test_inch_coils_as_published(row) -> None:
    coil = {"outside_nm": inch(str(row["OD_in"])), "inside_nm": inch(str(row["ID_in"]))}
    t = inch(str(row["t_in"]))
    found = by_coil(**coil, thickness_nm=t)
    assert found.length_nm / 25_400_000 == pytest.approx(row["length_in"], abs=0.005)
    assert found.length_nm / 304_800_000 == pytest.approx(row["spiral_sum_ft"], abs=0.0005)


@pytest.mark.parametrize("row", INCH_ROWS, ids=lambda row: f"{row['OD_in']} in")
def test_pounds_per_inch_give_the_same_coil(row) -> None:
    """0.2836 lb/in³ is 7850 kg/m³; the weight is the PIW times the width."""
    t = inch(str(row["t_in"]))
    by_piw = by_pounds_per_inch(lb_per_in=row["PIW_02836"], thickness_nm=t, kg_per_m3=7850)
    assert by_piw.length_nm / 25_400_000 == pytest.approx(row["length_in"], rel=2e-4)
    kg = row["weight_lb"] * 0.45359237
    width = inch(str(row["width_in"]))
    mass = by_mass(mass_kg=kg, width_nm=width, thickness_nm=t, kg_per_m3=7850)
    assert mass.length_nm / 25_400_000 == pytest.approx(row["length_in"], rel=2e-4)


def test_a_metric_coil_as_published() -> None:
    [row] = [row for row in ROWS if "OD_mm" in row]
    mm = 1_000_000
    t = round(row["t_mm"] * mm)
    found = by_coil(outside_nm=row["OD_mm"] * mm, inside_nm=row["ID_mm"] * mm, thickness_nm=t)
    assert found.length_nm / M == pytest.approx(row["length_m"], abs=0.005)
    back = by_mass(mass_kg=row["mass_kg_7850"], width_nm=row["width_mm"] * mm, thickness_nm=t,
                   kg_per_m3=7850)  # fmt: skip
    assert back.length_nm / M == pytest.approx(row["length_m"], abs=0.005)


def test_a_counter_and_parts_by_hand() -> None:
    """12 480 to 15 980 m is 3500 m; 1150 parts of 3 m and 40 m of scrap are 3490 m."""
    assert by_counter(start_nm=12_480 * M, end_nm=15_980 * M).length_nm == 3_500 * M
    assert by_parts(parts=1_150, part_nm=3 * M, scrap_nm=40 * M).length_nm == 3_490 * M
    threaded = by_parts(parts=1_150, part_nm=3 * M, scrap_nm=40 * M, threading_nm=60 * M)
    assert threaded.length_nm == 3_550 * M
    assert threaded.step.inputs["threading_nm"] == 60 * M


def test_the_counter_counts_and_the_rest_stands_beside_it() -> None:
    """By hand: 3490 of 3500 is −0.3 %, inside 2 %; a coil of 3750 m is +7.1 %, beyond 5 %."""
    coil = by_mass(mass_kg=3_750 * 0.3 * 0.0015 * 7850, width_nm=300_000_000,
                   thickness_nm=1_500_000, kg_per_m3=7850)  # fmt: skip
    run = judge(
        [coil, by_parts(parts=1, part_nm=3_490 * M), by_counter(start_nm=0, end_nm=3_500 * M)]
    )
    assert (run.length.way, run.length.length_nm) == ("counter", 3_500 * M)
    told = {
        each.values["way"]: (each.level, round(each.values["percent"], 1)) for each in run.findings
    }
    assert told == {"parts": ("ok", -0.3), "coil mass": ("warn", 7.1)}


def test_an_estimate_alone_is_said_to_be_one() -> None:
    run = judge([by_coil(outside_nm=M, inside_nm=0, thickness_nm=M // 1000)])
    assert run.length.is_estimate
    assert run.findings == ()


@given(parts=st.integers(1, 10**6), part=st.integers(1, 20 * M), off=st.floats(-0.5, 0.5))
def test_nothing_overrides_a_counter(parts, part, off) -> None:
    counted = by_counter(start_nm=5, end_nm=5 + parts * part)
    other = by_parts(parts=1, part_nm=max(1, round(parts * part * (1 + off))))
    assert judge([other, counted]).length is counted


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: by_counter(start_nm=5, end_nm=5),
        lambda: by_parts(parts=0, part_nm=1),
        lambda: by_parts(parts=1, part_nm=1, threading_nm=-1),
        lambda: by_coil(outside_nm=5, inside_nm=5, thickness_nm=1),
        lambda: by_mass(mass_kg=0, width_nm=1, thickness_nm=1, kg_per_m3=1),
        lambda: by_pounds_per_inch(lb_per_in=1, thickness_nm=0, kg_per_m3=1),
        lambda: judge([]),
        lambda: judge([by_counter(start_nm=0, end_nm=1)] * 2),
    ],
)
def test_nonsense_is_refused(wrong) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        wrong()
