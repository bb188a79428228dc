"""Limits and fits agree with published tables other than the one they were typed from."""

import json
from itertools import product
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tooling.engineering import fits
from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, NM_PER_THOU, NM_PER_UM
from tooling.engineering.tables import ansi_b4_1, iso_286
from tooling.errors import ToolingError

CHECKS = Path(__file__).parents[2] / "fixtures" / "checks"
ISO = json.loads((CHECKS / "iso_286_limits.json").read_text())
ANSI = json.loads((CHECKS / "ansi_b4_1_fits.json").read_text())
BY_CLASS: dict[str, list[tuple[float, float, float, float]]] = {}
for over, to, name, lower, upper in ISO["limits"]["rows"]:
    BY_CLASS.setdefault(name, []).append((over, to, lower, upper))

mm_sizes = st.integers(1, 500 * NM_PER_MM)
SHAFTS = ["d9", "e8", "f7", "g6", "h6", "js6", "k6", "m6", "n6", "p6"]
HOLES = ["D10", "E8", "F8", "G7", "H7", "JS7", "N9", "P9"]


def refusal(call, *arguments):
    with pytest.raises(ToolingError) as caught:
        call(*arguments)
    return caught.value


def step_sizes_nm(row):
    """The end of a step in inches, and a size inside it."""
    over, to = (float(text) for text in row["step_in"].split("-"))
    return [round(to * NM_PER_IN), round((over + to) / 2 * NM_PER_IN)]


@pytest.mark.parametrize("name", sorted(BY_CLASS))
def test_iso_limits_agree_with_another_published_table(name):
    # isofits 1.0, 3 to 400 mm; at the end of each step and just over its beginning
    for over, to, lower, upper in BY_CLASS[name]:
        for size_nm in (to * NM_PER_MM, over * NM_PER_MM + 1):
            found = fits.limits(size_nm, name)
            assert (found.lower_nm / NM_PER_UM, found.upper_nm / NM_PER_UM) == (lower, upper)


@pytest.mark.parametrize("row", ISO["standard_tolerances"]["rows"], ids=lambda r: r["to_incl_mm"])
def test_standard_tolerances_agree_with_two_other_tables(row):
    step = iso_286.STEPS_MM.index(row["to_incl_mm"])
    grades = {f"IT{grade}": widths[step] for grade, widths in iso_286.TOLERANCE_UM.items()}
    assert grades == {name: um for name, um in row.items() if name.startswith("IT")}


@pytest.mark.parametrize("row", ISO["misprints"]["rows"], ids=lambda row: f"{row[2]} {row[1]}")
def test_a_misprint_of_the_other_table_has_a_width_that_no_grade_has(row):
    over, _to, name, lower, upper = row
    found = fits.limits(over * NM_PER_MM + 1, name)
    assert upper - lower != (found.upper_nm - found.lower_nm) / NM_PER_UM
    assert (upper - lower) not in iso_286.TOLERANCE_UM[int(name[1:])]


@pytest.mark.parametrize("name", ["H7/g6", "H7/h6", "H8/f7", "H7/k6", "H7/js6", "H7/p6"])
def test_iso_fits_agree_with_differences_of_the_other_table(name):
    hole, shaft = (BY_CLASS[part] for part in name.split("/"))
    for (over, to, hole_low, hole_up), (*_step, low, up) in zip(hole, shaft, strict=True):
        found = fits.named_fit(to * NM_PER_MM, name)
        clearances = (found.least_clearance_nm / NM_PER_UM, found.most_clearance_nm / NM_PER_UM)
        assert clearances == (hole_low - up, hole_up - low), (over, to)


@pytest.mark.parametrize(
    ("name", "kind"),
    [("H7/h6", "clearance"), ("H7/k6", "transition"), ("H7/p6", "interference")],
)
def test_iso_fits_are_of_their_kind(name, kind):
    # at 60 mm: H7 0/+30, h6 -19/0, k6 +2/+21, p6 +32/+51 µm (isofits 1.0)
    assert fits.named_fit(60 * NM_PER_MM, name).kind == kind


@pytest.mark.parametrize(
    ("b_mm", "p9", "js9", "n9"),
    # keyway widths printed by a coupling catalogue after DIN 6885-1 (P9, JS9), N9 from ISO 286
    [
        (3, (-31, -6), (-12.5, 12.5), (-29, -4)),
        (8, (-51, -15), (-18, 18), (-36, 0)),
        (18, (-61, -18), (-21.5, 21.5), (-43, 0)),
        (32, (-88, -26), (-31, 31), (-62, 0)),
    ],
)
def test_keyway_width_classes_agree_with_a_catalogue(b_mm, p9, js9, n9):
    found = [fits.limits(b_mm * NM_PER_MM, name) for name in ("P9", "JS9", "N9")]
    assert [(each.lower_nm / 1000, each.upper_nm / 1000) for each in found] == [p9, js9, n9]


