"""``sets/``: passes, positions, variants, copies with their pieces, charts."""

from __future__ import annotations

import pytest

from tests.world import MM
from tooling.models import Allotment, SetPosition, ToolSet
from tooling.services import kits

pytestmark = pytest.mark.django_db


@pytest.fixture
def drawing(world):
    return world.drawing("R-1", bore_nm=60 * MM)


@pytest.fixture
def tool_set(world, drawing):
    return world.tool_set("T-12", {(1, "top", 1): drawing, (1, "bottom", 1): drawing})


@pytest.fixture
def copy(world, tool_set):
    return world.copy(tool_set)


def post(client, path, **sent):
    return client.post(f"/api/v1/sets/{path}", sent, format="json")


def test_a_set_is_told_with_its_positions_and_who_fills_them(
    world, tool_set, copy, drawing, api_as, viewer
) -> None:
    piece = world.piece(drawing, world.place("Rack A"))
    position = SetPosition.objects.get(shaft="top")
    Allotment.objects.create(copy=copy, position=position, piece=piece)
    told = api_as(viewer).get("/api/v1/sets/T-12/").json()
    assert (told["number"], told["code"]) == ("T-12", tool_set.code)
    positions = told["passes"][0]["positions"]
    assert [(each["shaft"], each["drawing"], each["allotted"]) for each in positions] == [
        ("bottom", "R-1", []),
        ("top", "R-1", [{"copy": "A", "piece": piece.code}]),
    ]
    assert [each["letter"] for each in told["copies"]] == ["A"]


@pytest.mark.parametrize("positions", [1, 40])
def test_a_set_takes_as_many_queries_however_large_it_is(
    world, drawing, api_as, viewer, django_assert_num_queries, positions
) -> None:
    tool_set = world.tool_set("T-9", {(1, "top", n): drawing for n in range(1, positions + 1)})
    world.copy(tool_set)
    world.chart(tool_set, world.mill("M1"))
    client = api_as(viewer)
    # token, roles; by code, by number; set, passes, positions, allotments, fills, variants, copies,
    # charts, where their passes stand with their settings, characteristics
    with django_assert_num_queries(15):
        client.get("/api/v1/sets/T-9/")


def test_a_set_answers_to_its_label_code(tool_set, api_as, viewer) -> None:
    assert api_as(viewer).get(f"/api/v1/sets/{tool_set.code}/").json()["number"] == "T-12"


def test_the_list_is_narrowed(world, tool_set, api_as, viewer) -> None:
    world.tool_set("T-99", {})
    rows = api_as(viewer).get("/api/v1/sets/?q=t-1").json()["results"]
    assert [row["number"] for row in rows] == ["T-12"]


def test_a_set_grows_from_number_to_chart(world, drawing, api_as, engineer) -> None:
    client, mill = api_as(engineer), world.mill("M1", stations=3)
    piece = world.piece(drawing, world.place("Rack A"))
    made = post(client, "", number="T-5", name="Gutter", passes=2, thickness_least_mm="0.5",
                thickness_most_mm="0.7")  # fmt: skip
    assert made.status_code == 201
    post(client, "T-5/passes/", number=2, name="fin", gap_point="web")
    post(client, "T-5/variants/", name="wide")
    placed = {"number": 1, "shaft": "top", "order": 1}
    post(client, "T-5/positions/", drawing="R-1", carries_guide_point=True, **placed)
    post(client, "T-5/positions/", drawing="R-1", variant="wide", **placed)
    post(client, "T-5/copies/", letter="b", from_paper_count=48)
    post(client, "T-5/copies/B/allot/", piece=piece.code, **placed)
    post(client, "T-5/charts/", mill="M1", first_station=2)
    told = client.patch(
        "/api/v1/sets/T-5/charts/M1/passes/1/", {"station": 1, "gap_mm": "0.65"}, format="json"
    ).json()
    assert (told["thickness_most_mm"], told["variants"]) == ("0.7", [{"name": "wide"}])
    assert told["copies"] == [{"letter": "B", "home": None, "owner": None, "from_paper_count": 48}]
    positions = told["passes"][0]["positions"]
    assert {each["variant"]: each["allotted"] for each in positions} == {
        None: [{"copy": "B", "piece": piece.code}],
        "wide": [],
    }
    chart = told["charts"][0]
    assert chart["mill"] == mill.number
    assert [(each["number"], each["station"], each["gap_mm"]) for each in chart["passes"]] == [
        (1, 1, "0.65"),
        (2, 3, None),
    ]


def test_an_edit_changes_what_it_names(tool_set, api_as, engineer) -> None:
    told = api_as(engineer).patch(
        "/api/v1/sets/T-12/", {"grades": "DX51D", "customer": "SHOP"}, format="json"
    ).json()  # fmt: skip
    assert (told["grades"], told["customer"], told["name"]) == ("DX51D", "SHOP", "Set T-12")


