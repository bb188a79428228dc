"""Spacers against the rolls opposite, by a drawing made by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tooling.engineering.spacer_clearance import clearances, spans_of
from tooling.engineering.stacks.eligibility import Seat
from tooling.engineering.stacks.specs import Fill, Roll, Shaft

MM = 1_000_000


def shaft(which: str, *widths: tuple[float, float | None], offset: float = 0) -> Shaft:
    """Rolls as (width, guide offset) in mm with a fill at either end; roll space 300."""
    seat = Seat(shaft_nm=60 * MM)
    rolls = [Roll(f"{which}{n}", round(w * MM), None if g is None else round(g * MM))
             for n, (w, g) in enumerate(widths)]  # fmt: skip
    return Shaft(
        which, 300 * MM,  # type: ignore[arg-type]
        (Fill("in", "inboard", seat=seat), *rolls, Fill("out", "outboard", seat=seat)),
        shoulder_offset_nm=round(offset * MM),
    )  # fmt: skip


def limits(one: Shaft, other: Shaft, *outsides: float | None, centres: float = 120) -> object:
    found = clearances(
        one, other, outsides_nm=[None if d is None else round(d * MM) for d in outsides],
        centres=Fraction(round(centres * MM)), guide_plane_nm=150 * MM, window_nm=25_000,
    )  # fmt: skip
    return {name: nm / MM for name, nm in found.items()}


def test_where_things_lie_along_a_shaft() -> None:
    one = shaft("top", (60, 30), (20, None), offset=2)
    assert {name: (a / MM, b / MM) for name, (a, b) in spans_of(one, 150 * MM).items()} == {
        "in": (-148, -30), "roll 0": (-30, 30), "roll 1": (30, 50), "out": (50, 152),
    }  # fmt: skip


def test_a_wider_roll_opposite_limits_the_fills_that_it_reaches_over() -> None:
    """Top 60 wide about the guide plane, bottom 80: 10 over each end. 2 × 120 − 150 = 90."""
    top, bottom = shaft("top", (60, 30)), shaft("bottom", (80, 40))
    assert limits(top, bottom, 150) == {"in": 90, "out": 90}
    assert limits(bottom, top, 170) == {}, "the narrower roll reaches over nothing"


def test_only_the_end_that_is_reached_over_and_the_largest_roll_there_count() -> None:
    top, bottom = shaft("top", (60, 30)), shaft("bottom", (60, 30), (10, None), (10, None))
    assert limits(top, bottom, 120, 140, 160) == {"out": 80}
    assert limits(top, bottom, 120, 140, None) == {"out": 100}


@pytest.mark.parametrize(("wider", "found"), [(0.02, {}), (0.03, {"out": 90})])
def test_what_the_windows_leave_open_is_no_overlap(wider: float, found: object) -> None:
    assert limits(shaft("top", (60, 30)), shaft("bottom", (60 + wider, 30)), 150) == found


def test_a_diameter_that_the_bare_shaft_would_not_clear_stands_elsewhere() -> None:
    assert limits(shaft("top", (60, 30)), shaft("bottom", (80, 40)), 190) == {}
    assert limits(shaft("top", (60, 30)), shaft("bottom", (80, 40)), None) == {}
