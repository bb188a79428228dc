"""Where a label may sit on a roll and where never (common practice, stated beside the data)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.pictures.label_sites import RollSection, draw_label_sites, label_sites
from tooling.pictures.shapes import Line, Rect, Text
from tooling.pictures.svg import paint_svg

MM = 1_000_000
ROLL = RollSection(
    outside_nm=200 * MM, bore_nm=63_500_000, width_nm=70 * MM, seat_nm=100 * MM,
    root_nm=160 * MM, keyway_depth_nm=4 * MM,
)  # fmt: skip


def _allowed(roll: RollSection) -> set[str]:
    return {site.zone for site in label_sites(roll) if site.allowed}


def test_a_label_sits_on_the_free_ring_of_a_face_only() -> None:
    assert _allowed(ROLL) == {"inboard_face", "outboard_face"}


def test_the_free_ring_lies_between_the_neighbours_seat_and_the_contour() -> None:
    # (160 − 100) / 2 = 30 mm
    assert {site.room_nm for site in label_sites(ROLL) if site.allowed} == {30 * MM}


@given(st.booleans(), st.booleans(), st.integers(64, 200), st.integers(64, 200))
def test_clamped_face_bore_and_contour_never_bear_a_label(
    inboard: bool, outboard: bool, seat: int, root: int
) -> None:
    roll = replace(
        ROLL, inboard_ground=inboard, outboard_ground=outboard,
        seat_nm=seat * MM, root_nm=root * MM,
    )  # fmt: skip
    assert not _allowed(roll) & {"seat", "bore", "contour"}


def test_a_face_that_will_be_ground_bears_none() -> None:
    assert _allowed(replace(ROLL, outboard_ground=True)) == {"inboard_face"}
    assert _allowed(replace(ROLL, outboard_ground=True, inboard_ground=True)) == set()


def test_a_ring_too_narrow_sends_the_label_to_the_peg() -> None:
    # (160 − 150) / 2 = 5 mm, less than 6
    narrow = replace(ROLL, seat_nm=150 * MM)
    assert _allowed(narrow) == set()
    reasons = {site.zone: str(site.reason) for site in label_sites(narrow)}
    assert "peg" in reasons["inboard_face"]


def test_where_a_label_may_sit_comes_first() -> None:
    allowed = [site.allowed for site in label_sites(ROLL)]
    assert allowed == sorted(allowed, reverse=True)


@pytest.mark.parametrize(
    "wrong",
    [{"width_nm": 0}, {"bore_nm": 0}, {"seat_nm": 60 * MM}, {"seat_nm": 201 * MM},
     {"root_nm": 60 * MM}, {"root_nm": 201 * MM}, {"keyway_depth_nm": -1}],
)  # fmt: skip
def test_an_impossible_roll_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"lies between|has a width"):
        replace(ROLL, **wrong)


def test_the_picture_says_each_zone_by_shape_and_word() -> None:
    drawing = draw_label_sites(ROLL)
    words = [shape.text for shape in drawing.shapes if isinstance(shape, Text)]
    assert words.count("never a label") == 3
    assert "label here: 30 mm free" in words
    tabs = [s for s in drawing.shapes if isinstance(s, Rect) and s.look == "allowed"]
    crosses = [s for s in drawing.shapes if isinstance(s, Line) and s.look == "forbidden"]
    assert len(tabs) == 3
    assert len(crosses) == 6


def test_a_ground_face_is_crossed_out() -> None:
    drawing = draw_label_sites(replace(ROLL, outboard_ground=True))
    tabs = [s for s in drawing.shapes if isinstance(s, Rect) and s.look == "allowed"]
    assert len(tabs) == 1
    assert "ground" in drawing.description


@given(st.integers(65, 400), st.integers(10, 300))
def test_section_and_words_stay_in_the_picture(outside: int, width: int) -> None:
    roll = RollSection(outside * MM, 63_500_000, width * MM, 64 * MM, (outside + 64) * MM // 2)
    drawing = draw_label_sites(roll)
    for shape in drawing.shapes:
        if isinstance(shape, Line):
            assert all(-1 <= x <= drawing.width for x in (shape.x1, shape.x2))
            assert all(-1 <= y <= drawing.height for y in (shape.y1, shape.y2))
    assert "style" not in paint_svg(drawing, key="k")
