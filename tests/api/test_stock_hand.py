"""``stock/…/history|undo|put-back``, ``stock/needs/``, ``places/…/counts-back``: a bin by hand."""

from __future__ import annotations

import uuid

import pytest

from tooling.models import Kit, StockLine

pytestmark = pytest.mark.django_db


@pytest.fixture
def spacer(world):
    return world.drawing("SP-10", kind="spacer", face_width_nm=10_000_000)


@pytest.fixture
def line(world, spacer):
    return world.stock(spacer, world.place("Rack A"), 12, least_count=15)


@pytest.fixture
def cart(world):
    return world.place("Cart 1", kind="cart")


def post(client, path, **sent):
    return client.post(f"/api/v1/{path}", sent, format="json")


def test_a_kit_is_somewhere_to_move_some_and_an_id_counts_once(
    api_as, crew, world, spacer, line, cart
) -> None:
    tool_set = world.tool_set("S", {(1, "top", 1): spacer})
    job = world.job(tool_set, world.mill())
    kit = Kit.objects.create(number=world.code("K"), job=job, place=cart, assembled_at=world.at)
    kit.positions.create(
        set_position=tool_set.passes.get().positions.get(), station_number=1, pass_number=1,
        shaft="top", order=1, drawing=spacer,
    )  # fmt: skip
    sent = {"what": "move", "quantity": 1, "to": kit.number, "id": str(uuid.uuid4())}
    for _turn in range(2):
        answer = post(api_as(crew), f"stock/{line.code}/change/", **sent)
    assert (answer.status_code, answer.json()["count"]) == (200, 11)
    told = api_as(crew).get(f"/api/v1/kits/{kit.number}/").json()
    assert (told["counts"]["here"], told["positions"][0]["piece"]) == (1, line.code)


def test_history_names_what_to_undo(api_as, attendant, line) -> None:
    client = api_as(attendant)
    post(client, f"stock/{line.code}/change/", what="use_up", quantity=2)
    rows = client.get(f"/api/v1/stock/{line.code}/history/").json()
    assert [(row["what"], row["change"]) for row in rows] == [("used up", -2), ("received", 12)]
    undone = post(client, f"stock/{line.code}/undo/", movement=rows[0]["id"])
    assert undone.json()["count"] == 12
    again = post(client, f"stock/{line.code}/undo/", movement=rows[0]["id"])
    assert (again.status_code, again.json()["code"]) == (409, "already_corrected")


def test_some_or_all_go_back(api_as, crew, line, cart) -> None:
    client = api_as(crew)
    post(client, f"stock/{line.code}/change/", what="move", quantity=6, to=cart.code)
    there = StockLine.objects.get(place=cart)
    back = {"from_code": there.code, "quantity": 2}
    assert post(client, f"stock/{line.code}/put-back/", **back).json()["count"] == 8
    act = str(uuid.uuid4())
    [row] = post(client, f"places/{cart.code}/counts-back/", id=act).json()
    assert (row["to_code"], row["quantity"], row["id"]) == (line.code, 4, act)
    assert post(client, f"places/{cart.code}/counts-back/", id=act).json() == []
    none = post(client, f"places/{cart.code}/counts-back/")
    assert (none.status_code, none.json()["code"]) == (409, "nothing_to_put_back")


def test_what_to_make_or_buy(api_as, viewer, line) -> None:
    [need] = api_as(viewer).get("/api/v1/stock/needs/").json()
    told = (need["drawing"], need["have"], need["least"], need["short_by"], need["to_get"])
    assert told == ("SP-10", 12, 15, 3, 3)
    assert (need["face_width_mm"], need["bins"]) == ("10", [line.code])
    StockLine.objects.update(least_count=0)
    assert api_as(viewer).get("/api/v1/stock/needs/").json() == []
    assert len(api_as(viewer).get("/api/v1/stock/needs/?all=1").json()) == 1
