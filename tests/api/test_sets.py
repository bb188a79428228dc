"""``sets/``: passes, positions, variants, copies with their pieces, charts."""

from __future__ import annotations

import pytest

from tests.world import MM
from tooling.models import Allotment, SetPosition, ToolSet

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
    # token; by code, by number; set, passes, positions, allotments, variants, copies, charts,
    # where their passes stand
    with django_assert_num_queries(11):
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
