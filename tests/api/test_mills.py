"""``mills/``: machines with stations and shafts."""

from __future__ import annotations

import pytest

from tooling.models import Mill

pytestmark = pytest.mark.django_db
NEW = {
    "number": "M7",
    "name": "Mill 7",
    "unit": "in",
    "datum": "centreline",
    "hand": "right",
    "operator_side": "left",
    "closing": "nut",
    "closing_least_mm": "-0.1",
    "closing_most_mm": "0.4",
    "stations": 3,
    "diameter_in": "2.5",
    "roll_space_in": "12",
    "vertical_least_in": "5",
    "vertical_most_in": "9",
}


@pytest.fixture
def mill(world):
    return world.mill("M1", stations=2)


def test_a_mill_is_told_with_stations_and_shafts(mill, api_as, viewer) -> None:
    told = api_as(viewer).get("/api/v1/mills/M1/").json()
    assert (told["number"], told["datum"], told["hand"]) == ("M1", "shoulder", "left")
    assert [station["number"] for station in told["stations"]] == [1, 2]
    station = told["stations"][0]
    assert (station["vertical_least_mm"], station["gear_ratio"]) == ("140", "1.000000")
    assert [(shaft["which"], shaft["diameter_mm"]) for shaft in station["shafts"]] == [
        ("top", "60"),
        ("bottom", "60"),
    ]


@pytest.mark.parametrize("stations", [1, 8])
def test_a_mill_takes_as_many_queries_however_long_it_is(
    world, api_as, viewer, django_assert_num_queries, stations
) -> None:
    world.mill("M2", stations=stations)
    client = api_as(viewer)
    with django_assert_num_queries(7):  # token, roles; which; mill, groups, stations, shafts
        client.get("/api/v1/mills/M2/")


def test_the_list_leaves_the_stations_out(mill, api_as, viewer) -> None:
    rows = api_as(viewer).get("/api/v1/mills/?is_active=true").json()["results"]
    assert [row["number"] for row in rows] == ["M1"]
    assert "stations" not in rows[0]


def test_a_mill_is_made_with_its_stations_alike(world, api_as, engineer) -> None:
    answer = api_as(engineer).post("/api/v1/mills/", NEW, format="json")
    assert answer.status_code == 201
    told = answer.json()
    # 2.5 in = 63.5 mm, 12 in = 304.8 mm, 5 in = 127 mm
    assert told["closing_least_mm"] == "-0.1"
    assert {
        (each["vertical_least_mm"], shaft["diameter_mm"], shaft["roll_space_mm"])
        for each in told["stations"]
        for shaft in each["shafts"]
    } == {("127", "63.5", "304.8")}


def test_the_whole_machine_one_station_one_shaft_are_edited(mill, api_as, engineer) -> None:
    client = api_as(engineer)
    client.patch("/api/v1/mills/M1/", {"guide_plane_mm": "150"}, format="json")
    client.patch("/api/v1/mills/M1/stations/2/", {"gear_ratio": "1.25"}, format="json")
    told = client.patch(
        "/api/v1/mills/M1/stations/2/top/", {"shoulder_offset_mm": "-0.35"}, format="json"
    ).json()
    station = told["stations"][1]
    assert (told["guide_plane_mm"], station["gear_ratio"]) == ("150", "1.250000")
    assert [shaft["shoulder_offset_mm"] for shaft in station["shafts"]] == ["-0.35", "0"]


def test_a_drive_group_is_saved_and_given_to_a_shaft(mill, api_as, engineer) -> None:
    client = api_as(engineer)
    client.post(
        "/api/v1/mills/M1/drive-groups/", {"name": "fin", "rpm_factor": 1.02}, format="json"
    )
    told = client.patch(
        "/api/v1/mills/M1/stations/1/bottom/", {"drive_group": "fin"}, format="json"
    ).json()
    assert told["drive_groups"] == [{"name": "fin", "rpm_factor": 1.02}]
    assert told["stations"][0]["shafts"][1]["drive_group"] == "fin"


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"number": "m1"}, "already_there"),
        ({"stations": 0}, "invalid"),
        ({"stations": 61}, "invalid"),
        ({"diameter_in": None, "diameter_mm": None}, "invalid"),
        ({"diameter_in": "0"}, "not_positive"),
        ({"roll_space_in": "-1"}, "negative_length"),
        ({"vertical_least_in": "10"}, "window_turned_round"),
        ({"closing_least_mm": "1"}, "window_turned_round"),
        ({"key_width_in": "3"}, "key_as_wide_as_shaft"),
        ({"datum": "left"}, "invalid"),
        ({"diameter_mm": "60"}, "ambiguous_length"),
    ],
)
def test_a_bad_mill_is_refused_whole(mill, api_as, engineer, sent, code) -> None:
    answer = api_as(engineer).post("/api/v1/mills/", {**NEW, **sent}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert Mill.objects.count() == 1


@pytest.mark.parametrize(
    ("path", "code"),
    [
        ("M9/", "unknown_mill"),
        ("M1/stations/9/", "unknown_station"),
        ("M1/stations/1/middle/", "unknown_shaft"),
    ],
)
def test_what_is_not_there_is_said(mill, api_as, engineer, path, code) -> None:
    answer = api_as(engineer).patch(f"/api/v1/mills/{path}", {}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (404, code)


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_who_may_not_change_mills(mill, api_as, cast, role) -> None:
    client = api_as(cast[role])
    assert client.post("/api/v1/mills/", NEW, format="json").status_code == 403
    for path in ("", "stations/1/", "stations/1/top/"):
        answer = client.patch(f"/api/v1/mills/M1/{path}", {}, format="json")
        assert answer.status_code == 403, path
