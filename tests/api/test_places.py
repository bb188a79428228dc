"""``places/``: the list, one place, making rows of them, editing."""

from __future__ import annotations

import pytest

from tooling.models import Place

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world):
    return world.place("Rack A")


def test_a_place_is_told_with_what_it_is_in(world, rack, api_as, viewer) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack, height_nm=850_000_000)
    told = api_as(viewer).get(f"/api/v1/places/{shelf.code}/").json()
    assert told == {
        "code": shelf.code,
        "name": "Shelf 1",
        "path_name": "Rack A / Shelf 1",
        "kind": "shelf",
        "inside": rack.code,
        "moves": False,
        "walking_order": 0,
        "max_load_kg": None,
        "height_mm": "850",
        "owner": None,
        "is_active": True,
        "moved_at": None,
    }


def test_the_list_is_narrowed(world, rack, api_as, viewer) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    cart = world.place("Cart 7", kind="cart")
    client = api_as(viewer)
    for query, code in (("kind=cart", cart), (f"inside={rack.code}", shelf), ("q=cart", cart)):
        found = client.get(f"/api/v1/places/?{query}").json()["results"]
        assert [row["code"] for row in found] == [code.code], query


def test_a_row_of_pegs_is_made_in_one_go(rack, api_as, attendant) -> None:
    answer = api_as(attendant).post(
        "/api/v1/places/",
        {"name": "Peg 09", "kind": "peg", "inside": rack.code, "count": 3, "walking_order": 5},
        format="json",
    )
    assert answer.status_code == 201
    assert [(row["path_name"], row["walking_order"]) for row in answer.json()] == [
        ("Rack A / Peg 09", 5),
        ("Rack A / Peg 10", 6),
        ("Rack A / Peg 11", 7),
    ]


def test_a_place_is_renamed_with_all_that_is_in_it(world, rack, api_as, attendant) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    client = api_as(attendant)
    answer = client.patch(f"/api/v1/places/{rack.code}/", {"name": "Rack Z"}, format="json")
    assert answer.json()["name"] == "Rack Z"
    told = client.get(f"/api/v1/places/{shelf.code}/").json()
    assert told["path_name"] == "Rack Z / Shelf 1"


def test_a_place_never_goes_inside_itself(world, rack, api_as, attendant) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    answer = api_as(attendant).patch(
        f"/api/v1/places/{rack.code}/", {"inside": shelf.code}, format="json"
    )
    assert (answer.status_code, answer.json()["code"]) == (409, "place_inside_itself")


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"name": "Rack A", "kind": "rack"}, "already_there"),
        ({"name": "A / B", "kind": "rack"}, "slash_in_name"),
        ({"name": "Pegs", "kind": "peg", "count": 3}, "name_without_number"),
        ({"name": "X", "kind": "cupboard"}, "invalid"),
        ({"name": "X", "kind": "rack", "inside": "nowhere"}, "unknown_code"),
        ({"name": "X", "kind": "rack", "height_mm": "-5"}, "negative_length"),
        ({"name": "X", "kind": "rack", "walking_order": -1}, "invalid"),
        ({"kind": "rack"}, "invalid"),
    ],
)
def test_a_bad_place_is_refused(rack, api_as, attendant, sent, code) -> None:
    answer = api_as(attendant).post("/api/v1/places/", sent, format="json")
    assert answer.json()["code"] == code
    assert Place.objects.count() == 1


def test_an_unknown_and_a_wrong_code(world, rack, api_as, viewer) -> None:
    client = api_as(viewer)
    assert client.get(f"/api/v1/places/{world.code('P')}/").json()["code"] == "unknown_code"
    bad = rack.code[:-1] + ("0" if rack.code[-1] != "0" else "1")
    assert client.get(f"/api/v1/places/{bad}/").json()["code"] == "bad_check_character"


@pytest.mark.parametrize("role", ["viewer", "crew"])
def test_who_may_not_make_places(rack, api_as, cast, role) -> None:
    client = api_as(cast[role])
    made = client.post("/api/v1/places/", {"name": "X", "kind": "rack"}, format="json")
    edited = client.patch(f"/api/v1/places/{rack.code}/", {"name": "Y"}, format="json")
    assert (made.status_code, edited.status_code) == (403, 403)


def test_a_filter_that_is_none_is_refused(rack, api_as, viewer) -> None:
    answer = api_as(viewer).get("/api/v1/places/?kind=cupboard")
    assert (answer.status_code, answer.json()["code"]) == (400, "invalid")
