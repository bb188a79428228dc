"""New tooling is checked in against its order: once, not too much, and as it was ordered."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    Allotment,
    Change,
    Person,
    Piece,
    Place,
    PurchaseLine,
    Receipt,
    StockLine,
)
from tooling.queries.received import received_of
from tooling.services import drawings, files, purchases, receiving
from tooling.services.purchases import LineIn
from tooling.services.rebuild import differences
from tooling.services.receiving import Papers

ROLL = {"bore_nm": 60 * MM, "face_width_nm": 40 * MM}


@pytest.fixture(autouse=True)
def _folder(settings: Any, tmp_path: Path) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture
def ordered(world: World, engineer: Person) -> Callable[..., PurchaseLine]:
    """``ordered(quantity, …)`` gives the line of an order that has only this line."""

    def make(quantity: int = 2, *, kind: str = "roll", **fields: Any) -> PurchaseLine:
        drawing = world.drawing(f"R-{PurchaseLine.objects.count()}", kind=kind, **ROLL)
        if fields.pop("in_a_set", False):
            spots = {(n, "top", 1): drawing for n in (1, 2)}
            fields["set_copy"] = world.copy(world.tool_set("T-1", spots), "B")
        line = LineIn(drawing.revisions.get(), quantity, **fields)
        purchase = purchases.create_purchase(
            by=engineer, at=world.at, number=f"{4711 + PurchaseLine.objects.count()}",
            vendor="Halden Tool", owner=world.shop, ordered_on=date(2026, 11, 1), lines=[line],
        )  # fmt: skip
        return purchase.lines.get()

    return make


def receive(by: Person, world: World, line: PurchaseLine, **fields: Any) -> Receipt:
    place = fields.pop("place", None) or Place.objects.filter(kind="rack").first()
    place = place or world.place("Rack A")
    return receiving.receive_piece(by=by, at=world.at, line=line, place=place, **fields)


def test_a_piece_gets_its_code_mark_lot_place_owner_and_is_new(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(mark="R-0-T1", price_cents=125_050)
    rack = world.place("Rack A")
    receipt = receive(attendant, world, line, place=rack, papers=Papers(heat_lot=" 7K 21 "))
    piece = receipt.piece
    assert piece is not None
    assert (piece.mark, piece.heat_lot, piece.condition, piece.value_cents) == (
        "R-0-T1", "7K 21", "new", 125_050,
    )  # fmt: skip
    assert (piece.place, piece.owner, piece.revision, piece.code[0]) == (
        rack, world.shop, line.revision, "R",
    )  # fmt: skip
    assert piece.seen_at == world.at
    assert differences() == []


def test_pieces_fill_the_copy_one_position_after_the_other(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(3, in_a_set=True)
    pieces = [receive(attendant, world, line).piece for _ in range(3)]
    rows = Allotment.objects.order_by("position__set_pass__number")
    assert [row.piece for row in rows] == pieces[:2]
    assert {piece.copy_letter for piece in pieces if piece} == {"B"}


def test_line_tooling_and_hardware_get_letters_of_their_own(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    kinds = [("line_tooling", "L"), ("hardware", "H"), ("side_roll", "D"), ("spacer", "S")]
    for kind, letter in kinds:
        piece = receive(attendant, world, ordered(1, kind=kind)).piece
        assert piece is not None
        assert piece.code[0] == letter


def test_no_more_comes_than_is_on_order_and_the_last_one_closes_it(
    world: World, engineer: Person, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(2)
    receive(attendant, world, line)
    receive(attendant, world, line)
    line.purchase.refresh_from_db()
    assert not line.purchase.is_open
    purchases.reopen(by=engineer, at=world.at, purchase=line.purchase)
    with pytest.raises(ToolingError, match="over_receipt"):
        receive(attendant, world, line)
    assert (Piece.objects.count(), received_of([line.pk])) == (2, {line.pk: 2})


def test_the_same_form_sent_twice_makes_one_piece_and_names_it(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line, key = ordered(1), uuid.uuid4()
    first = receive(attendant, world, line, uuid=key)
    with pytest.raises(ToolingError) as refused:
        receive(attendant, world, line, uuid=key)
    assert refused.value.code == "received_twice"
    assert first.piece is not None
    assert first.piece.code in refused.value.message
    assert Piece.objects.count() == 1


def test_another_revision_than_ordered_is_refused(
    world: World, engineer: Person, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(1)
    newest = drawings.new_revision(
        by=engineer, at=world.at, drawing=line.revision.drawing, revision="B", old_pieces="as_is"
    )
    other = world.drawing("R-9").revisions.get()
    for wrong, said in ((newest, "this is B"), (other, "this is R-9 A")):
        with pytest.raises(ToolingError) as refused:
            receive(attendant, world, line, revision=wrong)
        assert (refused.value.code, said in refused.value.message) == ("wrong_revision", True)
    receive(attendant, world, line, revision=line.revision)
    assert Piece.objects.get().revision == line.revision


def pdf(name: str = "EN 10204 3.1.pdf", data: bytes = b"%PDF-1.7 heat 7K21") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def test_a_certificate_is_kept_and_serves_the_next_piece_of_the_lot(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(2)
    first = receive(attendant, world, line, papers=Papers("7K21", pdf()))
    second = receive(attendant, world, line, papers=Papers("7K21", certificate_of=first))
    assert first.certificate is not None
    assert files.read(first.certificate) == b"%PDF-1.7 heat 7K21"
    assert (second.certificate, second.certificate_name) == (first.certificate, "EN 10204 3.1.pdf")


@pytest.mark.parametrize(("data", "code"), [(b"GIF89a", "not_a_certificate"), (b"", "empty_file")])
def test_what_is_no_certificate_is_refused_and_no_piece_is_made(
    data: bytes, code: str, world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(1)
    with pytest.raises(ToolingError, match=code):
        receive(attendant, world, line, papers=Papers(certificate=pdf(data=data)))
    assert (Piece.objects.count(), Receipt.objects.count()) == (0, 0)


def test_what_is_counted_goes_into_a_bin_that_is_made_once(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line, rack = ordered(40, kind="spacer", is_counted=True), world.place("Rack A")
    came = {"by": attendant, "at": world.at, "line": line, "place": rack}
    first = receiving.receive_counted(quantity=12, **came)
    receiving.receive_counted(quantity=28, **came)
    bin_there = StockLine.objects.get()
    assert (bin_there.count, bin_there.place, first.stock_line) == (40, rack, bin_there)
    for quantity, code in ((0, "absurd_quantity"), (1, "order_closed")):
        with pytest.raises(ToolingError, match=code):
            receiving.receive_counted(quantity=quantity, **came)
    with pytest.raises(ToolingError, match="comes_by_count"):
        receive(attendant, world, line)
    with pytest.raises(ToolingError, match="comes_one_by_one"):
        receiving.receive_counted(
            by=attendant, at=world.at, line=ordered(2), quantity=1, place=rack
        )
    assert differences() == []


def test_a_slip_is_taken_back_once_and_the_order_is_open_again(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(1, in_a_set=True)
    receipt = receive(attendant, world, line)
    receiving.take_back(by=attendant, at=world.at, receipt=receipt)
    piece = Piece.objects.get()
    assert (piece.condition, "no such piece came" in piece.hold_reason) == ("hold", True)
    assert (Allotment.objects.count(), received_of([line.pk])) == (0, {})
    line.purchase.refresh_from_db()
    assert line.purchase.is_open
    with pytest.raises(ToolingError, match="taken_back_already"):
        receiving.take_back(by=attendant, at=world.at, receipt=receipt)
    assert receive(attendant, world, line).piece != piece


def test_a_count_that_is_taken_back_leaves_its_bin(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line, rack = ordered(40, kind="spacer", is_counted=True), world.place("Rack A")
    came = {"by": attendant, "at": world.at, "line": line, "place": rack}
    receiving.receive_counted(quantity=5, **came)
    wrong = receiving.receive_counted(quantity=12, **{**came, "at": world.at + timedelta(hours=1)})
    receiving.take_back(by=attendant, at=world.at + timedelta(hours=2), receipt=wrong)
    assert (StockLine.objects.get().count, received_of([line.pk])) == (5, {line.pk: 5})
    assert differences() == []


def test_crew_receives_nothing_and_nothing_comes_from_tomorrow(
    world: World, crew: Person, attendant: Person, ordered: Callable[..., PurchaseLine]
) -> None:
    line = ordered(1)
    with pytest.raises(NotAllowed):
        receive(crew, world, line)
    with pytest.raises(ToolingError, match="in_the_future"):
        receive(attendant, world, line, happened_at=world.at + timedelta(days=1))


def test_a_receipt_without_its_history_row_saves_nothing(
    world: World, attendant: Person, ordered: Callable[..., PurchaseLine], monkeypatch: Any
) -> None:
    line, rack = ordered(1), world.place("Rack A")
    before = Change.objects.count()

    def broken(**_fields: Any) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(Receipt.objects, "create", broken)
    with pytest.raises(RuntimeError):
        receive(attendant, world, line, place=rack)
    assert (Piece.objects.count(), Change.objects.count()) == (0, before)
