"""The wear chart: bars as long as what they stand for, nothing outside the picture."""

from __future__ import annotations

import re

import pytest

from tooling.pictures.shapes import Group, Line, Text
from tooling.pictures.svg import paint_svg
from tooling.pictures.wear_chart import NARROW, SMALL, WIDE, Spot, WearChart, wear_chart

pytestmark = pytest.mark.one_database
LINE = ((0.0, 178.0), (800.0, 177.6))
SPOTS = (Spot(200.0, 177.905, 0.009), Spot(400.0, 177.8, 0.009), Spot(600.0, 177.68, 0.009, True))


def chart(**changed: object) -> WearChart:
    told = {
        "title": "root", "description": "three readings", "value_label": "root, mm",
        "strip_label": "km", "limit_label": "limit", "off_label": "off the line, mm",
        "spots": SPOTS, "line": LINE, "limit": 177.5,
        "band": ((800.0, 177.59, 177.6, 177.61), (1000.0, 177.45, 177.5, 177.55)),
        "jobs": ((800.0, 900.0, "J-1"),), "cuts": ((0.0, "cut 1 Jan 2026"),),
    }  # fmt: skip
    return WearChart(**{**told, **changed})  # type: ignore[arg-type]


def spots(made: WearChart, name: str, width: float = WIDE) -> list[Group]:
    shapes = wear_chart(made, width=width).shapes
    return [s for s in shapes if isinstance(s, Group) and s.data and s.data[0][0] == name]


def bar(spot: Group) -> float:
    first = spot.shapes[0]
    assert isinstance(first, Line)
    return abs(first.y2 - first.y1)


def test_each_reading_stands_twice_and_larger_off_the_line() -> None:
    above, below = spots(chart(), "reading"), spots(chart(), "off")
    assert len(above) == len(below) == len(SPOTS)
    assert all(bar(low) > 2 * bar(high) for high, low in zip(above, below, strict=True))
    assert [each.data[0][1] for each in below] == ["0.0050", "0.0000", "-0.0200"]


def test_a_bar_is_as_long_as_its_uncertainty() -> None:
    wide = chart(spots=(Spot(200.0, 177.9, 0.01), Spot(400.0, 177.8, 0.03)))
    one, three = spots(wide, "off")
    assert bar(three) == pytest.approx(3 * bar(one))


def test_what_was_read_before_the_last_cut_is_not_held_against_the_line() -> None:
    past = Spot(0.0, 179.0, 0.009, is_past=True)
    assert len(spots(chart(spots=(past, *SPOTS)), "reading")) == 4
    assert len(spots(chart(spots=(past, *SPOTS)), "off")) == 3


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize("made", [chart(), chart(spots=(), line=(), band=(), limit=None, cuts=())])
def test_everything_lies_within_the_picture(width: float, made: WearChart) -> None:
    drawing = wear_chart(made, width=width)
    texts = [shape for shape in drawing.shapes if isinstance(shape, Text)]
    assert texts
    for text in texts:
        assert 0 <= text.y <= drawing.height
        assert 0 <= text.x <= drawing.width
    strip = [float(t.text) for t in texts if re.fullmatch(r"\d+", t.text) and t.anchor == "middle"]
    apart = (width - 24) / max(1, len(strip))
    assert apart > 3 * SMALL
    assert 'class="wear-chart"' in paint_svg(drawing, key="w")
