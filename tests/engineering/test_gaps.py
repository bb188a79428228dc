"""Shaft centres, gaps on inclined faces, and moves after a recut."""

from __future__ import annotations

from fractions import Fraction
from math import cos, radians
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, worked
from tooling.engineering.gaps import (
    check_centres,
    face_gap,
    known_difference,
    moves_after_recut,
    shaft_centres,
    target_gap_nm,
    tilt,
)

pytestmark = pytest.mark.one_database

diameters = st.integers(1, 10**9)
cuts = st.integers(0, 10**7)


def test_centres_equal_the_hand_arithmetic() -> None:
    (row,) = worked("vertical centre")
    centres = shaft_centres(
        top_nm=inch(row["top_in"]), bottom_nm=inch(row["bottom_in"]), gap_nm=inch(row["gap_in"])
    )
    assert centres.centres_nm == inch(row["centre_in"])
    assert centres.centres_nm == round(row["centre_mm"] * 1e6)


def test_centres_keep_half_a_nanometre() -> None:
    assert shaft_centres(top_nm=2, bottom_nm=1, gap_nm=0).centres == Fraction(3, 2)


@given(diameters, diameters, cuts)
def test_the_step_of_the_centres_recomputes_from_its_inputs(
    top: int, bottom: int, gap: int
) -> None:
    step = shaft_centres(top_nm=top, bottom_nm=bottom, gap_nm=gap).step
    exact = Fraction(step.inputs["top_nm"] + step.inputs["bottom_nm"], 2) + step.inputs["gap_nm"]  # type: ignore[operator]
    assert 0 <= step.value - exact <= Fraction(1, 2)


def test_the_target_gap_is_the_measured_strip_plus_a_signed_allowance() -> None:
    assert target_gap_nm(strip_nm=1_200_000, allowance_nm=50_000) == 1_250_000
    assert target_gap_nm(strip_nm=1_200_000, allowance_nm=-50_000) == 1_150_000
    with pytest.raises(ValueError, match="gap is open"):
        target_gap_nm(strip_nm=1_000, allowance_nm=-1_000)


@pytest.mark.parametrize(
    ("least", "most", "level", "code", "refused"),
    [
        (100, 200, "ok", "centres_reached", False),
        (150, 150, "ok", "centres_reached", False),
        (151, 200, "no", "centres_below_stop", True),
        (100, 149, "no", "centres_above_most", False),
        (None, 200, "warn", "centres_not_measured", False),
        (100, None, "warn", "centres_not_measured", False),
        (151, None, "no", "centres_below_stop", True),
    ],
)
def test_centres_against_the_ends_of_the_mill(
    least: Any, most: Any, level: Any, code: Any, refused: Any
) -> None:
    centres = shaft_centres(top_nm=150, bottom_nm=148, gap_nm=1)
    finding = check_centres(centres, least_nm=least, most_nm=most)
    assert (finding.level, finding.code, finding.refused) == (level, code, refused)


def test_ends_and_diameters_never_measured_are_named() -> None:
    centres = shaft_centres(top_nm=150, bottom_nm=148, gap_nm=1, unmeasured=("top_nm",))
    finding = check_centres(centres, least_nm=None, most_nm=200)
    assert finding.unmeasured == ("vertical_least_nm", "top_nm")


@pytest.mark.parametrize(
    ("degrees", "seen"), [(0, 1_000_000), (45, 707_107), (60, 500_000), (79.9, 175_367)]
)
def test_a_feeler_sees_the_gap_times_the_cosine(degrees: Any, seen: Any) -> None:
    # cos 45° = 0.707107, cos 60° = 0.5, cos 79.9° = 0.175367 (tables of cosines)
    answer = face_gap(gap_nm=1_000_000, degrees=degrees)
    assert (answer.method, answer.feeler_nm) == ("feeler", seen)


def test_a_near_vertical_wall_is_set_by_spacers() -> None:
    assert face_gap(gap_nm=1_000_000, degrees=80).method == "spacers"
    assert face_gap(gap_nm=1_000_000, degrees=90).feeler_nm is None
    assert face_gap(gap_nm=1_000_000, degrees=70, near_vertical_degrees=70).method == "spacers"


@given(cuts, st.floats(0, 79))
def test_the_step_of_a_face_gap_recomputes_from_its_inputs(gap: Any, degrees: Any) -> None:
    step = face_gap(gap_nm=gap, degrees=degrees).step
    assert step.value == round(step.inputs["gap_nm"] * cos(radians(step.inputs["degrees"])))  # type: ignore[operator, arg-type]


@pytest.mark.parametrize(("gap", "degrees"), [(-1, 0), (1, -1), (1, 91)])
def test_a_gap_or_face_outside_reason_is_refused(gap: Any, degrees: Any) -> None:
    with pytest.raises(ValueError, match="inclined"):
        face_gap(gap_nm=gap, degrees=degrees)


def test_moves_with_a_fixed_bottom_equal_the_hand_arithmetic() -> None:
    for row in worked("moves after recut, bottom fixed"):
        moves = moves_after_recut(
            top_removed_nm=inch(row["top_in"]), bottom_removed_nm=inch(row["bottom_in"]),
            bottom_adjustable=False,
        )  # fmt: skip
        assert moves.pass_line_nm == -inch(row["pass_line_in"])
        assert moves.centres_nm == moves.top_shaft_nm == -inch(row["centre_in"])
        assert moves.reset is (row["pass_line_in"] != "0.000")


