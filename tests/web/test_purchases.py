"""An order is written, received against and measured to print on its pages, keyboard only."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from tests.world import MM, World
from tooling.models import Inspection, Person, Piece, Place, Purchase, Receipt, StockLine
from tooling.services import purchases
from tooling.services.purchases import LineIn

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
ROLL = {"bore_nm": 60 * MM, "bore_class": "H7", "face_width_nm": 40 * MM}
RECEIVE = "/pieces/orders/4711/lines/1/receive/"


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Path) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture
def now_world(db: None) -> World:
    """A shop whose clock is the pages' own."""
    return World(at=timezone.now())


@pytest.fixture
def rack(now_world: World) -> Place:
    return now_world.place("Rack A")


@pytest.fixture
def order(now_world: World, engineer: Person, rack: Place) -> Purchase:
    """Two rolls, due yesterday."""
    revision = now_world.drawing("R-1", **ROLL).revisions.get()
    today = timezone.localdate()
    return purchases.create_purchase(
        by=engineer, at=now_world.at, number="4711", vendor="Halden Tool", owner=now_world.shop,
        ordered_on=today - timedelta(days=30), due_on=today - timedelta(days=1),
        lines=[LineIn(revision, 2, mark="R-1-T1")],
    )  # fmt: skip


def form(client: Client, url: str, **changed: Any) -> dict[str, Any]:
    """The receive form as the page fills it in."""
    page = client.get(url).content.decode()
    key = re.search(r'name="id" value="([^"]+)"', page)
    assert key is not None
    chosen = re.search(r'<option value="(\d+)" selected', page)
    filled = {"id": key[1], "revision": chosen[1] if chosen else "", "mark": "R-1-T1"}
    return {**filled, "place": "Rack A", **changed}


def test_an_order_is_written_down_with_its_line(
    log_in: LogIn, now_world: World, engineer: Person
) -> None:
    now_world.drawing("R-1", **ROLL)
    client, day = log_in(engineer), timezone.localdate().isoformat()
    made = {
        "number": "4711",
        "vendor": "Halden Tool",
        "owner": now_world.shop.pk,
        "ordered_on": day,
    }
    to = client.post("/pieces/orders/new/", made)
    assert to.headers["Location"] == "/pieces/orders/4711/line/"
    line = {"drawing": "r-1", "quantity": "4", "price": "1250.50", "mark": "R-1-T1"}
    client.post("/pieces/orders/4711/line/", line)
    page = client.get("/pieces/orders/4711/").content.decode()
    assert "0 of 4 came" in page
    assert "1\u202f250.50" in page
    wrong = {**line, "quantity": "0", "price": "much"}
    refused = client.post("/pieces/orders/4711/line/", wrong).content.decode()
    assert 'data-code="min_value"' in refused
    assert 'value="much"' in refused
    again = client.post("/pieces/orders/new/", made)
    assert b'data-code="already_there"' in again.content


def test_a_piece_is_received_labelled_and_measured_to_print(
    log_in: LogIn, attendant: Person, order: Purchase
) -> None:
    client = log_in(attendant)
    paper = SimpleUploadedFile("3.1.pdf", b"%PDF-1.7 lot")
    sent = form(client, RECEIVE, heat_lot="7K21", certificate=paper)
    came = client.post(RECEIVE, sent, follow=True)
    piece, receipt = Piece.objects.get(), Receipt.objects.get()
    assert (piece.mark, piece.heat_lot, piece.condition) == ("R-1-T1", "7K21", "new")
    said = came.content.decode()
    assert f'href="/labels/?codes={piece.code}"' in said
    twice = client.post(RECEIVE, {**sent, "certificate": ""})
    assert b'data-code="received_twice"' in twice.content
    shown = client.get(f"/pieces/orders/receipts/{receipt.pk}/certificate/")
    assert b"".join(shown.streaming_content) == b"%PDF-1.7 lot"
    url = f"/pieces/orders/receipts/{receipt.pk}/inspect/"
    assert "60.03 mm" in client.get(url).content.decode()
    good = {"bore": "60.012", "face_width": "39.99"}
    client.post(url, {**good, "verdict": "accepted"})
    assert (Inspection.objects.get().verdict, Piece.objects.get().now_bore_nm) == (
        "accepted", 60_012_000,
    )  # fmt: skip
    shown_again = client.get(f"/pieces/{piece.code}/").content.decode()
    assert "/pieces/orders/4711/" in shown_again


