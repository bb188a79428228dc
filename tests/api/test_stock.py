"""``stock/``: bins, their counts, and what changes them."""

from __future__ import annotations

import pytest

from tests.world import MM
from tooling.models import Movement, StockLine

pytestmark = pytest.mark.django_db


@pytest.fixture
def spacer(world):
    return world.drawing("SP-10", kind="spacer", bore_nm=60 * MM, face_width_nm=10 * MM)


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def line(world, spacer, rack):
    return world.stock(spacer, rack, 12, least_count=4)


def change(client, line, **sent):
    return client.post(f"/api/v1/stock/{line.code}/change/", sent, format="json")


def test_a_bin_is_told_with_its_drawn_size(line, rack, api_as, viewer) -> None:
    told = api_as(viewer).get(f"/api/v1/stock/{line.code}/").json()
    expected = {"code": line.code, "drawing": "SP-10", "kind": "spacer", "place": rack.code,
                "owner": "SHOP", "count": 12, "least_count": 4, "bore_mm": "60",
                "face_width_mm": "10"}  # fmt: skip
    assert {name: told[name] for name in expected} == expected


def test_the_list_is_narrowed(world, line, rack, api_as, viewer) -> None:
    other = world.stock(world.drawing("SH-1", kind="shim"), rack, 1, least_count=5)
    client = api_as(viewer)
    for query, found in (("q=sp-", line), ("short=true", other), ("short=false", line)):
        rows = client.get(f"/api/v1/stock/?{query}").json()["results"]
        assert [row["code"] for row in rows] == [found.code], query


def test_a_new_bin_begins_with_what_was_received(spacer, rack, api_as, attendant) -> None:
    answer = api_as(attendant).post(
        "/api/v1/stock/", {"drawing": "SP-10", "place": rack.code, "count": 30}, format="json"
    )
    assert (answer.status_code, answer.json()["count"]) == (201, 30)
    assert Movement.objects.get(stock__code=answer.json()["code"]).what == "receive"


@pytest.mark.parametrize(
    ("what", "quantity", "left"),
    [("receive", 3, 15), ("make", 2, 14), ("use_up", 5, 7), ("scrap", 12, 0), ("count", 9, 9)],
)
def test_the_count_follows_what_happens(line, api_as, attendant, what, quantity, left) -> None:
    answer = change(api_as(attendant), line, what=what, quantity=quantity)
    assert (answer.status_code, answer.json()["count"]) == (200, left)


def test_a_move_fills_the_other_place(world, line, api_as, crew) -> None:
    other = world.place("Cart 3", kind="cart")
    answer = change(api_as(crew), line, what="move", quantity=5, to=other.code)
    assert answer.json()["count"] == 7
    assert StockLine.objects.get(place=other).count == 5


def test_the_least_count_is_set(line, api_as, attendant) -> None:
    answer = api_as(attendant).patch(
        f"/api/v1/stock/{line.code}/", {"least_count": 20}, format="json"
    )
    assert answer.json()["least_count"] == 20


@pytest.mark.parametrize(
    ("sent", "status", "code"),
    [
        ({"what": "use_up", "quantity": 13}, 409, "stock_short"),
        ({"what": "use_up", "quantity": 0}, 400, "absurd_quantity"),
        ({"what": "receive", "quantity": -1}, 400, "invalid"),
        ({"what": "receive", "quantity": 10**12}, 400, "invalid"),
        ({"what": "vanish", "quantity": 1}, 400, "invalid"),
        ({"what": "move", "quantity": 1}, 400, "invalid"),
        ({"what": "move", "quantity": 1, "to": "nowhere"}, 404, "unknown_code"),
        ({}, 400, "invalid"),
    ],
)
def test_a_bad_change_is_refused(line, api_as, attendant, sent, status, code) -> None:
    answer = change(api_as(attendant), line, **sent)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    line.refresh_from_db()
    assert line.count == 12


def test_the_crew_moves_but_does_not_count(line, api_as, crew) -> None:
    answer = change(api_as(crew), line, what="count", quantity=3)
    assert (answer.status_code, answer.json()["code"]) == (403, "not_allowed")


def test_the_same_bin_twice_is_refused(line, rack, api_as, attendant) -> None:
    answer = api_as(attendant).post(
        "/api/v1/stock/", {"drawing": "SP-10", "place": rack.code}, format="json"
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "already_there")
    assert line.code in answer.json()["message"]


def test_an_unknown_bin_is_said(world, api_as, viewer) -> None:
    answer = api_as(viewer).get(f"/api/v1/stock/{world.code('B')}/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_code")
