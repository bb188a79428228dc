"""The fit of a set along the line: centres, drive, stations beside one another, hand, strip."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import asin, degrees
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch
from tests.engineering.fitting import (
    MILL,
    ROLL,
    SHAFT,
    STATION,
    STRIP,
    a_pass,
    a_set,
    codes,
    fit,
    flanged,
    found,
    with_shafts,
    with_station,
)
from tooling.engineering.mill_fit_line import centre_distance
from tooling.engineering.mill_fit_stations import joint_angle_degrees
from tooling.engineering.mill_specs import (
    Fitting,
    MillSpec,
    PassSpec,
    RollSpec,
    StripSpec,
)

pytestmark = pytest.mark.one_database

# --- centres, ratio


@pytest.mark.parametrize(
    ("least", "most", "level", "refused"),
    [("6.060", "7", "ok", False), ("6.061", "7", "no", True), ("5", "6.059", "no", False)],
)
def test_centres_at_the_strips_thickness(least: str, most: str, level: str, refused: bool) -> None:
    # (6 + 6)/2 + 0.060 = 6.060 in.
    mill = with_station(vertical_least_nm=inch(least), vertical_most_nm=inch(most))
    answer = fit(mill=mill)
    assert {(f.level, f.refused) for f in found(answer, "vertical_centres")} == {(level, refused)}
    assert answer.refused is refused


def test_without_a_strip_both_ends_of_the_range_are_checked() -> None:
    findings = found(fit(a_set(a_pass()), strip=None), "vertical_centres")
    assert [f.values["centres_nm"] for f in findings] == [inch("6.050"), inch("6.068")]


def test_the_allowance_is_part_of_the_gap() -> None:
    strip = replace(STRIP, allowance_nm=inch("-0.002"))
    findings = found(fit(a_set(a_pass()), strip=strip), "vertical_centres")
    assert findings[0].values["centres_nm"] == inch("6.058")


def test_gap_points_never_measured_warn() -> None:
    answer = fit(a_set(a_pass(gap_nm=None)))
    assert codes(answer, "vertical_centres") == {"gap_point_not_measured"}


def test_a_pass_without_a_gap_needs_no_centres() -> None:
    answer = fit(a_set(replace(a_pass(gap_nm=None), has_gap=False)))
    assert [f for f in answer.findings if f.check == "vertical_centres"] == []


@pytest.mark.parametrize(
    ("ratio", "levels"),
    [
        (Fraction(1), ["ok"]),
        (Fraction(1001, 1000), ["ok"]),
        (Fraction(101, 100), ["warn"]),
        (Fraction(3, 2), ["warn", "no"]),
    ],
)
def test_the_ratio_per_driven_station(ratio: Fraction, levels: list[str]) -> None:
    answer = fit(a_set(a_pass()), mill=with_station(ratio=ratio))
    assert [finding.level for finding in found(answer, "ratio")] == levels


def test_no_ratio_is_asked_of_an_idle_shaft_or_segment() -> None:
    assert codes(fit(mill=with_shafts(drive="idle")), "ratio") == {"ratio_not_checked"}
    assert codes(fit(a_set(a_pass(idles=True))), "ratio") == {"ratio_not_checked"}


def test_drive_diameters_never_entered_are_named() -> None:
    answer = fit(a_set(a_pass(drive_diameter_nm=None)))
    assert codes(answer, "ratio") == {"drive_diameter_not_measured"}
    assert "top.drive_diameter_nm" in answer.unmeasured


# --- along the line


@pytest.mark.parametrize(
    ("centre", "level", "code"),
    [
        ("6.040", "ok", "neighbours_clear"),
        ("6.039", "warn", "neighbours_close"),
        ("6", "no", "neighbours_touch"),
    ],
)
def test_neighbours_against_the_horizontal_centres(centre: str, level: str, code: str) -> None:
    # Two rolls of 6 in; 1 mm = 0.0394 in must stay clear.
    answer = fit(mill=with_station(centre_to_next_nm=inch(centre)))
    assert {(f.level, f.code) for f in found(answer, "horizontal_centres")} == {(level, code)}


def test_idle_stations_between_add_their_centres() -> None:
    second = replace(STATION, number=2, centre_to_next_nm=inch(14))
    third = replace(STATION, number=3, centre_to_next_nm=inch(20))
    fitting = Fitting(replace(MILL, stations=(STATION, second, third)), a_set())
    assert centre_distance(fitting, 1, 3) == (inch(26), ())
    mill = replace(MILL, stations=(STATION, replace(STATION, number=2, centre_to_next_nm=None)))
    assert centre_distance(Fitting(mill, a_set()), 1, 3)[1] == ("station 2.centre_to_next_nm",)


def test_horizontal_centres_never_measured_warn() -> None:
    answer = fit(mill=with_station(centre_to_next_nm=None))
    assert codes(answer, "horizontal_centres") == {"horizontal_not_measured"}


def side_pass(outside: str | None) -> PassSpec:
    one = a_pass()
    side = RollSpec("D1", "side", 1, "side_roll",
                    outside_diameter_nm=inch(outside) if outside else None)  # fmt: skip
    return replace(one, rolls=(*one.rolls, side))


@pytest.mark.parametrize(
    ("outside", "room", "code"),
    [
        ("4", inch(4), "side_room"),
        ("4.001", inch(4), "side_room_lacking"),
        ("4", None, "side_room_not_measured"),
        (None, inch(4), "side_room_not_measured"),
    ],
)
def test_side_rolls_in_their_room(outside: str | None, room: int | None, code: str) -> None:
    answer = fit(a_set(side_pass(outside)), mill=with_station(side_roll_room_nm=room))
    assert codes(answer, "side_roll_room") == {code}


@pytest.mark.parametrize(
    ("there", "code"),
    [("Bracket ", "mounting_same"), ("between", "mounting_differs"), ("", "mounting_unknown")],
)
def test_side_roll_mounting(there: str, code: str) -> None:
    answer = fit(a_set(side_pass("3")), mill=with_station(side_roll_mounting=there))
    assert codes(answer, "side_roll_mounting") == {code}


# --- stand, base, flanges, joints


@pytest.mark.parametrize(
    ("room", "stand"), [(3, "stand_clear"), ("2.99", "stand_touches"), (None, "stand_not_measured")]
)
def test_the_outside_diameter_against_the_stand(room: Any, stand: str) -> None:
    mill = with_station(stand_clearance_nm=None if room is None else inch(room))
    assert codes(fit(mill=mill), "stand") == {stand}


def test_only_the_bottom_roll_is_held_against_the_base() -> None:
    answer = fit(a_set(a_pass()), mill=replace(MILL, base_clearance_nm=inch("2.99")))
    (finding,) = found(answer, "base")
    assert (finding.code, finding.values["piece"]) == ("base_touches", "B1")


@pytest.mark.parametrize(
    ("flange", "spacer", "level", "opposite"),
    [
        # Centres 6.060: a flange of 8.62 and a spacer of 3.5 have 12.12 in together: just clear.
        ("8.62", "3.5", "ok", "S9"),
        ("8.63", "3.5", "no", "S9"),
        ("8.63", "3.4", "ok", "S9"),
    ],
)
def test_a_flange_against_the_opposite_spacer(
    flange: str, spacer: str, level: str, opposite: str
) -> None:  # fmt: skip
    finding = found(fit(flanged(flange, spacer)), "flange")[0]
    assert (finding.level, finding.values["opposite"]) == (level, opposite)


def test_a_flange_beside_the_spacer_is_held_against_the_bare_shaft_only() -> None:
    # The roll ends at 7.375 in from the datum, where the spacer of 3 in begins.
    tool_set = flanged("8.63", "3.5")
    top = replace(tool_set.passes[0].rolls[0], face_width_nm=inch(4))
    one = replace(tool_set.passes[0], rolls=(top, *tool_set.passes[0].rolls[1:]))
    finding = found(fit(a_set(one)), "flange")[0]
    assert (finding.level, finding.values["opposite"]) == ("ok", "shaft")


def test_a_spacer_inboard_that_ends_where_the_flange_begins_does_not_face_it() -> None:
    # Both guide points at 5.375 in: the flange begins at 4.375, the spacer ends there too.
    top = replace(ROLL, guide_offset_nm=inch(1), outside_diameter_nm=inch("8.63"))
    spacer = replace(
        ROLL, name="S9", where="bottom", order=1, kind="spacer", face_width_nm=inch(1),
        outside_diameter_nm=inch("3.5"), drive_diameter_nm=None, gap_nm=None,
        carries_guide_point=False,
    )  # fmt: skip
    bottom = replace(ROLL, name="B1", where="bottom", order=2, guide_offset_nm=inch(1))
    findings = found(fit(a_set(PassSpec(1, (top, spacer, bottom)))), "flange")
    assert findings[0].values["opposite"] == "shaft"


def test_flanges_are_judged_at_the_thinnest_strip_of_the_range() -> None:
    # At 0.050 the centres are 6.050 in: 8.61 + 3.5 is 0.01 in too much, half of it at the radius.
    finding = found(fit(flanged("8.61", "3.5"), strip=None), "flange")[0]
    assert (finding.code, finding.values["over_nm"]) == ("flange_touches", inch("0.005"))


def test_where_the_pieces_stand_was_never_measured_a_flange_may_touch() -> None:
    finding = found(fit(flanged("8.63", "3.5", guide=False)), "flange")[0]
    assert (finding.level, finding.code) == ("warn", "flange_may_touch")


def test_a_flange_into_the_bare_shaft_never_fits() -> None:
    # 9.63 and the shaft of 2.5 have 12.13 in together, more than twice 6.060.
    finding = found(fit(a_set(a_pass(outside_diameter_nm=inch("9.63")))), "flange")[0]
    assert (finding.level, finding.values["opposite"]) == ("no", "shaft")


def joints(**changes: Any) -> MillSpec:
    words: dict[str, Any] = {
        "drive": "joint", "joint_length_nm": inch(20), "joint_most_degrees": 4.0,
        "joint_level_centre_nm": inch(6),
    }  # fmt: skip
    return with_shafts(**{**words, **changes})


@pytest.mark.parametrize(
    ("most", "level", "code"),
    [
        # Ends at 5.5 and 7 in: asin(1/20) = 2.87°; the pass at 6.060: asin(0.06/20) = 0.17°.
        (2.9, "ok", "joint_within"),
        (2.8, "warn", "joint_steep_at_end"),
        (0.1, "no", "joint_too_steep"),
    ],
)
def test_the_joint_angle_at_both_ends_of_the_centres(most: float, level: str, code: str) -> None:
    answer = fit(mill=joints(joint_most_degrees=most))
    assert {(f.level, f.code) for f in found(answer, "joint_angle")} == {(level, code)}


def test_a_joint_may_run_at_its_most() -> None:
    most = joint_angle_degrees(inch("6.060"), inch(6), inch(20))
    mill = joints(joint_most_degrees=most)
    assert codes(fit(mill=mill), "joint_angle") == {"joint_steep_at_end"}


def test_a_joint_never_measured_is_named() -> None:
    answer = fit(mill=joints(joint_length_nm=None))
    assert codes(answer, "joint_angle") == {"joint_not_measured"}
    assert "top.joint_length_nm" in answer.unmeasured


def test_a_joint_offset_further_than_its_length_stands_upright() -> None:
    assert joint_angle_degrees(30, 0, 20) == 90
    assert joint_angle_degrees(10, 0, 20) == pytest.approx(30)


# --- hand, strip


@pytest.mark.parametrize(
    ("hand", "level"), [("left", "ok"), ("right", "warn"), ("", "ok")]
)  # fmt: skip
def test_the_hand(hand: str, level: str) -> None:
    assert found(fit(a_set(hand=hand)), "hand")[0].level == level


@pytest.mark.parametrize(
    ("grade", "grades", "code"),
    [
        ("dx51d", ("DX51D ",), "grade_approved"),
        ("S700MC", ("DX51D",), "grade_not_approved"),
        ("", ("DX51D",), "grade_unknown"),
        ("DX51D", (), "grade_unknown"),
    ],
)
def test_the_approved_strip(grade: str, grades: tuple[str, ...], code: str) -> None:
    answer = fit(a_set(grades=grades), strip=replace(STRIP, grade=grade))
    assert codes(answer, "strip_grade") == {code}


@pytest.mark.parametrize(
    ("thickness", "level", "code"),
    [
        ("0.050", "ok", "thickness_in_range"),
        ("0.068", "ok", "thickness_in_range"),
        ("0.069", "no", "strip_too_thick"),
        ("0.049", "warn", "strip_thin"),
    ],
)
def test_the_thickness_range(thickness: str, level: str, code: str) -> None:
    answer = fit(strip=replace(STRIP, thickness_nm=inch(thickness)))
    finding = found(answer, "strip_thickness")[0]
    assert (finding.level, finding.code, finding.refused) == (level, code, False)


def test_a_thickness_range_never_entered_is_named() -> None:
    answer = fit(a_set(thickness_least_nm=None))
    assert codes(answer, "strip_thickness") == {"thickness_range_unknown"}
    assert "thickness_least_nm" in answer.unmeasured


# --- how?


def test_every_step_recomputes_from_its_inputs() -> None:
    formulas = {
        "bore − shaft": lambda i: i["bore_nm"] - i["shaft_nm"],
        "room − D/2": lambda i: i["room_nm"] - i["outside_nm"] / 2,
        "room − D": lambda i: i["room_nm"] - i["outside_nm"],
        "C = (d_top + d_bottom) / 2 + g":
            lambda i: (i["top_nm"] + i["bottom_nm"]) / 2 + i["gap_nm"],
        "C − (D_flange + D_opposite) / 2":
            lambda i: i["centres_nm"] - (i["flange_nm"] + i["opposite_nm"]) / 2,
        "horizontal centres − (D_before + D_after) / 2":
            lambda i: i["centre_nm"] - (i["before_nm"] + i["after_nm"]) / 2,
        "asin(|C − C_level| / L)": lambda i: degrees(
            asin(abs(i["centres_nm"] - i["level_centre_nm"]) / i["joint_length_nm"])
        ),
        "guide plane − shoulder offset − pieces before the guide roll − guide offset":
            lambda i: i["guide_plane_nm"] - i["shoulder_offset_nm"] - i["before_nm"]
            - i["guide_offset_nm"],
        "roll space + closing window − inboard fill − Σ face widths":
            lambda i: i["roll_space_nm"] + i["closing_most_nm"] - i["inboard_fill_nm"]
            - i["face_widths_nm"],
        "keyway width − key width": lambda i: i["keyway_width_nm"] - i["key_width_nm"],
        "(bore/2 + keyway depth) − (shaft/2 + key height)":
            lambda i: i["bore_nm"] // 2 + i["keyway_depth_nm"] - i["shaft_nm"] // 2
            - i["key_height_nm"],
        "|D_top − R · D_bottom| / (R · D_bottom)":
            lambda i: abs(i["top_nm"] / (i["ratio"] * i["bottom_nm"]) - 1),
    }  # fmt: skip
    answer = fit(a_set(side_pass("3"), a_pass(2)), mill=joints())
    assert {step.formula for step in answer.how} == set(formulas)
    for step in answer.how:
        assert step.value == pytest.approx(formulas[step.formula](step.inputs)), step.what


@given(st.integers(inch("2.5"), inch("2.6")), st.integers(0, inch("0.1")))
def test_a_larger_bore_never_turns_a_fitting_piece_into_an_impossible_one(
    bore: int, more: int
) -> None:
    small, large = (fit(a_set(a_pass(bore_nm=b))) for b in (bore, bore + more))
    assert not small.refused
    assert not large.refused


@given(st.integers(0, inch("0.5")))
def test_cutting_both_rolls_lowers_the_centres_by_half_of_both_cuts(cut: int) -> None:
    before = found(fit(a_set(a_pass())), "vertical_centres")[0].values["centres_nm"]
    after = found(fit(a_set(a_pass(gap_nm=inch(6) - cut))), "vertical_centres")[0]
    assert before - after.values["centres_nm"] == cut


@pytest.mark.parametrize(
    "make",
    [
        lambda: replace(ROLL, bore_nm=0),
        lambda: replace(SHAFT, diameter_nm=-1),
        lambda: replace(STATION, ratio=Fraction(0)),
        lambda: StripSpec(0),
        lambda: StripSpec(5, allowance_nm=-5),
    ],
)
def test_nonsense_is_refused_at_birth(make: Any) -> None:
    with pytest.raises(ValueError, match=r"nothing|no gap"):
        make()
