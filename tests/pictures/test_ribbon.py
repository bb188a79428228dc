"""The pass ribbon says the truth: every piece once, in order, to scale, its state by shape."""

from __future__ import annotations

from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.pictures.kits import MM, STATES, drawn_pieces, large_kit, piece, shaft
from tooling.pictures.ribbon import Ribbon, draw_ribbon
from tooling.pictures.ribbon_kit import (
    Hand,
    RibbonKit,
    RibbonPiece,
    RibbonShaft,
    RibbonStation,
)
from tooling.pictures.ribbon_stacks import scale_of
from tooling.pictures.svg import PX_PER_MM

LEVEL = [(60, 100), (6.35, 100), (25, 180), (70, 210)]


def _one(*shafts: RibbonShaft, entry: Hand = "left", drive_side: Hand = "left") -> str:
    kit = RibbonKit((RibbonStation(7, shafts),), entry, drive_side)
    return draw_ribbon(kit).columns[0].svg


def _whole(ribbon: Ribbon) -> str:
    return "".join(column.svg for column in ribbon.columns)


@pytest.mark.parametrize("drive_side", ["left", "right"])
def test_every_position_is_drawn_once_in_the_order_of_the_list(drive_side: Hand) -> None:
    kit = large_kit(drive_side=drive_side)
    wanted = [
        (str(station.station), shaft.shaft, str(piece.order), piece.code, piece.state)
        for station in kit.stations
        for shaft in station.shafts
        for piece in shaft.pieces
    ]
    drawn = [
        (d["station"], d["shaft"], d["order"], d["code"], d["state"])
        for d in (one.data for one in drawn_pieces(_whole(draw_ribbon(kit))))
    ]
    assert len(wanted) >= 250
    assert drawn == wanted


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 300), st.integers(40, 400), st.sampled_from(STATES)),
        min_size=1, max_size=14,
    )
)  # fmt: skip
def test_widths_and_diameters_of_a_shaft_are_in_proportion_within_half_a_pixel(
    sizes: list[tuple[int, int, str]],
) -> None:
    pieces = tuple(piece(i, w, d, state) for i, (w, d, state) in enumerate(sizes, start=1))
    shaft = RibbonShaft("top", pieces)
    scale = scale_of(RibbonKit((RibbonStation(7, (shaft,)),))).per_nm * PX_PER_MM
    for one in drawn_pieces(_one(shaft)):
        assert one.width == pytest.approx(int(one.data["width-nm"]) * scale, abs=0.5)
        assert one.height == pytest.approx(int(one.data["diameter-nm"]) * scale, abs=0.5)


def test_the_whole_kit_has_one_scale() -> None:
    drawn = [d for d in drawn_pieces(_whole(draw_ribbon(large_kit()))) if d.data["shaft"] != "side"]
    scales = [one.height / int(one.data["diameter-nm"]) for one in drawn]
    assert max(scales) == pytest.approx(min(scales), rel=0.01)


def test_the_stack_begins_at_the_shoulder_on_the_drive_side() -> None:
    left = drawn_pieces(_one(shaft("top", LEVEL), drive_side="left"))
    right = drawn_pieces(_one(shaft("top", LEVEL), drive_side="right"))
    assert [one.x for one in left] == sorted(one.x for one in left)
    assert [one.x for one in right] == sorted((one.x for one in right), reverse=True)


@pytest.mark.parametrize("drive_side", ["left", "right"])
def test_neighbours_on_a_shaft_touch_and_share_the_axis(drive_side: Hand) -> None:
    drawn = sorted(
        drawn_pieces(_one(shaft("bottom", LEVEL), drive_side=drive_side)), key=lambda d: d.x
    )
    for one, other in pairwise(drawn):
        assert one.x + one.width == pytest.approx(other.x, abs=0.05)
        assert one.y + one.height / 2 == pytest.approx(other.y + other.height / 2, abs=0.05)


def test_the_top_stands_above_the_strip_and_the_bottom_below() -> None:
    drawn = drawn_pieces(_one(shaft("top", LEVEL), shaft("bottom", LEVEL)))
    tops = [one for one in drawn if one.data["shaft"] == "top"]
    bottoms = [one for one in drawn if one.data["shaft"] == "bottom"]
    assert max(one.y + one.height for one in tops) < min(one.y for one in bottoms)


def test_side_rolls_stand_upright_on_both_edges_beside_the_shafts() -> None:
    sides = RibbonShaft("side", (piece(1, 30, 90), piece(2, 30, 90)))
    drawn = drawn_pieces(_one(shaft("top", LEVEL), sides))
    first, second = (one for one in drawn if one.data["shaft"] == "side")
    # upright: what is drawn across is the diameter, three times the width here
    assert first.width / first.height == pytest.approx(3, rel=0.02)
    assert first.x + first.width < second.x
    assert first.x > max(one.x + one.width for one in drawn if one.data["shaft"] == "top")


def test_a_side_roll_stands_on_the_side_that_it_names() -> None:
    def x_of(side: str, drive_side: Hand) -> float:
        pieces = (RibbonPiece("D0000001", "here", 1, 30 * MM, 90 * MM, side=side),)  # type: ignore[arg-type]
        return drawn_pieces(_one(RibbonShaft("side", pieces), drive_side=drive_side))[0].x

    assert x_of("drive", "left") == x_of("operator", "right")
    assert x_of("operator", "left") == x_of("drive", "right") > x_of("drive", "left")


@pytest.mark.parametrize("entry", ["left", "right"])
def test_columns_come_as_the_strip_meets_them_and_say_where_it_enters(entry: Hand) -> None:
    ribbon = draw_ribbon(large_kit(entry))
    assert [column.station for column in ribbon.columns] == list(range(1, 25))
    assert ribbon.entry == entry