def test_an_odd_js_tolerance_may_be_taken_down_to_the_even_micrometre():
    # footnote of the standard for js7 to js11: IT7 of 30 mm is 21 µm, so ±10 instead of ±10.5
    assert fits.limits(30 * NM_PER_MM, "JS7").upper_nm == 10_500
    assert fits.limits(30 * NM_PER_MM, "JS7", even_js=True).upper_nm == 10_000
    assert fits.limits(30 * NM_PER_MM, "JS6", even_js=True).upper_nm == 6_500


def test_a_step_includes_its_upper_end():
    # IT7 is 25 µm to 50 mm included and 30 µm over it
    assert fits.limits(50 * NM_PER_MM, "H7").upper_nm == 25_000
    assert fits.limits(50 * NM_PER_MM + 1, "H7").upper_nm == 30_000


def test_k_loses_its_deviation_from_grade_8_on():
    assert fits.limits(50 * NM_PER_MM, "k7").lower_nm == 2_000
    assert fits.limits(50 * NM_PER_MM, "k8").lower_nm == 0


@given(mm_sizes, mm_sizes, st.sampled_from(["H7", "h6", "g6", "f7", "JS7"]))
def test_a_larger_size_never_has_a_tighter_tolerance(one, other, name):
    assume(one <= other)
    small, large = fits.limits(one, name), fits.limits(other, name)
    assert large.upper_nm - large.lower_nm >= small.upper_nm - small.lower_nm


@given(mm_sizes, st.sampled_from(HOLES + SHAFTS))
def test_the_largest_size_less_the_smallest_is_the_tolerance_of_the_grade(size_nm, name):
    found = fits.limits(size_nm, name)
    grade = int(name.lstrip("DEFGHJSNPdefghjskmnp"))
    step = next(i for i, to in enumerate(iso_286.STEPS_MM) if size_nm <= to * NM_PER_MM)
    assert found.most_nm - found.least_nm == iso_286.TOLERANCE_UM[grade][step] * NM_PER_UM


@given(mm_sizes, st.sampled_from(["D", "E", "F", "G", "H"]), st.integers(5, 11))
def test_a_hole_mirrors_the_shaft_of_its_letter(size_nm, letter, grade):
    hole = fits.limits(size_nm, f"{letter}{grade}")
    shaft = fits.limits(size_nm, f"{letter.lower()}{grade}")
    assert (hole.lower_nm, hole.upper_nm) == (-shaft.upper_nm, -shaft.lower_nm)


@given(mm_sizes, st.sampled_from(HOLES), st.sampled_from(SHAFTS))
def test_any_hole_and_shaft_within_limits_have_a_clearance_within_the_fit(size_nm, hole, shaft):
    found = fits.named_fit(size_nm, f"{hole}/{shaft}")
    assert found.least_clearance_nm == found.hole.least_nm - found.shaft.most_nm
    assert found.most_clearance_nm == found.hole.most_nm - found.shaft.least_nm
    assert found.how[-1].value["most_nm"] == found.most_clearance_nm


@pytest.mark.parametrize("name", ["H12", "H4", "x6", "K7", "N8", "P7", "7H", "", "H", "jS6", "A9"])
def test_a_class_outside_the_tables_is_refused(name):
    assert refusal(fits.limits, 50 * NM_PER_MM, name).code == "unknown_fit_class"


@pytest.mark.parametrize("size_nm", [0, -1, 500 * NM_PER_MM + 1])
def test_a_size_outside_the_iso_table_is_refused(size_nm):
    problem = refusal(fits.limits, size_nm, "H7")
    assert problem.code == "size_outside_table"
    assert "500 mm" in problem.message


@pytest.mark.parametrize(
    "row", ANSI["clearances"]["rows"], ids=lambda row: f"{row['fit_class']} {row['step_in']}"
)
def test_ansi_running_clearances_agree_with_another_book(row):
    for size_nm in step_sizes_nm(row):
        found = fits.named_fit(size_nm, row["fit_class"])
        assert found.least_clearance_nm == round(row["least_thou"] * NM_PER_THOU)
        assert found.most_clearance_nm == round(row["most_thou"] * NM_PER_THOU)


@pytest.mark.parametrize(
    "row", ANSI["limits"]["rows"], ids=lambda row: f"{row['fit_class']} {row['step_in']}"
)
def test_ansi_sliding_limits_agree_with_the_1955_table(row):
    hole, shaft = fits.ansi_limits(step_sizes_nm(row)[0], row["fit_class"])
    thou = [round(each * NM_PER_THOU) for each in row["hole_thou"] + row["shaft_thou"]]
    assert [hole.lower_nm, hole.upper_nm, shaft.lower_nm, shaft.upper_nm] == thou


@pytest.mark.parametrize("row", ANSI["worked"], ids=lambda row: row["fit_class"])
def test_ansi_fits_agree_with_worked_values(row):
    found = fits.named_fit(round(row["size_in"] * NM_PER_IN), row["fit_class"])
    assert found.least_clearance_nm == round(row["least_thou"] * NM_PER_THOU)
    assert found.most_clearance_nm == round(row["most_thou"] * NM_PER_THOU)