def test_what_is_off_print_is_shown_and_rejected_with_a_reason(
    log_in: LogIn, attendant: Person, order: Purchase
) -> None:
    client = log_in(attendant)
    client.post(RECEIVE, form(client, RECEIVE))
    url = f"/pieces/orders/receipts/{Receipt.objects.get().pk}/inspect/"
    off = {"bore": "60.05", "face_width": "40"}
    refused = client.post(url, {**off, "verdict": "accepted"}).content.decode()
    assert 'data-code="not_to_print"' in refused
    assert 'data-within="no"' in refused
    assert 'value="60.05"' in refused
    assert 'value="concession"' not in refused
    assert not Inspection.objects.exists()
    no_reason = client.post(url, {**off, "verdict": "rejected"}).content
    assert b'data-code="empty_text"' in no_reason
    client.post(url, {**off, "verdict": "rejected", "reason": "bore over size"})
    held = Piece.objects.get()
    assert (held.condition, held.hold_reason) == ("hold", "bore over size")


def test_one_value_is_judged_while_the_others_are_still_measured(
    log_in: LogIn, attendant: Person, order: Purchase
) -> None:
    client = log_in(attendant)
    client.post(RECEIVE, form(client, RECEIVE))
    url = f"/pieces/orders/receipts/{Receipt.objects.get().pk}/check/bore/"
    for text, said in (
        ("60.03", 'data-within="yes"'), ("60.031", 'data-within="no"'), ("", "<"), ("x", "problem"),
    ):  # fmt: skip
        got = client.get(url, {"bore": text}).content.decode()
        assert (said in got) == (text != "")


def test_the_next_piece_of_the_lot_needs_only_a_tap(
    log_in: LogIn, attendant: Person, order: Purchase
) -> None:
    client = log_in(attendant)
    paper = SimpleUploadedFile("3.1.pdf", b"%PDF-1.7 lot")
    client.post(RECEIVE, form(client, RECEIVE, heat_lot="7K21", certificate=paper))
    page = client.get(RECEIVE).content.decode()
    assert 'value="Rack A"' in page
    assert 'value="7K21"' in page
    sent = form(client, RECEIVE, heat_lot="7K21", same_certificate="on")
    client.post(RECEIVE, sent)
    first, second = Receipt.objects.order_by("pk")
    assert first.certificate == second.certificate
    full = client.get("/pieces/orders/4711/").content.decode()
    assert "2 of 2 came" in full
    over = client.post(RECEIVE, form(client, RECEIVE))
    assert b'data-code="order_closed"' in over.content


def test_a_slip_is_undone_and_a_wrong_revision_is_said(
    log_in: LogIn, attendant: Person, order: Purchase, now_world: World
) -> None:
    other = order.lines.get().revision
    other.pk, other.revision, other.is_current = None, "0", False
    other.save()
    client = log_in(attendant)
    wrong = client.post(RECEIVE, form(client, RECEIVE, revision=other.pk))
    assert b'data-code="wrong_revision"' in wrong.content
    client.post(RECEIVE, form(client, RECEIVE))
    client.post(f"/pieces/orders/receipts/{Receipt.objects.get().pk}/take-back/")
    assert "0 of 2 came" in client.get("/pieces/orders/4711/").content.decode()


def test_spacers_come_into_a_bin(
    log_in: LogIn, attendant: Person, engineer: Person, order: Purchase, now_world: World
) -> None:
    spacer = now_world.drawing("SP-25", kind="spacer").revisions.get()
    line = LineIn(spacer, 40, is_counted=True)
    purchases.add_line(by=engineer, at=now_world.at, purchase=order, line=line)
    client, url = log_in(attendant), "/pieces/orders/4711/lines/2/receive/"
    client.post(url, form(client, url, quantity="25"))
    assert StockLine.objects.get().count == 25
    over = client.post(url, form(client, url, quantity="16"))
    assert b'data-code="over_receipt"' in over.content
    assert "25 of 40 came" in client.get("/pieces/orders/4711/").content.decode()


def test_what_is_late_and_what_waits_to_be_measured_stand_on_today(
    log_in: LogIn, attendant: Person, crew: Person, order: Purchase
) -> None:
    client = log_in(attendant)
    client.post(RECEIVE, form(client, RECEIVE))
    page = client.get("/today/").content.decode()
    assert 'data-order="4711"' in page
    assert f"/pieces/orders/receipts/{Receipt.objects.get().pk}/inspect/" in page
    assert 'data-order="4711"' not in log_in(crew).get("/today/").content.decode()


def test_an_order_closes_short_only_with_a_reason(
    log_in: LogIn, engineer: Person, order: Purchase
) -> None:
    client, url = log_in(engineer), "/pieces/orders/4711/close/"
    assert b'data-code="order_short"' in client.post(url, {"reason": ""}).content
    client.post(url, {"reason": "the vendor has given up"})
    page = client.get("/pieces/orders/4711/").content.decode()
    assert "2 short" in page
    assert 'data-order="4711"' in client.get("/pieces/orders/?closed=1").content.decode()
    client.post("/pieces/orders/4711/reopen/")
    order.refresh_from_db()
    assert order.is_open
