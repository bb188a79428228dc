"""Keys and keyseat depths agree with other printings of the standards; fits are plain geometry."""

import json
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.engineering import keys
from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, parse_length
from tooling.errors import ToolingError

CHECKS = Path(__file__).parents[2] / "fixtures" / "checks"
ANSI = json.loads((CHECKS / "ansi_b17_1_keys.json").read_text())
DIN = json.loads((CHECKS / "din_6885_keys.json").read_text())

inch_shafts = st.integers(NM_PER_IN * 5 // 16 + 1, 11 * NM_PER_IN)
mm_shafts = st.integers(8 * NM_PER_MM + 1, 200 * NM_PER_MM)


def inches(text):
    return parse_length(text, unit="in").nm


def mm(value):
    return round(Fraction(str(value)) * NM_PER_MM)


def refusal(call, *arguments, **named):
    with pytest.raises(ToolingError) as caught:
        call(*arguments, **named)
    return caught.value


@pytest.mark.parametrize("row", ANSI["sizes"]["rows"], ids=lambda row: row["to_incl"])
def test_ansi_key_sizes_agree_with_another_book(row):
    for shaft_nm in (inches(row["over"]) + 1, inches(row["to_incl"])):
        square = keys.key_for_shaft(shaft_nm, "ANSI B17.1", shape="square")
        assert (square.width_nm, square.height_nm) == (inches(row["width"]), inches(row["square"]))
        if row["rectangular"]:
            flat = keys.key_for_shaft(shaft_nm, "ANSI B17.1", shape="rectangular")
            assert (flat.width_nm, flat.height_nm) == (square.width_nm, inches(row["rectangular"]))


@pytest.mark.parametrize("shape", ["square", "rectangular"])
@pytest.mark.parametrize("row", ANSI["depth_control"], ids=lambda row: str(row["shaft_in"]))
def test_ansi_depths_agree_with_the_handbook_to_half_a_thou(row, shape):
    key = keys.key_for_shaft(round(row["shaft_in"] * NM_PER_IN), "ANSI B17.1", shape=shape)
    suffix = "square" if shape == "square" else "rect"
    for printed, found_nm in (
        (row[f"S_{suffix}_in"], key.shaft_control_nm),
        (row[f"T_{suffix}_in"], key.hub_control_nm),
    ):
        assert printed is None or abs(found_nm / NM_PER_IN - printed) <= 0.0006


@pytest.mark.parametrize(
    ("shaft_in", "hub_depth_in"),
    # T − D from the handbook's table: 1.669 − 1.5 and 2.223 − 2 (Machinery's Handbook, 31st ed.)
    [(1.5, 0.169), (2.0, 0.223)],
)
def test_hub_depth_counts_from_the_crown_of_the_bore(shaft_in, hub_depth_in):
    key = keys.key_for_shaft(round(shaft_in * NM_PER_IN), "ANSI B17.1")
    assert abs(key.hub_depth_nm / NM_PER_IN - hub_depth_in) <= 0.0005


def test_square_keys_are_preferred_up_to_six_and_a_half_inches():
    assert keys.key_for_shaft(inches("6 1/2"), "ANSI B17.1").shape == "square"
    assert keys.key_for_shaft(inches("6 1/2") + 1, "ANSI B17.1").shape == "rectangular"


@given(inch_shafts)
def test_an_ansi_keyseat_pair_holds_the_key_with_its_clearance(shaft_nm):
    # from the bottom of one keyseat to the bottom of the other: T − (D − S) = H + 0.005 in
    key = keys.key_for_shaft(shaft_nm, "ANSI B17.1")
    room_nm = key.hub_control_nm - key.shaft_control_nm
    assert abs(room_nm - key.height_nm - 127_000) <= 1


@given(inch_shafts)
def test_the_depths_agree_with_the_formula_in_floating_point(shaft_nm):
    key = keys.key_for_shaft(shaft_nm, "ANSI B17.1")
    chord = (shaft_nm**2 - key.width_nm**2) ** 0.5
    assert abs(key.shaft_control_nm - (shaft_nm - key.height_nm + chord) / 2) <= 0.501
    assert abs(key.hub_control_nm - 127_000 - (shaft_nm + key.height_nm + chord) / 2) <= 0.501


@pytest.mark.parametrize("row", DIN["keys"], ids=lambda row: f"{row['source']} {row['to_incl_mm']}")
def test_din_keys_agree_with_other_catalogues(row):
    for shaft_nm in (mm(row["over_mm"]) + 1, mm(row["to_incl_mm"])):
        key = keys.key_for_shaft(shaft_nm, "DIN 6885-1")
        found = (key.width_nm, key.height_nm, key.shaft_depth_nm, key.hub_depth_nm)
        assert found == tuple(mm(row[name]) for name in ("b_mm", "h_mm", "t1_mm", "t2_mm"))


@pytest.mark.parametrize("row", DIN["controls"], ids=lambda row: str(row["d_mm"]))
def test_din_depth_controls_agree_with_a_printed_extract(row):
    key = keys.key_for_shaft(mm(row["d_mm"]), "DIN 6885-1")
    assert (key.width_nm, key.height_nm) == (mm(row["b_mm"]), mm(row["h_mm"]))
    assert key.hub_control_nm == mm(row["d_plus_t2_mm"])
    assert key.shaft_control_nm == mm(row["d_minus_t1_mm"])


@given(mm_shafts)
def test_a_din_keyseat_pair_is_deeper_than_the_key_is_high(shaft_nm):
    key = keys.key_for_shaft(shaft_nm, "DIN 6885-1")
    assert key.shaft_depth_nm + key.hub_depth_nm > key.height_nm


@given(mm_shafts, mm_shafts, st.sampled_from(["DIN 6885-1", "ANSI B17.1"]))
def test_a_larger_shaft_never_has_a_narrower_key(one, other, standard):
    small, large = (keys.key_for_shaft(d, standard) for d in sorted((one, other)))
    assert small.width_nm <= large.width_nm


@pytest.mark.parametrize(
    ("shaft_nm", "standard"),
    [
        (8 * NM_PER_MM, "DIN 6885-1"),
        (200 * NM_PER_MM + 1, "DIN 6885-1"),
        (NM_PER_IN * 5 // 16, "ANSI B17.1"),
        (11 * NM_PER_IN + 1, "ANSI B17.1"),
    ],
)
def test_a_shaft_outside_the_table_is_refused(shaft_nm, standard):
    problem = refusal(keys.key_for_shaft, shaft_nm, standard)
    assert problem.code == "size_outside_table"
    assert standard in problem.message


def test_a_shape_that_the_standard_lacks_is_refused():
    problem = refusal(keys.key_for_shaft, inches("3/8"), "ANSI B17.1", shape="rectangular")
    assert problem.code == "size_outside_table"
    with pytest.raises(ValueError, match="one key per shaft"):
        keys.key_for_shaft(60 * NM_PER_MM, "DIN 6885-1", shape="square")


@pytest.mark.parametrize(
    ("shaft", "width", "standard"),
    [
        ("2 1/2 in", "5/8 in", "ANSI B17.1"),
        ("60 mm", "18 mm", "DIN 6885-1"),
        ("60 mm", "20 mm", None),
        ("300 mm", "18 mm", None),
    ],
)
def test_a_key_is_recognised_or_off_the_table(shaft, width, standard):
    shaft_nm, width_nm = (parse_length(text, unit="mm").nm for text in (shaft, width))
    assert keys.standard_of_key(shaft_nm, width_nm) == standard


def a_fit(**changes):
    """A 2.5 in shaft with a 5/8 in key that stands 0.275 in, in a keyway by the table."""
    sizes = {
        "key_width_nm": 15_875_000,
        "key_height_nm": 6_985_000,
        "shaft_nm": 63_500_000,
        "keyway_width_nm": 15_925_000,
        "keyway_depth_nm": 7_061_000,
        "bore_nm": 63_530_000,
        "loose_beyond_nm": 150_000,
    }
    return keys.key_fit(**{**sizes, **changes})


def test_a_key_fits_with_the_play_that_is_left():
    found = a_fit()
    # sides 15.925 − 15.875; above (63.530 − 63.500)/2 + 7.061 − 6.985 = 0.015 + 0.076
    assert (found.state, found.side_play_nm, found.top_play_nm) == ("fits", 50_000, 91_000)
    assert [step.value for step in found.how] == [50_000, 91_000]


@pytest.mark.parametrize(
    ("changes", "state"),
    [
        ({"keyway_width_nm": 15_875_000}, "fits"),
        ({"keyway_width_nm": 15_874_999}, "key too wide"),
        ({"keyway_depth_nm": 6_970_000}, "fits"),
        ({"keyway_depth_nm": 6_969_999}, "key too high"),
        ({"keyway_width_nm": 16_025_000}, "fits"),
        ({"keyway_width_nm": 16_025_001}, "loose"),
        ({"keyway_depth_nm": 6_900_000, "bore_nm": 63_700_000}, "fits"),  # a worn bore gives room
    ],
)
def test_a_key_that_is_too_wide_too_high_or_loose_is_told(changes, state):
    assert a_fit(**changes).state == state


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"bore_nm": 63_499_999}, "bore_smaller_than_shaft"),
        ({"key_width_nm": 0}, "negative_length"),
        ({"keyway_depth_nm": -1}, "negative_length"),
    ],
)
def test_an_impossible_key_question_is_refused(changes, code):
    assert refusal(a_fit, **changes).code == code
