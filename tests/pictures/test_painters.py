"""SVG and PDF paint the same shapes; marks and helpers are what they say."""

from __future__ import annotations

import re
from io import BytesIO
from math import hypot
from pathlib import Path
from xml.etree import ElementTree

import pypdfium2
import pytest
from PIL import Image
from reportlab.pdfgen.canvas import Canvas

from tests.pictures.kits import STATES, large_kit
from tooling.pictures.pdf import PdfPainter
from tooling.pictures.ribbon import draw_station
from tooling.pictures.ribbon_stacks import scale_of
from tooling.pictures.shapes import (
    Drawing,
    Group,
    Line,
    Mark,
    Rect,
    Shape,
    Text,
    circle,
    frame,
    polygon,
)
from tooling.pictures.shapes import Path as PathShape
from tooling.pictures.state_marks import MARKS, STATE_WORDS, TROUBLE, gravest, placed, summarise
from tooling.pictures.svg import paint_svg
from tooling.queries.kit_views import GRAVEST_FIRST
from tooling.queries.kit_views import TROUBLE as KIT_TROUBLE

SPRITE = Path(__file__).parents[2] / "tooling/templates/parts/state_symbols.html"
DPI = 254  # ten dots to the millimetre


def _on_paper(*shapes: Shape, width: float = 40, height: float = 30) -> Image.Image:
    """The shapes painted by the PDF painter at the upper left of a page, ten dots to the mm."""
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(width / 25.4 * 72, height / 25.4 * 72))
    drawing = Drawing(width, height, shapes, "test")
    PdfPainter(canvas).paint(drawing, x=0, y=height / 25.4 * 72)
    canvas.save()
    document = pypdfium2.PdfDocument(buffer.getvalue())
    picture = document[0].render(scale=DPI / 72).to_pil().convert("L")
    document.close()
    return picture


def _dark_box(picture: Image.Image) -> tuple[int, int, int, int]:
    box = picture.point(lambda level: 255 if level < 128 else 0).getbbox()
    assert box is not None
    return box


def test_a_rectangle_lies_where_svg_and_paper_put_it() -> None:
    rect = Rect(5, 7, 20, 10, "ink")
    svg = paint_svg(Drawing(40, 30, (rect,), "test"), key="k", units_per_mm=10)
    assert '<rect x="50" y="70" width="200" height="100" class="ink"/>' in svg
    assert _dark_box(_on_paper(rect)) == pytest.approx((50, 70, 250, 170), abs=1)


@pytest.mark.parametrize("state", STATES)
def test_a_state_mark_on_paper_stays_in_its_square_and_fills_most_of_it(state: str) -> None:
    left, top, right, bottom = _dark_box(_on_paper(Mark(state, 20, 15, 12, "mark")))
    assert 140 <= left <= right <= 260
    assert 90 <= top <= bottom <= 210
    assert max(right - left, bottom - top) >= 85


def test_the_nine_marks_differ_from_one_another() -> None:
    pictures = {_on_paper(Mark(s, 20, 15, 12, "mark")).tobytes() for s in STATES}
    assert len(pictures) == 9


def test_a_ring_is_empty_in_the_middle_and_a_disc_is_not() -> None:
    near_the_middle = (185, 165)
    for full in ("here", "worn"):
        assert _on_paper(Mark(full, 20, 15, 12, "mark")).getpixel(near_the_middle) == 0
    for hollow in ("to_fetch", "does_not_fit", "may_not_last"):
        assert _on_paper(Mark(hollow, 20, 15, 12, "mark")).getpixel(near_the_middle) == 255


def test_every_state_has_a_word_a_mark_and_a_symbol_on_the_page() -> None:
    symbols = set(re.findall(r'<symbol id="state-([a-z_]+)"', SPRITE.read_text()))
    assert symbols == set(STATE_WORDS) == set(MARKS)


def test_pictures_and_pages_agree_which_state_is_graver_and_which_is_trouble() -> None:
    assert tuple(STATE_WORDS) == GRAVEST_FIRST
    assert TROUBLE == KIT_TROUBLE


def test_the_gravest_state_wins() -> None:
    assert gravest(["here", "to_fetch", "worn"]) == "worn"
    assert gravest(["worn", "missing"]) == "missing"
    assert gravest(["here"]) == "here"
    assert gravest([]) == ""