@pytest.mark.parametrize(
    ("path", "sent", "status", "code"),
    [
        ("", {"number": "t-12", "name": "X"}, 400, "already_there"),
        ("", {"number": "X", "name": "X", "passes": 61}, 400, "invalid"),
        ("", {"number": "X", "name": "X", "thickness_least_mm": "2", "thickness_most_mm": "1"},
         400, "range_turned_round"),
        ("T-12/positions/", {"number": 9, "shaft": "top", "order": 1, "drawing": "R-1"}, 404,
         "unknown_pass"),
        ("T-12/positions/", {"number": 1, "shaft": "left", "order": 1, "drawing": "R-1"}, 400,
         "invalid"),
        ("T-12/positions/", {"number": 1, "shaft": "top", "order": 0, "drawing": "R-1"}, 400,
         "invalid"),
        ("T-12/positions/", {"number": 1, "shaft": "top", "order": 1, "drawing": "R-9"}, 404,
         "unknown_drawing"),
        ("T-12/copies/", {"letter": "A"}, 400, "already_there"),
        ("T-12/copies/Z/allot/", {"number": 1, "shaft": "top", "order": 1, "piece": "nothing"},
         404, "unknown_code"),
        ("T-12/charts/", {"mill": "M9"}, 404, "unknown_mill"),
        ("T-99/passes/", {"number": 1}, 404, "unknown_set"),
    ],
)  # fmt: skip
def test_bad_parts_are_refused(tool_set, copy, api_as, engineer, path, sent, status, code) -> None:
    answer = post(api_as(engineer), path, **sent)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert (ToolSet.objects.count(), SetPosition.objects.count()) == (1, 2)


def test_a_set_too_long_for_the_mill_is_refused(world, api_as, engineer, drawing) -> None:
    world.mill("M1", stations=1)
    world.tool_set("T-2", {(1, "top", 1): drawing, (2, "top", 1): drawing})
    answer = post(api_as(engineer), "T-2/charts/", mill="M1")
    assert (answer.status_code, answer.json()["code"]) == (409, "too_few_stations")


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_who_may_not_change_sets(tool_set, api_as, cast, role) -> None:
    client = api_as(cast[role])
    for path in ("", "T-12/passes/", "T-12/positions/", "T-12/variants/", "T-12/copies/",
                 "T-12/copies/A/allot/", "T-12/charts/"):  # fmt: skip
        assert post(client, path).status_code == 403, path


GAPS = [
    ("T-12/passes/", {"number": 1, "gap_degrees": 91}, 400, "angle_out_of_range"),
    ("T-12/positions/", {"number": 1, "shaft": "top", "order": 1, "drawing": "R-1",
                         "gap_diameter_mm": "0"}, 400, "not_positive"),
    ("T-12/positions/", {"number": 1, "shaft": "side", "order": 1, "drawing": "R-1",
                         "gap_diameter_mm": "150"}, 400, "only_on_a_shaft"),
    ("T-12/fills/", {"number": 1, "shaft": "side", "after_order": 1, "length_mm": "5"}, 400,
     "unknown_shaft"),
    ("T-12/fills/", {"number": 1, "shaft": "top", "after_order": 0, "length_mm": "5"}, 400,
     "absurd_count"),
    ("T-12/fills/", {"number": 1, "shaft": "top", "after_order": 1}, 400, "not_positive"),
    ("T-12/fills/", {"number": 1, "shaft": "top", "after_order": 1, "length_mm": "5",
                     "below_mm": "5"}, 400, "window_beyond_fill"),
    ("T-12/fills/", {"number": 1, "shaft": "top", "after_order": 1, "length_mm": "five"}, 400,
     "not_a_length"),
    ("T-12/characteristics/", {"name": "web", "unit": "°", "nominal": "x"}, 400, "not_a_number"),
    ("T-12/characteristics/", {"name": "web", "unit": "mm", "least": "2", "most": "1"}, 400,
     "window_turned_round"),
    ("T-12/characteristics/", {"name": " ", "unit": "mm"}, 400, "invalid"),
    ("T-12/charts/M1/passes/1/settings/", {"name": "guide", "unit": "mm", "target": "4 bar"}, 400,
     "not_a_length"),
    ("T-12/charts/M1/passes/9/settings/", {"name": "guide", "unit": "mm"}, 404, "unknown_pass"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "sent", "status", "code"), GAPS)
def test_bad_gaps_fills_and_settings_are_refused(
    world, tool_set, api_as, engineer, path, sent, status, code
) -> None:
    world.chart(tool_set, world.mill("M1"))
    answer = post(api_as(engineer), path, **sent)
    assert (answer.status_code, answer.json()["code"]) == (status, code)


