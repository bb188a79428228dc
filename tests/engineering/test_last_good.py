"""Old numbers for today's rolls and strip. The figures are worked by hand beside each test."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.engineering.gaps import moves_between, shaft_centres
from tooling.engineering.last_good import Conditions, Screws, Struck, follows, translate

pytestmark = pytest.mark.one_database

THEN = Conditions(
    mill="M1", method="feeler", is_loaded=False, strip_nm=1_500_000,
    top_nm=160_000_000, bottom_nm=150_000_000,
)  # fmt: skip
RECUT = replace(THEN, strip_nm=1_200_000, top_nm=159_400_000, bottom_nm=149_200_000)
"""0.6 mm cut off the top roll, 0.8 mm off the bottom one, strip 0.3 mm thinner."""

sizes = st.integers(10**6, 10**9)
strips = st.integers(10**5, 10**7)


def test_a_gap_follows_the_strip_and_not_the_diameters() -> None:
    """By hand: 1.55 on 1.50 strip keeps its 0.05 over the strip: 1.25 on 1.20."""
    found = translate(1_550_000, follows="gap", then=THEN, now=RECUT)
    assert (found.value_nm, found.by, found.struck, found.reset) == (1_250_000, -300_000, (), False)


def test_a_top_shaft_on_a_mill_with_a_fixed_bottom() -> None:
    """By hand: down (0.6 + 0.8) / 2 = 0.70 for the recut and 0.30 for the strip: 1.00 in all,
    which is half a turn less of a screw with 2 mm lead."""
    fixed = Screws(lead_nm=2_000_000)
    found = translate(12_000_000, follows="top", then=THEN, now=RECUT, screws=fixed)
    assert found.value_nm == 11_000_000
    turns = translate(
        Fraction(13, 2), follows="top", then=THEN, now=RECUT, screws=fixed, in_turns=True
    )
    assert turns.value == 6
    bottom = translate(0, follows="bottom", then=THEN, now=RECUT, screws=fixed)
    assert bottom.value == 0


def test_both_shafts_on_a_mill_with_an_adjustable_bottom() -> None:
    """By hand: bottom up 0.8 / 2 = 0.40; top down 0.6 / 2 = 0.30 and 0.30 for the strip."""
    both = Screws(bottom_adjustable=True)
    top = translate(12_000_000, follows="top", then=THEN, now=RECUT, screws=both)
    bottom = translate(3_000_000, follows="bottom", then=THEN, now=RECUT, screws=both)
    assert (top.value_nm, bottom.value_nm) == (11_400_000, 3_400_000)


def test_what_follows_nothing_stays_and_is_set_again_where_the_pass_line_moved() -> None:
    guide = translate(45, follows="nothing", then=THEN, now=RECUT)
    assert (guide.value, guide.reset) == (45, True)
    kept = translate(45, follows="nothing", then=THEN, now=RECUT, screws=Screws(True))
    assert (kept.value, kept.reset) == (45, False)
    assert not translate(45, follows="nothing", then=THEN, now=THEN).reset


@pytest.mark.parametrize(
    ("what", "changed", "screws", "turns", "why"),
    [
        ("gap", {"mill": "M2"}, Screws(), False, Struck.MILL),
        ("gap", {"method": "plug"}, Screws(), False, Struck.METHOD),
        ("gap", {"is_loaded": True}, Screws(), False, Struck.LOADED),
        ("top", {}, Screws(zero_moved=True), False, Struck.ZERO),
        ("gap", {"strip_nm": None}, Screws(), False, Struck.STRIP),
        ("top", {"bottom_nm": None}, Screws(), False, Struck.DIAMETERS),
        ("top", {}, Screws(), True, Struck.LEAD),
    ],
)
def test_what_no_longer_holds_is_struck_out_with_why(
    what: Any, changed: dict[str, Any], screws: Screws, turns: bool, why: Struck
) -> None:
    now = replace(RECUT, **changed)
    found = translate(7, follows=what, then=THEN, now=now, screws=screws, in_turns=turns)
    assert (found.value, found.value_nm, found.struck) == (None, None, (why,))


def test_a_gap_does_not_care_about_the_zero_of_the_screws_or_unknown_rolls() -> None:
    now = replace(RECUT, top_nm=None)
    assert translate(7, follows="gap", then=THEN, now=now, screws=Screws(zero_moved=True)).value


def test_nothing_said_of_method_and_loading_is_no_difference() -> None:
    now = replace(RECUT, method="", is_loaded=None)
    assert not translate(7, follows="gap", then=THEN, now=now).struck


@pytest.mark.parametrize(
    ("name", "shaft"),
    [("", "gap"), ("Top screw", "top"), ("bottom, outboard", "bottom"), ("guide top", "nothing"),
     ("Topping", "nothing")],
)  # fmt: skip
def test_a_setting_follows_the_shaft_that_it_begins_with(name: str, shaft: str) -> None:
    assert follows(name) == shaft


@given(sizes, sizes, sizes, sizes, strips, strips, st.booleans())
def test_translated_shafts_stand_at_the_centres_of_today(
    top: int, bottom: int, top_now: int, bottom_now: int, strip: int, strip_now: int, both: bool
) -> None:
    """Wherever the shafts stood, their distance changes as the centres do."""
    then = Conditions(mill="M", strip_nm=strip, top_nm=top, bottom_nm=bottom)
    now = Conditions(mill="M", strip_nm=strip_now, top_nm=top_now, bottom_nm=bottom_now)
    screws = Screws(bottom_adjustable=both)
    up = translate(0, follows="top", then=then, now=now, screws=screws).value
    down = translate(0, follows="bottom", then=then, now=now, screws=screws).value
    before = shaft_centres(top_nm=top, bottom_nm=bottom, gap_nm=strip).centres
    after = shaft_centres(top_nm=top_now, bottom_nm=bottom_now, gap_nm=strip_now).centres
    assert up is not None
    assert down is not None
    assert up - down == after - before


@given(sizes, sizes, st.booleans())
def test_going_there_and_back_is_no_move(top: int, bottom: int, both: bool) -> None:
    there = moves_between(top_removed_nm=top, bottom_removed_nm=bottom, bottom_adjustable=both)
    back = moves_between(top_removed_nm=-top, bottom_removed_nm=-bottom, bottom_adjustable=both)
    assert there.top_shaft_nm == -back.top_shaft_nm
    assert there.pass_line_nm == -back.pass_line_nm
