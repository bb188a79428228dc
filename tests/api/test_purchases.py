"""Orders, receipts and inspections by program, refused with the same codes as on the pages."""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.world import MM
from tooling.models import Piece, Purchase, Reading, Receipt, StockLine

pytestmark = pytest.mark.django_db
ORDERS = "/api/v1/purchases/"
ROLL = {"bore_nm": 60 * MM, "bore_class": "H7", "face_width_nm": 40 * MM}


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Path) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def order(world, rack, api_as, engineer):
    """An order of two rolls for copy A and 40 spacers, made by program."""
    roll = world.drawing("R-1", **ROLL)
    world.drawing("SP-25", kind="spacer")
    world.copy(world.tool_set("T-1", {(1, "top", 1): roll}))
    lines = [
        {"drawing": "R-1", "quantity": 2, "set": "T-1", "copy": "A", "price": "99.90"},
        {"drawing": "SP-25", "quantity": 40, "is_counted": True},
    ]
    body = {"number": "4711/a", "vendor": "Halden Tool", "ordered_on": "2026-11-01", "lines": lines}
    return api_as(engineer).post(ORDERS, body, format="json")


def test_an_order_is_told_as_it_was_made(order, api_as, viewer):
    assert order.status_code == 201
    body = api_as(viewer).get(f"{ORDERS}4711/a/").json()
    assert (body["owner"], body["lacking"], body["is_open"]) == ("SHOP", 42, True)
    first = body["lines"][0]
    assert (first["drawing"], first["revision"], first["set"], first["copy"]) == (
        "R-1", "A", "T-1", "A",
    )  # fmt: skip
    assert (first["price_cents"], first["receipts"]) == (9_990, [])
    listed = api_as(viewer).get(ORDERS).json()
    assert [(row["number"], row["ordered"], row["received"]) for row in listed] == [
        ("4711/a", 42, 0)
    ]


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"number": ""}, "invalid"),
        ({"number": "4711/A"}, "already_there"),
        ({"due_on": "2026-10-01"}, "due_before_ordered"),
        ({"owner": "NOBODY"}, "unknown_owner"),
        ({"lines": [{"drawing": "R-9", "quantity": 1}]}, "unknown_drawing"),
        ({"lines": [{"drawing": "R-1", "quantity": 1, "revision": "Z"}]}, "unknown_revision"),
        ({"lines": [{"drawing": "R-1", "quantity": 501}]}, "absurd_quantity"),
        ({"lines": [{"drawing": "R-1", "quantity": 1, "price": "1,250"}]}, "ambiguous_money"),
        ({"lines": [{"drawing": "R-1", "quantity": 1, "copy": "A"}]}, "invalid"),
    ],
)
def test_what_cannot_be_ordered_is_refused_whole(order, api_as, engineer, changed, code):
    body = {"number": "4712", "vendor": "Halden Tool", "ordered_on": "2026-11-01", **changed}
    got = api_as(engineer).post(ORDERS, body, format="json")
    assert got.json()["code"] == code
    assert Purchase.objects.count() == 1


def test_a_piece_comes_once_and_is_measured_to_print(order, api_as, attendant, rack):
    client, key = api_as(attendant), str(uuid.uuid4())
    url = f"{ORDERS}4711/a/lines/1/receive/"
    paper = SimpleUploadedFile("3.1.pdf", b"%PDF-1.7")
    body = {"id": key, "place": rack.code, "mark": "R-1-T1", "heat_lot": "7K21"}
    made = client.post(url, {**body, "certificate": paper}, format="multipart")
    assert made.status_code == 201
    receipt = made.json()
    assert (receipt["piece"], receipt["certificate"], receipt["inspection"]) == (
        Piece.objects.get().code, "3.1.pdf", None,
    )  # fmt: skip
    twice = client.post(url, body, format="json")
    assert (twice.status_code, twice.json()["code"]) == (409, "received_twice")
    inspect = f"/api/v1/receipts/{receipt['id']}/inspect/"
    off = {"bore_mm": "60.031", "verdict": "accepted"}
    assert client.post(inspect, off, format="json").json()["code"] == "not_to_print"
    assert not Reading.objects.exists()
    good = {"bore_mm": "60.030", "face_width_in": "1.575", "verdict": "accepted"}
    told = client.post(inspect, good, format="json").json()
    assert told["inspection"]["verdict"] == "accepted"
    assert told["sizes"] == [
        {"dimension": "bore", "drawn_mm": "60", "least_mm": "60", "most_mm": "60.03",
         "why": "class H7", "now_mm": "60.03", "deviation_mm": "0.03", "is_within": True},
        {"dimension": "face_width", "drawn_mm": "40", "least_mm": "39.975", "most_mm": "40.025",
         "why": "shop's tolerance", "now_mm": "40.005", "deviation_mm": "0.005",
         "is_within": True},
    ]  # fmt: skip
    back = client.post(f"/api/v1/receipts/{receipt['id']}/take-back/", {}, format="json")
    assert back.json()["code"] == "inspected_already"


def test_a_count_comes_into_its_bin_and_goes_back(order, api_as, attendant, rack):
    client, url = api_as(attendant), f"{ORDERS}4711/a/lines/2/receive/"
    made = client.post(url, {"place": rack.code, "quantity": 40}, format="json").json()
    assert (made["stock"], made["quantity"]) == (StockLine.objects.get().code, 40)
    over = client.post(url, {"place": rack.code, "quantity": 1}, format="json")
    assert over.json()["code"] == "over_receipt"
    nothing = client.post(url, {"place": rack.code}, format="json")
    assert nothing.json()["code"] == "absurd_quantity"
    one = client.post(
        f"{ORDERS}4711/a/lines/1/receive/", {"place": rack.code, "quantity": 1}, format="json"
    )
    assert one.json()["code"] == "comes_one_by_one"
    back = client.post(f"/api/v1/receipts/{made['id']}/take-back/", {}, format="json").json()
    assert (back["is_taken_back"], StockLine.objects.get().count) == (True, 0)


@pytest.mark.parametrize(
    ("line", "body", "code"),
    [
        (1, {"place": "P0000000"}, "bad_check_character"),
        (1, {"revision": "Z"}, "unknown_revision"),
        (1, {"certificate_of": 999}, "unknown_receipt"),
        (1, {"colour": "red"}, "invalid"),
        (9, {}, "unknown_line"),
    ],
)
def test_what_cannot_come_is_refused(order, api_as, attendant, rack, line, body, code):
    sent = {"place": rack.code, **body}
    got = api_as(attendant).post(f"{ORDERS}4711/a/lines/{line}/receive/", sent, format="json")
    assert got.json()["code"] == code
    assert not Receipt.objects.exists()


def test_an_order_is_changed_closed_short_with_a_reason_and_opened_again(order, api_as, engineer):
    client, url = api_as(engineer), f"{ORDERS}4711/a/"
    changed = client.patch(url, {"due_on": "2026-12-01"}, format="json").json()
    assert changed["due_on"] == "2026-12-01"
    assert client.patch(url, {"is_open": False}, format="json").json()["code"] == "order_short"
    closed = client.patch(url, {"is_open": False, "reason": "given up"}, format="json").json()
    assert closed["is_open"] is False
    refused = client.delete(f"{url}lines/2/").json()
    assert refused["code"] == "order_closed"
    client.patch(url, {"is_open": True}, format="json")
    put = {"drawing": "R-1", "quantity": 3}
    assert client.put(f"{url}lines/1/", put, format="json").json()["lines"][0]["quantity"] == 3
    assert len(client.delete(f"{url}lines/2/").json()["lines"]) == 1
