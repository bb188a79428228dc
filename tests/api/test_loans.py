"""Handing out, homes and the walk through the API, with the same codes as the pages."""

from __future__ import annotations

import uuid

import pytest

from tests.services.scanning import put
from tooling.models import Movement, Piece, StockLine

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world):
    return world.place("Rack A", walking_order=3)


@pytest.fixture
def grinder(world):
    return world.place("Grinder West", kind="grinder")


@pytest.fixture
def rolls(world, rack):
    drawing = world.drawing("D1")
    return [world.piece(drawing, rack, mark=f"{n}-T") for n in (1, 2)]


@pytest.fixture
def client(api_as, attendant):
    return api_as(attendant)


def post(client, path, **body):
    return client.post(f"/api/v1/{path}", body, format="json")


def test_a_hand_out_is_listed_changed_and_taken_back(client, world, rack, grinder, rolls) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    act = str(uuid.uuid4())
    things = [{"code": rolls[0].code}, {"code": line.code, "quantity": 4}]
    made = post(client, "loans/", id=act, to=grinder.code, things=things, reason="recut")
    assert made.status_code == 201
    body = made.json()
    assert (body["id"], body["count"], body["reason"], body["place"]) == (
        act, 5, "recut", grinder.code,
    )  # fmt: skip
    first = client.get("/api/v1/loans/").json()[0]
    assert set(first) == {
        "id", "kind", "code", "mark", "drawing", "owner", "quantity", "place", "place_name",
        "place_kind", "on_cart", "since", "due_on", "reason", "by", "is_overdue", "days_over",
        "is_too_long", "wanted", "is_late_for_kit",
    }  # fmt: skip
    later = client.patch(f"/api/v1/loans/{first['id']}/", {"due_on": "2099-01-01"}, format="json")
    assert later.json()["code"] == "improbable_value"
    cleared = client.patch(f"/api/v1/loans/{first['id']}/", {"due_on": None}, format="json")
    assert [loan["due_on"] for loan in cleared.json()] == [None]
    back = post(client, "loans/due/undo/", ids=[first["id"]]).json()
    assert back[0]["due_on"] == first["due_on"]
    assert post(client, f"loans/{act}/undo/").json() == {"count": 2}
    assert client.get("/api/v1/loans/").json() == []
    assert StockLine.objects.get(pk=line.pk).count == 9


def test_the_list_is_narrowed(client, world, grinder, rolls) -> None:
    pat = world.place("Pat", kind="person")
    for roll, place in zip(rolls, (grinder, pat), strict=True):
        post(client, "loans/", to=place.code, things=[{"code": roll.code}])
    listed = client.get("/api/v1/loans/", {"place": pat.code}).json()
    assert [loan["code"] for loan in listed] == [rolls[1].code]
    assert client.get("/api/v1/loans/", {"which": "overdue"}).json() == []


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"things": []}, 400, "nothing_to_hand_out"),
        ({"to": "rack"}, 400, "not_away"),
        ({"to": "NO SUCH"}, 404, "unknown_code"),
        ({"things": [{"code": "NO SUCH"}]}, 404, "unknown_code"),
        ({"due_on": "2020-01-01"}, 400, "due_in_the_past"),
        ({"due_on": "soon"}, 400, "invalid"),
        ({"things": [{"code": "1-T", "quantity": 0}]}, 400, "invalid"),
    ],
)
def test_what_cannot_be_handed_out_is_an_error_and_moves_nothing(
    client, rack, grinder, rolls, body, status, code
) -> None:
    said = {"to": grinder.code, "things": [{"code": "1-T"}], **body}
    if said["to"] == "rack":
        said["to"] = rack.code
    answer = post(client, "loans/", **said)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert not Movement.objects.filter(by__isnull=False).exists()


@pytest.mark.parametrize(
    ("path", "body", "code"),
    [
        ("loans/due/", {"ids": [], "due_on": None}, "nothing_chosen"),
        ("loans/due/", {"ids": [str(uuid.uuid4())], "due_on": None}, "not_out"),
        ("loans/11111111-1111-4111-8111-111111111111/undo/", {}, "unknown_scan"),
        ("homes/undo/", {"act": 7}, "unknown_act"),
    ],
)
def test_what_is_not_there_cannot_be_changed(client, path, body, code) -> None:
    assert post(client, path, **body).json()["code"] == code


def test_a_scan_may_say_its_day_or_none(client, world, rolls) -> None:
    pat = world.place("Pat", kind="person")
    for roll, said in zip(rolls, ({"due_on": None}, {}), strict=True):
        scan = {"id": str(uuid.uuid4()), "happened_at": "2026-11-25T09:00:00Z",
                "to": pat.code, "code": roll.code, **said}  # fmt: skip
        body = {"device": "d", "device_now": "2026-11-25T09:00:00Z", "scans": [scan]}
        assert post(client, "scans/", **body).json()["results"][0]["status"] == "taken"
    days = {loan["code"]: loan["due_on"] for loan in client.get("/api/v1/loans/").json()}
    assert days[rolls[0].code] is None
    assert days[rolls[1].code] is not None


def test_homes_are_said_asked_and_taken_back(client, world, rack, rolls) -> None:
    other, cart = world.place("Rack B"), world.place("Cart 1", kind="cart")
    path = f"/api/v1/pieces/{rolls[0].code}/home/"
    assert client.get(path).json()["why"] == "rested"
    said = client.put(path, {"home": other.code}, format="json").json()
    told = client.get(path).json()
    assert (told["home"], told["why"], told["is_home"]) == (other.code, "own", False)
    assert post(client, "homes/undo/", act=said["act"]).json() == {"count": 1}
    assert post(client, f"places/{rack.code}/homes/").json()["changed"] == 2
    cart_home = f"/api/v1/places/{cart.code}/home/"
    assert client.put(cart_home, {"home": rack.code}, format="json").json()["changed"] == 1
    assert client.get(cart_home).json()["home"] == rack.code
    assert client.put(cart_home, {"home": cart.code}, format="json").json()["code"] == (
        "place_inside_itself"
    )


def test_a_copy_belongs_where_it_lies(client, world, rack, rolls) -> None:
    spots = {(1, "top", 1): rolls[0].drawing, (1, "top", 2): rolls[0].drawing}
    world.copy(world.tool_set("S1", spots), "A", dict(zip(spots, rolls, strict=True)))
    assert post(client, "sets/S1/copies/A/homes/").json()["changed"] == 2
    assert Piece.objects.filter(home=rack).count() == 2


def test_the_walk_is_read_and_done_stop_by_stop(client, world, rack, rolls, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart")
    for roll in rolls:
        put(attendant, at, roll.code, cart.code)
    path = f"places/{cart.code}/put-away/"
    walk = client.get(f"/api/v1/{path}").json()
    assert [(stop["place"], len(stop["lines"])) for stop in walk["stops"]] == [(rack.code, 2)]
    done = post(client, path, stop=rack.code).json()
    assert (done["count"], done["stops"]) == (0, [])
    assert post(client, path, stop=rack.code).json()["code"] == "nothing_for_that_place"
    assert post(client, f"loans/{done['act']}/undo/").json() == {"count": 2}
    assert Piece.objects.filter(place=cart).count() == 2
