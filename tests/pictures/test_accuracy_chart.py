"""The chart of accuracy says in shapes what its table says in figures."""

from __future__ import annotations

import re

import pytest

from tooling.pictures.accuracy_chart import AccuracyPoint, accuracy_chart
from tooling.pictures.shapes import Group, Line, Path, Rect, Text
from tooling.pictures.svg import paint_svg


def marks(shares: list[float]) -> list[Rect]:
    points = [AccuracyPoint(f"M{n}", share, f"{share}") for n, share in enumerate(shares)]
    groups = [shape for shape in accuracy_chart(points).shapes if isinstance(shape, Group)]
    found = [shape.shapes[0] for shape in groups]
    return [shape for shape in found if isinstance(shape, Rect)]


def test_a_month_stands_as_high_as_its_share() -> None:
    full, half, low = marks([1.0, 0.95, 0.9])
    assert full.y < half.y < low.y
    assert half.y - full.y == pytest.approx(low.y - half.y)
    assert full.x < half.x < low.x


def test_the_scale_reaches_down_to_the_worst_month_in_whole_tens() -> None:
    def lowest(shares: list[float]) -> str:
        points = [AccuracyPoint("M", share, "") for share in shares]
        labels = [s.text for s in accuracy_chart(points).shapes if isinstance(s, Text)]
        return [text for text in labels if text.endswith("%")][-1]

    assert lowest([1.0]) == "90 %"
    assert lowest([0.97, 0.69]) == "60 %"
    assert lowest([0.0]) == "0 %"


def test_one_month_has_no_line_and_many_have_few_labels() -> None:
    one = accuracy_chart([AccuracyPoint("M", 1.0, "")])
    assert not [shape for shape in one.shapes if isinstance(shape, Path)]
    many = accuracy_chart([AccuracyPoint(f"M{n}", 1.0, "") for n in range(60)])
    assert len([s for s in many.shapes if isinstance(s, Text) and s.text.startswith("M")]) <= 12
    assert len([shape for shape in many.shapes if isinstance(shape, Line)]) == 6


def test_it_has_a_title_and_a_text_alternative() -> None:
    svg = paint_svg(accuracy_chart([AccuracyPoint("May", 0.98, "May: 98 of 100 found")]), key="a")
    assert re.search(r"<title[^>]*>Share of the expected", svg)
    assert "May: 98 of 100 found" in svg