def test_states_are_said_gravest_first() -> None:
    assert summarise(["here", "here", "missing", "to_fetch"]) == "1 missing, 1 to fetch, 2 here"
    assert summarise([]) == "idle"


def test_a_placed_mark_lies_in_its_square() -> None:
    for state in STATES:
        for area in placed(state, 50, 60, 24):
            numbers = [number for _letter, points in area for number in points]
            assert all(38 <= x <= 62 for x in numbers[::2])
            assert all(48 <= y <= 72 for y in numbers[1::2])


def test_the_curves_of_a_circle_pass_at_its_radius() -> None:
    # the middle of a cubic curve is (p0 + 3 p1 + 3 p2 + p3) / 8
    start = (10.0, 0.0)
    for _letter, (x1, y1, x2, y2, x3, y3) in (s for s in circle(0, 0, 10) if s[0] == "C"):
        middle = ((start[0] + 3 * x1 + 3 * x2 + x3) / 8, (start[1] + 3 * y1 + 3 * y2 + y3) / 8)
        assert hypot(*middle) == pytest.approx(10, rel=3e-4)
        start = (x3, y3)


def test_a_frame_too_small_for_an_inside_is_full() -> None:
    assert frame(0, 0, 2, 9, 1) == polygon((0, 0), (2, 0), (2, 9), (0, 9))
    assert len(frame(0, 0, 9, 9, 1)) == 10


def test_a_drawing_has_title_and_description_named_as_its_alternative() -> None:
    drawing = Drawing(10, 10, (), "A & B", "two < three")
    root = ElementTree.fromstring(paint_svg(drawing, key="k"))
    assert root.attrib["aria-labelledby"] == "k-title"
    assert root.attrib["aria-describedby"] == "k-desc"
    assert root.attrib["role"] == "img"
    assert [(e.attrib["id"], e.text) for e in root] == [
        ("k-title", "A & B"), ("k-desc", "two < three"),
    ]  # fmt: skip


def test_text_is_escaped_and_anchored() -> None:
    text = Text(1, 2, "<b>&", 3, "middle", "label")
    svg = paint_svg(Drawing(10, 10, (text,), "t"), key="k", units_per_mm=1)
    assert '<text x="1" y="2" font-size="3" text-anchor="middle" class="label">' in svg
    assert "&lt;b&gt;&amp;</text>" in svg


def test_a_group_without_a_way_on_is_no_link() -> None:
    group = Group((Line(0, 0, 1, 1, "hair"),), "piece", (("code", "x"),))
    svg = paint_svg(Drawing(10, 10, (group,), "t"), key="k")
    assert '<g class="piece" data-code="x"><line' in svg
    assert "<a " not in svg


def test_a_hole_stays_white_on_paper() -> None:
    ring = PathShape(frame(5, 5, 20, 20, 3), "hollow")
    picture = _on_paper(ring)
    assert picture.getpixel((60, 60)) == 0
    assert picture.getpixel((150, 150)) == 255


def test_a_station_prints_as_it_shows() -> None:
    kit = large_kit()
    scale = scale_of(kit)
    drawing = draw_station(kit.stations[0], scale)
    picture = _on_paper(*drawing.shapes, width=drawing.width, height=drawing.height)
    above = picture.crop((0, 0, picture.width, round(scale.cell * 10)))
    below = picture.crop((0, round((drawing.height - scale.cell) * 10), picture.width, 10**4))
    assert above.histogram()[0] > 500
    assert below.histogram()[0] > 500


def test_a_picture_can_be_printed_at_another_width() -> None:
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(40 / 25.4 * 72, 30 / 25.4 * 72))
    drawing = Drawing(10, 10, (Rect(0, 0, 10, 5, "ink"),), "test")
    PdfPainter(canvas).paint(drawing, x=0, y=30 / 25.4 * 72, width_mm=20)
    canvas.save()
    document = pypdfium2.PdfDocument(buffer.getvalue())
    picture = document[0].render(scale=DPI / 72).to_pil().convert("L")
    document.close()
    assert _dark_box(picture) == pytest.approx((0, 0, 200, 100), abs=1)