BAD_GAPS = [
    ({"gap_mm": "1", "gap_allowance_mm": "0.05"}, "two_targets"),
    ({"gap_mm": "0"}, "gap_not_open"),
    ({"gap_mm": "-0.5"}, "gap_not_open"),
    ({"gap_mm": "101"}, "improbable_value"),
    ({"gap_allowance_in": "-4"}, "improbable_value"),
    ({"gap_method": "eye"}, "unknown_method"),
]


@pytest.mark.parametrize(("sent", "code"), BAD_GAPS)
def test_an_absurd_gap_is_refused(world, tool_set, api_as, engineer, sent, code) -> None:
    world.chart(tool_set, world.mill("M1"))
    path = "/api/v1/sets/T-12/charts/M1/passes/1/"
    answer = api_as(engineer).patch(path, {"station": 1, **sent}, format="json")
    assert answer.json()["code"] == code


def test_gaps_fills_settings_and_characteristics_are_kept_and_taken_out(
    world, tool_set, api_as, engineer
) -> None:
    client, chart = api_as(engineer), world.chart(tool_set, world.mill("M1"))
    chart.state = "proved"
    chart.save()
    post(client, "T-12/passes/", number=1, gap_degrees=30)
    post(client, "T-12/positions/", number=1, shaft="top", order=1, drawing="R-1",
         gap_diameter_mm="150.5")  # fmt: skip
    post(client, "T-12/fills/", number=1, shaft="top", after_order=1, length_in="1/4",
         below_mm="0.025", above_mm="0.025")  # fmt: skip
    post(client, "T-12/characteristics/", name="Web", unit="mm", nominal="100", least="99.6")
    post(client, "T-12/characteristics/", name="Flange", unit="°", nominal="90", most="91")
    base = "/api/v1/sets/T-12/charts/M1/passes/1/"
    post(client, "T-12/charts/M1/passes/1/settings/", name="guide", unit="in", target="1 1/2")
    post(client, "T-12/charts/M1/passes/1/settings/", name="Top screw", unit="turns", target="2,5")
    told = client.patch(
        base,
        {"station": 1, "gap_allowance_mm": "-0.05", "gap_method": "feeler", "gap_is_loaded": True},
        format="json",
    ).json()
    (first,) = told["passes"]
    assert (first["gap_degrees"], first["positions"][1]["gap_diameter_mm"]) == (30.0, "150.5")
    assert first["fills"] == [
        {"shaft": "top", "after_order": 1, "length_mm": "6.35", "below_mm": "0.025",
         "above_mm": "0.025", "outside_most_mm": None}
    ]  # fmt: skip
    assert [(each["name"], each["nominal"], each["least"], each["most"])
            for each in told["characteristics"]] == [
        ("Web", "100", "99.6", None), ("Flange", "90", None, "91"),
    ]  # fmt: skip
    (at,) = told["charts"][0]["passes"]
    assert (at["gap_mm"], at["gap_allowance_mm"], at["gap_method"], at["gap_is_loaded"]) == (
        None, "-0.05", "feeler", True,
    )  # fmt: skip
    assert {each["name"]: (each["target"], each["unit"]) for each in at["axes"]} == {
        "guide": ("1.5", "in"), "Top screw": ("2.5", "turns"),
    }  # fmt: skip
    assert told["charts"][0]["state"] == "unproved"
    for path in ("fills/1/top/1/", "characteristics/web/", "charts/M1/passes/1/settings/GUIDE/"):
        told = client.delete(f"/api/v1/sets/T-12/{path}").json()
    assert (told["passes"][0]["fills"], len(told["characteristics"])) == ([], 1)
    assert [each["name"] for each in told["charts"][0]["passes"][0]["axes"]] == ["Top screw"]
    again = client.delete("/api/v1/sets/T-12/fills/1/top/1/")
    assert (again.status_code, again.json()["code"]) == (404, "unknown_fill")


def test_a_change_of_a_gap_is_told_to_the_kits_on_that_mill(
    world, tool_set, api_as, engineer, at
) -> None:
    mill, other = world.mill("M1"), world.mill("M2")
    world.chart(tool_set, mill)
    here = kits.open_kit(by=engineer, at=at, job=world.job(tool_set, mill))
    there = kits.open_kit(by=engineer, at=at, job=world.job(tool_set, other, number="J2"))
    versions = here.version, there.version
    path = "/api/v1/sets/T-12/charts/M1/passes/1/"
    api_as(engineer).patch(path, {"station": 1, "gap_mm": "1.2"}, format="json")
    here.refresh_from_db()
    there.refresh_from_db()
    assert (here.version, there.version) == (versions[0] + 1, versions[1])
