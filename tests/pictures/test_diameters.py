"""Diameters along the passes: to scale, with words and data for programs."""

from __future__ import annotations

import re

import pytest

from tooling.pictures.diameters import DiameterPoint, diameters_chart
from tooling.pictures.svg import paint_svg

pytestmark = pytest.mark.one_database


def points(count: int) -> list[DiameterPoint]:
    return [
        DiameterPoint(n, 150_000_000 + n * 200_000, 149_000_000 + n * 200_000,
                      150_000_000 + n * 200_000, 150_000_000 + n * 200_000)
        for n in range(1, count + 1)
    ]  # fmt: skip


def painted(count: int) -> str:
    chart = diameters_chart(
        points(count), title="Diameters", say=lambda nm: f"{nm / 1e6:.2f}", grain_nm=10_000
    )
    return paint_svg(chart, key="d")


@pytest.mark.parametrize("count", [0, 1, 4, 40, 250])
def test_any_number_of_passes_has_a_mark_for_every_diameter(count: int) -> None:
    svg = painted(count)
    assert svg.count("data-pass=") == 4 * count
    assert "NaN" not in svg
    assert "style=" not in svg


def test_marks_stand_in_proportion_to_the_diameters() -> None:
    svg = painted(4)
    found = re.findall(
        r'data-series="after bottom" data-nm="(\d+)"><rect x="[\d.]+" y="([\d.]+)"', svg
    )
    (nm, y), (other_nm, other_y) = [(int(a), float(b)) for a, b in (found[0], found[-1])]
    steps = re.findall(r'<line x1="[\d.]+" y1="([\d.]+)"', svg)
    a_grid_line = float(steps[0]) - float(steps[1])
    labels = re.findall(r'text-anchor="end"[^>]*>([\d.]+)<', svg)
    a_step_nm = (float(labels[1]) - float(labels[0])) * 1e6
    assert y - other_y == pytest.approx((other_nm - nm) / a_step_nm * a_grid_line, abs=0.5)


def test_the_words_say_what_changes() -> None:
    assert "pass 1 top: 150.20 becomes 149.20" in painted(1)
    calm = diameters_chart([DiameterPoint(1, 5, 5)], title="t", say=str, grain_nm=1)
    assert calm.description == "No diameter changes."