def test_side_rolls_stand_downstream_of_their_station() -> None:
    sides = RibbonShaft("side", (piece(1, 30, 90), piece(2, 30, 90)))

    def middles(entry: Hand) -> tuple[float, float]:
        drawn = drawn_pieces(_one(shaft("top", LEVEL), sides, entry=entry))
        tops = [one.x for one in drawn if one.data["shaft"] == "top"]
        side = [one.x for one in drawn if one.data["shaft"] == "side"]
        return sum(tops) / len(tops), sum(side) / len(side)

    top, side = middles("left")
    assert side > top
    top, side = middles("right")
    assert side < top


def _width(svg: str) -> float:
    return float(ElementTree.fromstring(svg).attrib["width"])


def test_columns_are_56_pixels_or_wider_and_idle_ones_narrow() -> None:
    for column in draw_ribbon(large_kit()).columns:
        assert (_width(column.svg) >= 56) != column.is_idle
        assert (_width(column.svg) <= 32) == column.is_idle


@pytest.mark.parametrize("state", STATES)
def test_a_thick_piece_bears_the_mark_of_its_state(state: str) -> None:
    (drawn,) = drawn_pieces(_one(RibbonShaft("top", (piece(1, 100, 150, state),))))
    assert f'href="#state-{state}"' in drawn.inside


def test_a_thin_piece_that_is_not_here_is_marked_beside_the_stack() -> None:
    pieces = (piece(1, 150, 150), piece(2, 3, 150, "missing"), piece(3, 150, 150))
    svg = _one(RibbonShaft("top", pieces))
    assert svg.count('href="#state-missing"') == 1
    assert all("#state-missing" not in one.inside for one in drawn_pieces(svg))


def test_where_marks_beside_the_stack_would_meet_the_gravest_is_shown() -> None:
    thin = tuple(piece(i, 2, 150, s) for i, s in enumerate(("to_fetch", "missing", "worn"), 1))
    svg = _one(RibbonShaft("top", (*thin, piece(4, 290, 150))))
    assert "#state-missing" in svg
    assert "#state-worn" not in svg


def test_a_station_shows_the_gravest_state_of_its_pieces_in_a_word() -> None:
    pieces = (piece(1, 50, 150), piece(2, 50, 150, "to_fetch"), piece(3, 50, 150, "missing"))
    kit = RibbonKit(
        (
            RibbonStation(1, (RibbonShaft("top", pieces),)),
            RibbonStation(2, (shaft("top", LEVEL),)),
            RibbonStation(3),
        )
    )
    first, second, third = draw_ribbon(kit).columns
    assert (first.state, first.word, first.is_trouble) == ("missing", "missing", True)
    assert first.summary == "1 missing, 1 to fetch, 1 here"
    assert (second.state, second.is_trouble) == ("here", False)
    assert (third.state, third.word, third.is_idle) == ("", "idle", True)
    assert [column.station for column in draw_ribbon(kit).troubles] == [1]


def test_what_is_only_to_be_fetched_is_no_trouble() -> None:
    kit = RibbonKit((RibbonStation(1, (shaft("top", LEVEL, "to_fetch"),)),))
    assert draw_ribbon(kit).troubles == ()


def test_each_cell_leads_on_and_says_in_words_what_it_holds() -> None:
    svg = _one(shaft("top", LEVEL), shaft("bottom", LEVEL, "missing"))
    root = ElementTree.fromstring(svg)
    links = root.findall(".//{*}a")
    assert [link.attrib["href"] for link in links] == ["?shaft=top", "?shaft=bottom"]
    assert links[1].attrib["aria-label"] == "Station 7, bottom: 4 missing"
    hits = [link.find("{*}rect[@class='hit']") for link in links]
    assert all(hit is not None and float(hit.attrib["height"]) >= 72 for hit in hits)


def test_an_unknown_size_is_drawn_and_its_data_left_empty() -> None:
    pieces = (RibbonPiece("", "missing", 1, None, None), piece(2, 50, 150))
    first, second = drawn_pieces(_one(RibbonShaft("top", pieces)))
    assert (first.data["width-nm"], first.data["diameter-nm"]) == ("", "")
    # drawn as 20 mm wide
    assert first.width / second.width == pytest.approx(20 / 50, rel=0.02)


@pytest.mark.parametrize(("width", "diameter"), [(0, 1), (1, 0), (-1, 1)])
def test_a_size_that_is_not_positive_is_refused(width: int, diameter: int) -> None:
    with pytest.raises(ValueError, match="more than nothing"):
        RibbonPiece("", "here", 1, width, diameter)


def test_an_unknown_state_is_refused() -> None:
    with pytest.raises(ValueError, match="nine states"):
        RibbonPiece("", "lost", 1, 1, 1)


def test_a_kit_without_stations_has_no_columns() -> None:
    assert draw_ribbon(RibbonKit(())).columns == ()


def test_nothing_in_the_ribbon_breaks_a_strict_content_policy() -> None:
    svg = _whole(draw_ribbon(large_kit()))
    assert "style=" not in svg
    assert "<script" not in svg
    assert 'fill="' not in svg
    assert svg.count('class="piece') == svg.count("data-code=")


def test_what_a_piece_is_called_cannot_break_out_of_the_picture() -> None:
    pieces = (RibbonPiece('"><script>', "here", 1, 50 * MM, 150 * MM),)
    svg = _one(RibbonShaft("top", pieces, '"onload="x'))
    assert "<script" not in svg
    assert ElementTree.fromstring(svg).find(".//{*}a").attrib["href"] == '"onload="x'  # type: ignore[union-attr]
