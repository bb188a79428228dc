"""Whether a set fits a mill: every line of the list, on a mill of 2.5 in shafts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import asin, degrees
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, worked
from tooling.engineering.findings import Finding
from tooling.engineering.mill_fit import FitAnswer, fit_set_to_mill, place_passes
from tooling.engineering.mill_fit_line import centre_distance
from tooling.engineering.mill_fit_stations import joint_angle_degrees
from tooling.engineering.mill_specs import (
    FitLimits,
    Fitting,
    MillSpec,
    PassSpec,
    RollSpec,
    SetSpec,
    ShaftSpec,
    SleeveSpec,
    StationSpec,
    StripSpec,
)

pytestmark = pytest.mark.one_database

# A shaft of 2.5 in (common practice), its key 5/8 × 5/8 in, half of it above the shaft.
SHAFT = ShaftSpec(
    which="top", diameter_nm=inch("2.5"), roll_space_nm=inch(12),
    key_width_nm=inch("0.625"), key_height_nm=inch("0.3125"),
)  # fmt: skip
STATION = StationSpec(
    number=1, shafts=(SHAFT, replace(SHAFT, which="bottom")), centre_to_next_nm=inch(12),
    vertical_least_nm=inch("5.5"), vertical_most_nm=inch(7), stand_clearance_nm=inch(5),
    side_roll_room_nm=inch(4), side_roll_mounting="bracket",
)  # fmt: skip
MILL = MillSpec(
    number="M1", stations=(STATION, replace(STATION, number=2), replace(STATION, number=3)),
    hand="left", guide_plane_nm=inch("5.375"), closing_most_nm=0, base_clearance_nm=inch(5),
)  # fmt: skip
ROLL = RollSpec(
    name="T1", where="top", order=1, bore_nm=inch("2.501"), drawn_bore_nm=inch("2.5"),
    keyway_width_nm=inch("0.626"), keyway_depth_nm=inch("0.34"), face_width_nm=inch(4),
    guide_offset_nm=inch(2), carries_guide_point=True, drive_diameter_nm=inch(6),
    outside_diameter_nm=inch(6), gap_nm=inch(6),
)  # fmt: skip
STRIP = StripSpec(thickness_nm=inch("0.060"), grade="DX51D", measured=True)


def a_pass(number: int = 1, **changes: Any) -> PassSpec:
    """A pass of one top and one bottom roll; the changes go to both."""
    top, bottom = replace(ROLL, name=f"T{number}"), replace(ROLL, name=f"B{number}", where="bottom")
    return PassSpec(number, (replace(top, **changes), replace(bottom, **changes)))


def a_set(*passes: PassSpec, **changes: Any) -> SetSpec:
    words: dict[str, Any] = {
        "number": "1472", "passes": passes or (a_pass(1), a_pass(2)), "hand": "left",
        "thickness_least_nm": inch("0.050"), "thickness_most_nm": inch("0.068"),
        "grades": ("DX51D", "DC01"), "side_roll_mounting": "bracket",
    }  # fmt: skip
    return SetSpec(**{**words, **changes})


def fit(
    tool_set: SetSpec | None = None, mill: MillSpec = MILL, strip: StripSpec | None = STRIP,
    **changes: Any,
) -> FitAnswer:  # fmt: skip
    return fit_set_to_mill(Fitting(mill, tool_set or a_set(), strip, **changes))


def found(answer: FitAnswer, check: str) -> list[Finding]:
    findings = [finding for finding in answer.findings if finding.check == check]
    assert findings, f"no line about {check}"
    return findings


def codes(answer: FitAnswer, check: str) -> set[str]:
    return {finding.code for finding in found(answer, check)}


def with_station(**changes: Any) -> MillSpec:
    """The mill with every station changed alike."""
    return replace(MILL, stations=tuple(replace(each, **changes) for each in MILL.stations))


def with_shafts(**changes: Any) -> MillSpec:
    """The mill with every shaft changed alike."""
    return with_station(shafts=tuple(replace(each, **changes) for each in STATION.shafts))


def test_a_set_made_for_the_mill_fits_in_every_line() -> None:
    answer = fit()
    assert {(f.code, f.level) for f in answer.findings if f.level != "ok"} == set()
    assert (answer.level, answer.refused, answer.unmeasured) == ("ok", False, ())


def test_every_line_can_be_told_in_words() -> None:
    for strip in (STRIP, None):
        for finding in fit(strip=strip).findings:
            assert "{" not in finding.text(lambda nm: f"{nm / 25.4e6:.4f} in")


# --- bore


@pytest.mark.parametrize(
    ("bore", "drawn", "level", "code"),
    [
        ("2.499", "2.5", "no", "bore_smaller_than_shaft"),
        ("2.5", "2.5", "ok", "bore_fits"),
        ("2.5029", "2.5", "ok", "bore_fits"),
        ("2.503", "2.5", "warn", "bore_worn"),
        ("3.001", "3", "no", "bore_needs_sleeve"),
    ],
)
def test_the_bore_against_the_shaft(bore: str, drawn: str, level: str, code: str) -> None:
    # Play allowed: 75 µm = 0.00295 in.
    tool_set = a_set(a_pass(bore_nm=inch(bore), drawn_bore_nm=inch(drawn)))
    finding = found(fit(tool_set), "bore")[0]
    assert (finding.level, finding.code) == (level, code)
    assert finding.refused is (code == "bore_smaller_than_shaft")
    assert finding.values["play_nm"] == inch(bore) - inch("2.5")


def test_a_larger_bore_is_ok_with_a_named_sleeve() -> None:
    sleeves = (
        SleeveSpec("wrong bore", inch("2.4"), inch(3)),
        SleeveSpec("too thick", inch("2.5"), inch("3.002")),
        SleeveSpec("SL-2.5x3", inch("2.5"), inch(3)),
    )
    tool_set = a_set(a_pass(bore_nm=inch("3.001"), drawn_bore_nm=inch(3)))
    finding = found(fit(tool_set, sleeves=sleeves), "bore")[0]
    assert (finding.level, finding.values["sleeve"]) == ("ok", "SL-2.5x3")


def test_a_bore_never_measured_warns_and_is_named() -> None:
    answer = fit(a_set(a_pass(bore_nm=None)))
    assert codes(answer, "bore") == {"bore_not_measured"}
    assert {"T1.bore_nm", "B1.bore_nm"} <= set(answer.unmeasured)


def test_a_drawn_bore_fits_but_is_named_as_unmeasured() -> None:
    answer = fit(a_set(a_pass(unmeasured=frozenset({"bore_nm"}))))
    assert (answer.level, answer.unmeasured) == ("ok", ("T1.bore_nm", "B1.bore_nm"))


def test_the_allowed_play_is_a_setting() -> None:
    tool_set = a_set(a_pass(bore_nm=inch("2.503")))
    limits = FitLimits(play_most_nm=inch("0.003"))
    assert codes(fit(tool_set, limits=limits), "bore") == {"bore_fits"}


# --- key


@pytest.mark.parametrize(
    ("changes", "level", "code"),
    [
        ({"keyway_width_nm": inch("0.624")}, "no", "key_too_wide"),
        ({"keyway_depth_nm": inch("0.3")}, "no", "key_too_high"),
        ({"keyway_width_nm": inch("0.640")}, "warn", "key_loose"),
        ({"keyway_depth_nm": None}, "warn", "key_not_measured"),
        ({"keyway_width_nm": None}, "no", "keyway_lacking"),
        ({"keyway_width_nm": None, "kind": "spacer"}, "no", "keyway_lacking"),
        ({"keyway_width_nm": None, "bore_nm": inch("3.125")}, "ok", "bore_clear_of_key"),
        ({"keyway_width_nm": None, "bore_nm": None}, "warn", "key_not_measured"),
    ],
)
def test_the_keyway_against_the_key(changes: dict[str, Any], level: str, code: str) -> None:
    finding = found(fit(a_set(a_pass(**changes))), "key")[0]
    assert (finding.level, finding.code) == (level, code)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"key_style": "none"}, "no_key"),
        ({"key_style": "pin"}, "pin_drive"),
        ({"key_style": "two"}, "second_key"),
        ({"key_width_nm": None}, "key_not_measured"),
    ],
)
def test_the_key_style_of_the_shaft(changes: dict[str, Any], code: str) -> None:
    assert codes(fit(mill=with_shafts(**changes)), "key") == {code}


def test_a_loose_key_may_be_left_out() -> None:
    answer = fit(a_set(a_pass(keyway_width_nm=None)), mill=with_shafts(key_style="loose"))
    assert {f.level for f in found(answer, "key")} == {"warn"}


# --- roll space


def test_the_inboard_fill_puts_both_shafts_guide_points_into_one_plane() -> None:
    # 3.250 + 2.125 on top, 3.000 + 2.375 on the bottom: both 5.375 in.
    (row,) = worked("guide plane")
    top = replace(ROLL, guide_offset_nm=inch(row["top_in"][1]))
    bottom = replace(ROLL, where="bottom", guide_offset_nm=inch(row["bottom_in"][1]))
    findings = found(fit(a_set(PassSpec(1, (top, bottom)))), "roll_space")
    fills = [finding.values["fill_nm"] for finding in findings]
    assert fills == [inch(row["top_in"][0]), inch(row["bottom_in"][0])]


def test_a_stack_that_fills_the_roll_space_leaves_nothing() -> None:
    # 3.250 + 1.125 + 2.000 + 1.125 + 4.500 in a roll space of 12.000 in.
    (row,) = worked("stack")
    first, *others = [inch(each) for each in row["parts_in"]]
    rolls = tuple(
        replace(ROLL, name=f"P{at}", order=at, face_width_nm=width, guide_offset_nm=0,
                carries_guide_point=at == 1)
        for at, width in enumerate(others, start=1)
    )  # fmt: skip
    mill = replace(MILL, guide_plane_nm=first)
    (finding,) = found(fit(a_set(PassSpec(1, rolls)), mill=mill), "roll_space")
    assert (finding.level, finding.values["left_nm"]) == ("ok", 0)


@pytest.mark.parametrize(("closing", "level"), [(0, "no"), (inch("0.001"), "ok")])
def test_a_stack_may_stand_proud_only_by_the_closing_window(closing: int, level: str) -> None:
    # 3.375 in inboard and a roll of 8.626 in: 0.001 in more than the roll space.
    tool_set = a_set(a_pass(face_width_nm=inch("8.626")))
    finding = found(fit(tool_set, mill=replace(MILL, closing_most_nm=closing)), "roll_space")[0]
    assert (finding.level, finding.refused) == (level, level == "no")


def test_rolls_that_reach_beyond_the_shoulder_are_refused() -> None:
    finding = found(fit(a_set(a_pass(guide_offset_nm=inch("5.376")))), "roll_space")[0]
    assert (finding.code, finding.values["fill_nm"]) == ("fill_negative", -inch("0.001"))
    assert finding.refused


def test_inboard_spacers_that_are_too_long_can_be_changed() -> None:
    spacer = replace(
        ROLL, name="S", order=0, kind="spacer", face_width_nm=inch(4), carries_guide_point=False,
        outside_diameter_nm=inch("3.5"), drive_diameter_nm=None, gap_nm=None,
    )  # fmt: skip
    one = a_pass()
    finding = found(fit(a_set(replace(one, rolls=(*one.rolls, spacer)))), "roll_space")[0]
    assert (finding.code, finding.values["over_nm"]) == ("inboard_spacers_too_long", inch("0.625"))


def test_the_shoulder_offset_counts_and_unmeasured_ones_are_named() -> None:
    mill = with_shafts(shoulder_offset_nm=inch("0.002"), shoulder_measured=False)
    answer = fit(mill=mill)
    assert found(answer, "roll_space")[0].values["fill_nm"] == inch("3.373")
    assert "shaft.shoulder_offset_nm" in answer.unmeasured


def test_widths_closing_and_guide_plane_never_measured_are_named() -> None:
    mill = replace(MILL, closing_most_nm=None, guide_plane_nm=None)
    answer = fit(a_set(a_pass(face_width_nm=None)), mill=mill)
    assert codes(answer, "roll_space") == {"widths_not_measured"}
    assert {"T1.face_width_nm", "mill.closing_most_nm", "mill.guide_plane_nm"} <= set(
        answer.unmeasured
    )


@pytest.mark.parametrize("changes", [{"guide_offset_nm": None}, {"carries_guide_point": False}])
def test_a_guide_point_never_measured_is_named(changes: dict[str, Any]) -> None:
    answer = fit(a_set(a_pass(**changes)))
    assert "T1.guide_offset_nm" in answer.unmeasured
    assert found(answer, "roll_space")[0].values["fill_nm"] == 0


def test_a_pass_with_rolls_on_one_shaft_needs_neither_centres_nor_ratio() -> None:
    alone = PassSpec(2, (replace(ROLL, name="T2"),))
    answer = fit(a_set(a_pass(1), alone))
    assert answer.level == "ok"
    assert {f.pass_number for f in answer.findings if f.check == "ratio"} == {1}
    assert [f.values["shaft"] for f in found(answer, "horizontal_centres")] == ["top"]


def test_a_width_never_measured_leaves_open_where_pieces_stand() -> None:
    tool_set = flanged("8.63", "3.5")
    spacer = replace(tool_set.passes[0].rolls[2], face_width_nm=None)
    one = replace(tool_set.passes[0], rolls=(*tool_set.passes[0].rolls[:2], spacer))
    assert found(fit(a_set(one)), "flange")[0].code == "flange_may_touch"


# --- stations


def test_more_passes_than_stations_do_not_fit() -> None:
    answer = fit(a_set(*(a_pass(number) for number in range(1, 5))))
    finding = found(answer, "stations")[0]
    assert (finding.level, finding.values["needed"], finding.values["there"]) == ("no", 4, 3)


def test_a_set_of_24_passes_needs_24_stations() -> None:
    (row,) = worked("passes of a large set")
    stations = tuple(replace(STATION, number=n) for n in range(1, row["passes"] + 1))
    tool_set = a_set(*(a_pass(number) for number in range(1, row["passes"] + 1)))
    assert fit(tool_set, mill=replace(MILL, stations=stations)).level == "ok"


def test_a_chart_may_leave_stations_idle_but_not_turn_them_round() -> None:
    charted = [replace(a_pass(n), station=s) for n, s in ((1, 1), (2, 3))]
    assert codes(fit(a_set(*charted)), "stations") == {"stations_charted"}
    for order in ((2, 1), (1, 1)):
        turned = [replace(a_pass(n), station=s) for n, s in zip((1, 2), order, strict=True)]
        assert codes(fit(a_set(*turned)), "stations") == {"stations_out_of_order"}


def test_a_pass_charted_to_no_station_of_the_mill_is_told() -> None:
    charted = (replace(a_pass(1), station=1), replace(a_pass(2), station=9), a_pass(3))
    answer = fit(a_set(*charted))
    finding = found(answer, "stations")[0]
    assert (finding.code, finding.values["there"]) == ("passes_without_station", 1)


def test_an_empty_set_fits_everywhere() -> None:
    answer = fit(SetSpec("0", (), inch("0.05"), inch("0.07"), ("DX51D",), "left"))
    assert answer.level == "ok"
    assert place_passes(Fitting(MILL, a_set(a_pass())))[0][0].station.number == 1


def test_a_station_without_the_shaft_does_not_fit() -> None:
    answer = fit(a_set(a_pass()), mill=with_station(shafts=(SHAFT,)))
    assert codes(answer, "shaft") == {"shaft_lacking"}


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


def flanged(flange: str, spacer: str, *, guide: bool = True) -> SetSpec:
    """A top roll with a flange, over a bottom roll with a spacer outboard of it at its flange."""
    top = replace(ROLL, face_width_nm=inch(6), outside_diameter_nm=inch(flange))
    bottom = replace(ROLL, name="B1", where="bottom", carries_guide_point=guide)
    outboard = replace(
        bottom, name="S9", order=2, kind="spacer", outside_diameter_nm=inch(spacer),
        drive_diameter_nm=None, gap_nm=None, carries_guide_point=False, face_width_nm=inch(1),
    )  # fmt: skip
    return a_set(PassSpec(1, (top, bottom, outboard)))


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
