"""Which mills a set fits, from what is kept of the set, its pieces and the mills."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM, World
from tooling.errors import Unknown
from tooling.models import Mill, MillShaft, Piece, SetPass, SetPosition, ToolSet
from tooling.queries.mill_fit import fit_page, mills_for_set

ROLL = {
    "bore_nm": 60 * MM,
    "keyway_width_nm": 18 * MM,
    "keyway_depth_nm": 4_400_000,
    "face_width_nm": 90 * MM,
    "drive_diameter_nm": 150 * MM,
    "outside_diameter_nm": 170 * MM,
}


@pytest.fixture
def tool_set(world: World) -> ToolSet:
    """A set of two passes with one copy, and a mill of four stations, shafts of 60 mm."""
    roll = world.drawing("1472-01-T1", **ROLL)
    rack = world.place("Rack A")
    places = [(n, shaft, 1) for n in (1, 2) for shaft in ("top", "bottom")]
    tool_set = world.tool_set(
        "1472",
        dict.fromkeys(places, roll),
        thickness_least_nm=MM,
        thickness_most_nm=2 * MM,
        grades="S250GD",
    )
    world.copy(tool_set, "A", {place: world.piece(roll, rack) for place in places})
    mill = world.mill("M1", stations=4, guide_plane_nm=150 * MM, base_clearance_nm=190 * MM)
    mill.stations.update(stand_clearance_nm=150 * MM)
    MillShaft.objects.update(key_height_nm=4 * MM, shoulder_measured_on="2026-01-10")
    return tool_set


def codes(level: str) -> set[str]:
    return {line.code for line in fit_page("1472", "M1").lines if line.level == level}


def test_a_set_that_goes_on_the_mill_has_nothing_that_does_not(tool_set: ToolSet) -> None:
    assert [row.level in ("ok", "warn") for row in mills_for_set("1472")] == [True]
    assert codes("no") == set()
    assert "bore_fits" in codes("ok")


def test_a_thicker_shaft_is_a_plain_impossibility(tool_set: ToolSet) -> None:
    MillShaft.objects.filter(station__number=1, which="top").update(diameter_nm=63_500_000)
    page = fit_page("1472", "M1")
    assert [line.code for line in page.refused] == ["bore_smaller_than_shaft"]
    assert page.refused[0].is_refused
    assert (page.lines[0].level, page.level) == ("no", "no")
    assert mills_for_set("1472")[0].impossible == 1


def test_a_thin_shaft_needs_a_sleeve_and_names_the_one_that_fits(
    tool_set: ToolSet, world: World
) -> None:
    MillShaft.objects.update(diameter_nm=50 * MM)
    assert "bore_needs_sleeve" in codes("no")
    world.drawing("SL 50-60", kind="sleeve", bore_nm=50 * MM, outside_diameter_nm=60 * MM)
    said = [line.said for line in fit_page("1472", "M1").lines]
    assert any("with sleeve SL 50-60" in sentence for sentence in said)


def test_what_a_piece_measures_now_counts_more_than_its_drawing(tool_set: ToolSet) -> None:
    Piece.objects.filter(allotments__position__shaft="top").update(now_bore_nm=59 * MM)
    assert codes("no") == {"bore_smaller_than_shaft"}


def test_a_set_of_more_passes_than_stations_does_not_fit(tool_set: ToolSet, world: World) -> None:
    world.mill("M0", stations=1)
    rows = {row.mill_number: row.level for row in mills_for_set("1472")}
    assert rows["M0"] == "no"


def test_the_chart_says_where_the_passes_stand(tool_set: ToolSet, world: World) -> None:
    mill = Mill.objects.get(number="M1")
    world.chart(tool_set, mill, first_station=3)
    stations = {line.station for line in fit_page("1472", "M1").lines if line.station}
    assert stations == {3, 4}


def test_lengths_are_said_in_the_readers_unit(tool_set: ToolSet) -> None:
    said = " ".join(line.said for line in fit_page("1472", "M1", unit="in").lines)
    assert "2.3622 in" in said
    assert " mm" not in said


def test_what_is_not_there_is_said(tool_set: ToolSet) -> None:
    for number, mill, code in (("none", "M1", "unknown_set"), ("1472", "none", "unknown_mill")):
        with pytest.raises(Unknown, match=code):
            fit_page(number, mill)


@pytest.mark.parametrize("mills", [0, 1, 25])
def test_more_mills_ask_no_more_queries(mills: int, tool_set: ToolSet, world: World) -> None:
    for n in range(mills):
        world.mill(f"X{n}", stations=1)
    with CaptureQueriesContext(connection) as captured:
        mills_for_set("1472")
    assert len(captured) == 11


def centres(number: int) -> tuple[str, ...]:
    said = [line.said for line in fit_page("1472", "M1").lines if line.pass_number == number]
    return tuple(each for each in said if each.startswith("Centres"))


def test_centres_are_those_at_the_gap_point_less_what_was_cut_off(tool_set: ToolSet) -> None:
    """By hand: (160 + 156) / 2 + 2 = 160 mm; with 1 mm off the top roll's drive 159.5 mm. The
    pass that keeps none takes the drive diameters: (150 + 150) / 2 + 2 = 152 mm."""
    kept = SetPosition.objects.filter(set_pass__tool_set=tool_set, set_pass__number=1)
    kept.filter(shaft="top").update(gap_diameter_nm=160 * MM)
    kept.filter(shaft="bottom").update(gap_diameter_nm=156 * MM)
    assert centres(1)[0].startswith("Centres of 160 mm")
    assert centres(2)[0].startswith("Centres of 152 mm")
    rolls = Piece.objects.filter(allotments__position__in=kept.filter(shaft="top"))
    rolls.update(now_drive_diameter_nm=149 * MM)
    assert centres(1)[0].startswith("Centres of 159.5 mm")


def test_a_near_vertical_face_asks_for_no_centres(tool_set: ToolSet) -> None:
    SetPass.objects.filter(tool_set=tool_set, number=1).update(gap_degrees=85)
    assert centres(1) == ()
    assert len(centres(2)) == 1
