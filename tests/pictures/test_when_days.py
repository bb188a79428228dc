"""Sets by day: bars where their days are, within what is shown."""

from __future__ import annotations

import re

import pytest

from tooling.pictures.svg import PX_PER_MM, paint_svg
from tooling.pictures.when_days import Bar, DayRow, length_mm, shortened, when_chart

pytestmark = pytest.mark.one_database
TODAY = 1_000


def painted(*rows: DayRow) -> str:
    return paint_svg(when_chart(rows, today=TODAY, say=str), key="w")


def test_bars_begin_and_end_on_their_days() -> None:
    svg = painted(DayRow("1472-A", (Bar(TODAY + 3, TODAY + 4, "job", "job J1"),
                                    Bar(TODAY + 10, TODAY + 13, "window", "send"))))  # fmt: skip
    (job,) = re.findall(r'class="when-job"', svg)
    xs = [float(x) for x in re.findall(r'<rect x="([\d.]+)"', svg)]
    widths = [float(w) for w in re.findall(r'<rect [^>]*width="([\d.]+)"', svg)]
    a_day = widths[0] / 2
    assert job
    assert xs[1] - xs[0] == pytest.approx(7 * a_day, abs=0.1)
    assert widths[1] == pytest.approx(4 * a_day, abs=0.1)


def test_what_is_over_or_far_is_cut_off() -> None:
    svg = painted(DayRow("A", (Bar(TODAY - 9, TODAY - 2, "job", "over"),
                               Bar(TODAY - 2, TODAY + 1, "crosses", "now"),
                               Bar(TODAY + 900, TODAY + 901, "job", "far"))))  # fmt: skip
    assert re.findall(r'data-bar="(\w+)"', svg) == ["crosses"]
    assert svg.count('class="when-cross"') == 2


@pytest.mark.parametrize("count", [0, 1, 250])
def test_any_number_of_sets(count: int) -> None:
    rows = [DayRow(f"S{n}", (Bar(TODAY, TODAY + n, "job", "x"),)) for n in range(count)]
    assert painted(*rows).count("data-bar=") == count


def test_a_job_is_named_in_its_bar_or_behind_it_or_not_at_all() -> None:
    svg = painted(DayRow("A", (Bar(TODAY, TODAY + 4, "job", "x", "J-1"),
                               Bar(TODAY + 6, TODAY + 7, "crosses", "x", "J-2"),
                               Bar(TODAY + 12, TODAY + 12, "crosses", "x", "J-3"),
                               Bar(TODAY + 13, TODAY + 13, "job", "x", "A long number"),
                               Bar(TODAY + 14, TODAY + 14, "job", "x", "J-5"))))  # fmt: skip
    inside = re.findall(r'class="when-name">([^<]+)<', svg)
    named = re.findall(r"<text [^>]*>(A long number|J-[0-9])<", svg)
    assert inside == ["J-1"]
    assert named == ["J-1", "J-2", "J-5"]


def test_a_long_name_ends_before_its_bars_and_says_the_whole() -> None:
    name = "WIDE-PROFILE-2026-GALVANISED-B"
    svg = painted(DayRow(name, (Bar(TODAY, TODAY + 1, "job", "x"),)), DayRow("1472-A", ()))
    assert f"<title>{name}</title>WIDE-" in svg
    (shown,) = re.findall(r"</title>(WIDE-[^<]*)<", svg)
    bars = [float(x) for x in re.findall(r'<rect x="([\d.]+)"', svg)]
    assert shown.endswith("ED-B"), "its copy is told"
    assert (1 + length_mm(shown)) * PX_PER_MM <= bars[0]
    assert "<title>1472-A" not in svg


@pytest.mark.parametrize("name", ["", "A", "MMMMMMMMMMMM", "W" * 40, "i" * 30])
def test_any_name_fits(name: str) -> None:
    assert length_mm(shortened(name, 41.0)) <= 41.0
    assert shortened(name, 400.0) == name


def test_few_days_fill_the_width_and_many_go_on() -> None:
    def width(last: int) -> float:
        svg = painted(DayRow("A", (Bar(TODAY, TODAY + last, "job", "x"),)))
        return float(re.findall(r'<svg[^>]* width="([\d.]+)"', svg)[0])

    assert width(5) == width(60) < width(150)
