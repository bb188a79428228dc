"""The large shaft can be read: every piece in order, named, to scale, no leader through a text."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.pictures.kits import MM, STATES, drawn_pieces, piece, shaft
from tooling.pictures.ribbon_kit import Hand, RibbonPiece, RibbonShaft, RibbonStation
from tooling.pictures.shaft import draw_shaft
from tooling.pictures.shapes import Drawing, Line, Text
from tooling.pictures.svg import PX_PER_MM, paint_svg

LEVEL = [(60, 100), (6.35, 100), (25, 180), (70, 210)]


def _draw(one: RibbonShaft, drive_side: Hand = "left") -> Drawing:
    return draw_shaft(RibbonStation(7, (one,)), one, drive_side=drive_side)


def _texts(drawing: Drawing) -> list[Text]:
    return [shape for shape in drawing.shapes if isinstance(shape, Text)]


@pytest.mark.parametrize("drive_side", ["left", "right"])
def test_pieces_are_in_proportion_and_begin_at_the_shoulder(drive_side: Hand) -> None:
    drawn = drawn_pieces(paint_svg(_draw(shaft("top", LEVEL), drive_side), key="k"))
    scale = drawn[0].width / int(drawn[0].data["width-nm"])
    for one in drawn:
        assert one.width == pytest.approx(int(one.data["width-nm"]) * scale, abs=0.5)
        assert one.height == pytest.approx(int(one.data["diameter-nm"]) * scale, abs=0.5)
    across = [one.x if drive_side == "left" else -one.x for one in drawn]
    assert across == sorted(across)


def test_each_piece_is_named_and_its_state_said_where_it_is_not_here() -> None:
    pieces = (piece(1, 60, 150), piece(2, 60, 150, "may_not_last"))
    said = [text.text for text in _texts(_draw(RibbonShaft("top", pieces)))]
    assert "1 T1" in said
    assert "2 T2, may not last" in said


def test_the_stack_is_dimensioned_in_the_unit_asked_for() -> None:
    # 60 + 6.35 + 25 + 70 = 161.35 mm = 6.3524 in
    one = shaft("top", LEVEL)
    station = RibbonStation(7, (one,))
    assert "161.35 mm" in [text.text for text in _texts(draw_shaft(station, one, unit="mm"))]
    assert "6.3524 in" in [text.text for text in _texts(draw_shaft(station, one, unit="in"))]


def test_a_total_with_an_unknown_width_is_not_made_up() -> None:
    pieces = (piece(1, 60, 150), RibbonPiece("", "missing", 2, None, 150 * MM))
    said = [text.text for text in _texts(_draw(RibbonShaft("top", pieces)))]
    assert "not known" in said


def test_the_text_alternative_tells_every_piece_from_the_shoulder() -> None:
    drawing = _draw(RibbonShaft("top", (piece(1, 60, 150), piece(2, 25, 150, "missing"))))
    assert drawing.title == "Station 7, top"
    assert drawing.description == (
        "From the shoulder: 1: T1, 60 mm × 150 mm, here; 2: T2, 25 mm × 150 mm, missing."
    )


def test_no_text_is_smaller_than_16_pixels() -> None:
    texts = _texts(_draw(shaft("top", LEVEL, "worn")))
    assert min(text.size * PX_PER_MM for text in texts) >= 15.99


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 200), st.sampled_from(STATES)), min_size=1, max_size=14),
    st.sampled_from(["left", "right"]),
)
def test_no_leader_crosses_the_text_of_another_piece(
    sizes: list[tuple[int, str]], drive_side: Hand
) -> None:
    pieces = tuple(piece(i, width, 150, state) for i, (width, state) in enumerate(sizes, 1))
    drawing = _draw(RibbonShaft("top", pieces), drive_side)
    leaders = [s for s in drawing.shapes if isinstance(s, Line) and s.look == "leader"]
    captions = [t for t in _texts(drawing) if t.text[0].isdigit() and "T" in t.text]
    assert len(leaders) == len(captions) == len(sizes)
    for text in captions:
        end = text.x + 0.5 * text.size * len(text.text)
        for leader in leaders:
            inside = text.x < leader.x1 < end
            assert not (inside and leader.y2 > text.y - 0.5 * text.size)


def test_an_empty_shaft_says_so() -> None:
    drawing = _draw(RibbonShaft("bottom", ()))
    assert drawing.description == "From the shoulder: idle."
    assert "shoulder" in [text.text for text in _texts(drawing)]


@pytest.mark.parametrize("stack", [[(50, 180), (10, 90)], [(60, 100), (200, 100)]])
def test_the_total_never_lies_on_its_own_arrows(stack: list[tuple[float, float]]) -> None:
    """A letter is at most 0.62 em wide, as the captions reckon it."""
    drawing = _draw(shaft("top", stack))
    total = f"{sum(width for width, _d in stack):g} mm"
    (said,) = [text for text in _texts(drawing) if text.text.startswith(total)]
    wide = len(said.text) * said.size * 0.62
    left = said.x - wide / 2 if said.anchor == "middle" else said.x
    lines = [s for s in drawing.shapes if isinstance(s, Line) and s.look == "dimension"]
    level = [line for line in lines if line.y1 == line.y2]
    assert level
    for line in level:
        assert line.x2 <= left + 0.1 or line.x1 >= left + wide - 0.1