@pytest.mark.parametrize("table", ["holes_H9_H10", "holes_H6_H7"])
def test_ansi_hole_tolerances_agree_with_tables_of_other_fits(table):
    for row in ANSI[table]["rows"]:
        to = round(float(row["step_in"].split("-")[1]) * 10_000)
        step = ansi_b4_1.STEPS_TENTHS.index(to)
        for symbol in ("H6", "H7", "H9", "H10"):
            printed = row.get(f"{symbol}_thou")
            assert printed in (None, ansi_b4_1.HOLE_TENTHS[symbol][step] / 10)


@pytest.mark.parametrize(
    ("fit_class", "inches"),
    [
        *product(["RC2", "RC4", "RC5", "RC7", "LC1", "LC2", "LC3", "LC5"], [1.5, 2.5, 4, 6]),
        *product(["LT1", "LT3"], [1, 1.5, 2.5]),
        *product(["LT2", "LT4"], [1, 1.5, 2.5, 4, 6]),
    ],
)
def test_inch_fits_lie_within_a_tenth_of_a_thou_or_a_tenth_of_the_iso_fit(fit_class, inches):
    # the ABC symbols are the ISO classes in rounded inches
    size_nm = round(inches * NM_PER_IN)
    for inch_side, symbol in zip(
        fits.ansi_limits(size_nm, fit_class), ansi_b4_1.FITS[fit_class], strict=True
    ):
        metric = fits.limits(size_nm, symbol)
        for one, other in zip(
            (inch_side.lower_nm, inch_side.upper_nm),
            (metric.lower_nm, metric.upper_nm),
            strict=True,
        ):
            assert abs(one - other) <= max(NM_PER_THOU // 10, abs(other) // 10)


@pytest.mark.parametrize(
    ("fit_class", "kind"),
    [("RC4", "clearance"), ("LC2", "clearance"), ("LT1", "transition"), ("lt 3", "transition")],
)
def test_ansi_classes_are_of_their_kind(fit_class, kind):
    assert fits.named_fit(round(2.5 * NM_PER_IN), fit_class).kind == kind


@pytest.mark.parametrize("name", ["RC9", "LN2", "XX1", "H7", "h6/H7", "H7/", "/g6"])
def test_an_unknown_named_fit_is_refused(name):
    assert refusal(fits.named_fit, 60 * NM_PER_MM, name).code == "unknown_fit_class"


@pytest.mark.parametrize(
    ("inches", "fit_class"), [(0, "RC4"), (9.851, "RC4"), (4, "LT1"), (0.2, "LT3")]
)
def test_an_ansi_size_outside_the_table_is_refused(inches, fit_class):
    size_nm = round(inches * NM_PER_IN)
    assert refusal(fits.named_fit, size_nm, fit_class).code == "size_outside_table"


def test_a_fit_needs_one_basic_size():
    with pytest.raises(ValueError, match="different basic sizes"):
        fits.fit(fits.limits(NM_PER_MM, "H7"), fits.limits(2 * NM_PER_MM, "g6"))


def test_limits_upside_down_are_refused_at_birth():
    with pytest.raises(ValueError, match="no limits"):
        fits.Limits(50 * NM_PER_MM, "H7", 5, 4)


@pytest.mark.parametrize(
    ("now_um", "state", "over_um"),
    # 2.5 in H7 by ISO 286: 63.5 mm +0.030 / 0; allowance 0.025 mm: worn beyond 63.555 mm
    [
        (63_499, "too small", -31),
        (63_500, "within class", -30),
        (63_530, "within class", 0),
        (63_531, "over class", 1),
        (63_555, "over class", 25),
        (63_556, "worn", 26),
    ],
)
def test_a_bore_is_judged_by_its_class_and_the_shops_allowance(now_um, state, over_um):
    found = fits.bore_condition(now_um * NM_PER_UM, 63_500_000, "H7", 25_000)
    assert (found.state, found.over_nm) == (state, over_um * NM_PER_UM)
    assert found.limit_nm == 63_555_000
    assert found.how[-1].value == found.limit_nm


def test_an_inch_bore_is_judged_by_the_hole_of_its_fit():
    # RC4 at 2.5 in: H8 +0.0018 in
    found = fits.bore_condition(round(2.5018 * NM_PER_IN), round(2.5 * NM_PER_IN), "RC4", 0)
    assert found.state == "within class"


@given(st.integers(63_000_000, 64_000_000), st.integers(0, 100_000), st.integers(0, 100_000))
def test_more_allowance_never_makes_a_bore_worse(now_nm, less, more):
    assume(less <= more)
    order = ["too small", "within class", "over class", "worn"]
    states = [fits.bore_condition(now_nm, 63_500_000, "H7", each).state for each in (less, more)]
    assert order.index(states[1]) <= order.index(states[0])


@pytest.mark.parametrize(
    ("now_nm", "bore_class", "allowance", "code"),
    [
        (0, "H7", 0, "negative_length"),
        (63_500_000, "H7", -1, "negative_length"),
        (63_500_000, "h7", 0, "unknown_fit_class"),
    ],
)
def test_an_impossible_bore_question_is_refused(now_nm, bore_class, allowance, code):
    problem = refusal(fits.bore_condition, now_nm, 63_500_000, bore_class, allowance)
    assert problem.code == code
