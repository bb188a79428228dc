"""Whether a set fits a mill: every line of the list, on a mill of 2.5 in shafts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.engineering.checks import inch, worked
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
from tooling.engineering.mill_fit import place_passes
from tooling.engineering.mill_specs import (
    FitLimits,
    Fitting,
    PassSpec,
    SetSpec,
    SleeveSpec,
)

pytestmark = pytest.mark.one_database


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