def test_an_adjustable_bottom_keeps_the_pass_line() -> None:
    moves = moves_after_recut(
        top_removed_nm=400, bottom_removed_nm=600, bottom_adjustable=True, screw_lead_nm=1_000
    )
    assert (moves.pass_line_nm, moves.bottom_shaft_nm, moves.top_shaft_nm) == (0, 300, -200)
    assert (moves.bottom_turns, moves.top_turns, moves.reset) == (0.3, -0.2, False)


def test_without_a_lead_no_turns_are_told() -> None:
    moves = moves_after_recut(top_removed_nm=4, bottom_removed_nm=6, bottom_adjustable=False)
    assert (moves.top_turns, moves.bottom_turns) == (None, None)


@given(diameters, diameters, cuts, cuts, cuts, st.booleans())
def test_after_the_moves_the_gap_is_what_it_was(
    top: Any, bottom: Any, cut_top: Any, cut_bottom: Any, gap: Any, adjustable: Any
) -> None:
    before = shaft_centres(top_nm=top + cut_top, bottom_nm=bottom + cut_bottom, gap_nm=gap).centres
    moves = moves_after_recut(
        top_removed_nm=cut_top, bottom_removed_nm=cut_bottom, bottom_adjustable=adjustable
    )
    after = before + moves.top_shaft_nm - moves.bottom_shaft_nm
    assert after == before + moves.centres_nm
    assert after == shaft_centres(top_nm=top, bottom_nm=bottom, gap_nm=gap).centres


@given(cuts, cuts, st.booleans())
def test_the_strip_stays_on_the_bottom_roll(cut_top: Any, cut_bottom: Any, adjustable: Any) -> None:
    moves = moves_after_recut(
        top_removed_nm=cut_top, bottom_removed_nm=cut_bottom, bottom_adjustable=adjustable
    )
    assert moves.pass_line_nm == moves.bottom_shaft_nm - Fraction(cut_bottom, 2)


def test_a_recut_adds_nothing_and_a_screw_has_a_lead() -> None:
    with pytest.raises(ValueError, match="does not add"):
        moves_after_recut(top_removed_nm=-1, bottom_removed_nm=0, bottom_adjustable=True)
    with pytest.raises(ValueError, match="lead"):
        moves_after_recut(
            top_removed_nm=1, bottom_removed_nm=0, bottom_adjustable=True, screw_lead_nm=0
        )
    with pytest.raises(ValueError, match="diameters"):
        shaft_centres(top_nm=0, bottom_nm=1, gap_nm=1)


def test_tilt_is_what_the_two_ends_differ_over_their_span() -> None:
    """By hand: 1.26 − 1.20 − 0 = 0.06 mm over 150 mm is 0.04 mm per 100 mm."""
    found = tilt(inboard_nm=1_200_000, outboard_nm=1_260_000, span_nm=150_000_000)
    assert found.slope == Fraction(4, 10_000)
    assert (found.per_100, found.is_beyond, found.wider) == (0.04, True, "outboard")


def test_tilt_leaves_out_what_the_diameters_explain() -> None:
    """By hand: cones 0.10 mm less on both rolls outboard open that end by 0.10 mm, level."""
    by_diameters = known_difference(
        inboard_diameters_nm=(160_000_000, 150_000_000),
        outboard_diameters_nm=(159_900_000, 149_900_000),
    )
    assert by_diameters == 100_000
    ends = {"inboard_nm": 1_200_000, "span_nm": 200_000_000, "known_difference_nm": by_diameters}
    level = tilt(outboard_nm=1_300_000, **ends)  # type: ignore[arg-type]
    assert (level.slope, level.is_beyond, level.wider) == (0, False, "")
    closed = tilt(outboard_nm=1_230_000, **ends)  # type: ignore[arg-type]
    assert (closed.per_100, closed.is_beyond, closed.wider) == (-0.035, True, "inboard")


def test_tilt_at_the_limit_is_not_beyond_it() -> None:
    at_limit = tilt(inboard_nm=1_000_000, outboard_nm=1_030_000, span_nm=100_000_000)
    assert not at_limit.is_beyond
    assert tilt(inboard_nm=1_000_000, outboard_nm=1_030_001, span_nm=100_000_000).is_beyond


@given(st.integers(0, 10**8), st.integers(0, 10**8), st.integers(1, 10**9), cuts)
def test_the_step_of_a_tilt_recomputes_and_swapping_ends_turns_the_sign(
    inboard: int, outboard: int, span: int, known: int
) -> None:
    one = tilt(inboard_nm=inboard, outboard_nm=outboard, span_nm=span, known_difference_nm=known)
    other = tilt(inboard_nm=outboard, outboard_nm=inboard, span_nm=span, known_difference_nm=-known)
    assert one.slope == -other.slope
    told = one.step.inputs
    again = told["outboard_nm"] - told["inboard_nm"] - told["known_difference_nm"]  # type: ignore[operator]
    assert one.step.value == pytest.approx(100 * again / told["span_nm"], abs=1e-12)


@pytest.mark.parametrize(("inboard", "span"), [(-1, 100), (1, 0), (1, -5)])
def test_a_tilt_needs_two_points_and_open_gaps(inboard: int, span: int) -> None:
    with pytest.raises(ValueError, match="ends are apart"):
        tilt(inboard_nm=inboard, outboard_nm=1, span_nm=span)
