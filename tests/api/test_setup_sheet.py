"""``setups/{number}/chart/``: the numbers of the sheet, as worked out by hand."""

from __future__ import annotations

import pytest

from tests.four_passes import four_passes

pytestmark = pytest.mark.django_db


def test_programs_read_the_numbers_of_the_sheet(world, engineer, viewer, api_as) -> None:
    shop = four_passes(world, engineer)
    told = api_as(viewer).get(f"/api/v1/setups/{shop.kit.number}/chart/").json()
    assert (told["proof"], told["last"]["strip_mm"], told["mill"]) == ("unproved", "1.5", "M1")
    assert [each["station"] for each in told["stations"]] == [1, 2, 3, 4, 5, 6]
    one, two, idle, three, four, _end = told["stations"]
    assert [each["mark"] for each in one["top"]] == ["m 1-T1"]
    assert one["top"][0]["drive_diameter_mm"] == "159.4"
    assert (one["gap"]["target_mm"], one["gap"]["centres_mm"]) == ("1.25", "155.55")
    assert (one["gap"]["go_mm"], one["gap"]["no_go_mm"]) == (["0.15", "1"], ["0.35", "1"])
    assert {step["what"] for step in one["gap"]["how"]} >= {"vertical shaft centres"}
    assert (one["moves"]["top_mm"], one["moves"]["reset"]) == ("-0.7", True)
    screw = next(each for each in one["settings"] if each["name"] == "Top screw")
    assert (screw["target"], screw["last"]["was"], screw["last"]["now"]) == ("6.25", "6.5", "6")
    assert (two["side"][0]["height_mm"], two["side"][0]["tilt_degrees"]) == ("12", 1.5)
    assert (idle["pass_number"], idle["gap"], idle["settings"]) == (None, None, [])
    assert (three["gap"]["check_with"], three["gap"]["go_mm"]) == ("spacers", None)
    struck = four["settings"][0]["last"]
    assert (struck["was"], struck["now"]) == ("1.6", None)
    assert struck["struck"] == ["other_method", "loaded_otherwise"]


def test_no_sheet_of_an_unknown_kit(viewer, api_as) -> None:
    answer = api_as(viewer).get("/api/v1/setups/K0000000/chart/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_kit")
