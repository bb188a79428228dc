"""Scans: clocks, order of arrival, repeats, refusals, and every kind of thing that is scanned."""

from __future__ import annotations

import dataclasses
import uuid
from datetime import UTC, datetime, timedelta

import pytest

from tests.services.scanning import a_scan, put, send
from tests.world import World
from tooling.errors import NotAllowed
from tooling.models import (
    Device,
    LabelEvent,
    Movement,
    PieceAlias,
    RefusedScan,
    StockLine,
)
from tooling.services.scans import record_batch

MINUTE = timedelta(minutes=1)
pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world: World) -> object:
    return world.place("Rack A")


@pytest.fixture
def other(world: World) -> object:
    return world.place("Rack B")


def test_a_scanned_piece_is_where_it_was_put(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack, mark="12-T")
    result = put(attendant, at, piece.code, other.code)
    piece.refresh_from_db()
    assert (result.status, result.code, result.place) == ("taken", "", other.code)
    assert result.message == f"{piece.code} (12-T) is in Rack B."
    assert (piece.place, piece.seen_at) == (other, at)


def test_the_row_says_who_when_how_and_from_where(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    scan = a_scan(piece.code.lower(), other.code, at=at - MINUTE, sequence=7)
    send(attendant, at, scan)
    row = Movement.objects.get(uuid=scan.id)
    assert (row.scan, row.by, row.how, row.device_sequence) == (scan.id, attendant, "scan", 7)
    assert (row.happened_at, row.received_at, row.effective_at) == (at - MINUTE, at, at - MINUTE)
    assert (row.from_seen, row.to, row.code_read) == (rack, other, piece.code.lower())


def test_a_viewer_may_not_scan(world, rack, viewer, at) -> None:
    with pytest.raises(NotAllowed):
        put(viewer, at, "R0000011", rack.code)
    assert not RefusedScan.objects.exists()


# ---- clocks


def test_a_clock_that_is_ahead_is_put_right(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    ahead = timedelta(minutes=10)
    scan = a_scan(piece.code, other.code, at=at + ahead - MINUTE)
    send(attendant, at, scan, clock_ahead=ahead)
    row = Movement.objects.get(uuid=scan.id)
    assert row.effective_at == at - MINUTE
    assert row.clock_offset_ms == 600_000
    assert row.clock_is_off


def test_a_small_offset_is_not_flagged(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    scan = a_scan(piece.code, other.code, at=at)
    send(attendant, at, scan, clock_ahead=timedelta(seconds=-20))
    row = Movement.objects.get(uuid=scan.id)
    assert (row.effective_at, row.clock_is_off) == (at, False)


def test_nothing_takes_effect_after_it_was_received(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    scan = a_scan(piece.code, other.code, at=at + timedelta(days=400))
    send(attendant, at, scan)
    assert Movement.objects.get(uuid=scan.id).effective_at == at


@pytest.mark.parametrize("when", [datetime(1970, 1, 1, tzinfo=UTC), datetime(1, 1, 1, tzinfo=UTC)])
def test_a_clock_that_lost_its_date_is_refused(world, rack, other, attendant, at, when) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    [result] = send(attendant, at, a_scan(piece.code, other.code, at=when))
    assert (result.status, result.code) == ("refused", "improbable_value")


def test_a_late_scan_changes_history_not_the_present(world, rack, other, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart")
    piece = world.piece(world.drawing("D1"), rack)
    put(attendant, at, piece.code, other.code)
    [late] = send(attendant, at + MINUTE, a_scan(piece.code, cart.code, at=at - MINUTE))
    piece.refresh_from_db()
    assert piece.place == other
    assert "has been moved since" in late.message
    assert Movement.objects.get(uuid=late.id).from_seen is None


# ---- repeats


def test_the_same_batch_again_changes_nothing(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    batch = [a_scan(piece.code, other.code, at=at), a_scan("R999999Z", other.code, at=at)]
    first = send(attendant, at, *batch)
    rows = Movement.objects.count()
    again = send(attendant, at + MINUTE, *batch)
    assert [each.status for each in first] == ["taken", "refused"]
    assert [each.status for each in again] == ["repeated", "refused"]
    assert again[0].place == other.code
    assert (again[1].code, again[1].message) == (first[1].code, first[1].message)
    assert Movement.objects.count() == rows
    assert RefusedScan.objects.count() == 1


def test_a_scan_twice_in_one_batch_counts_once(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    scan = a_scan(piece.code, other.code, at=at)
    results = send(attendant, at, scan, dataclasses.replace(scan))
    assert [each.status for each in results] == ["taken", "repeated"]
    assert Movement.objects.filter(scan=scan.id).count() == 1


def test_an_id_with_other_content_is_refused_and_the_first_stands(
    world, rack, other, attendant, at
) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    scan = a_scan(piece.code, other.code, at=at)
    send(attendant, at, scan)
    changed = dataclasses.replace(scan, to=rack.code)
    for _turn in range(2):
        [result] = send(attendant, at + MINUTE, changed)
        assert (result.status, result.code) == ("refused", "id_reused")
    piece.refresh_from_db()
    assert piece.place == other
    assert RefusedScan.objects.filter(scan=scan.id, error_code="id_reused").count() == 1
    assert send(attendant, at + MINUTE, scan)[0].status == "repeated"


def test_a_reused_id_within_one_batch_is_found_too(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    scan = a_scan(piece.code, other.code, at=at)
    results = send(attendant, at, scan, dataclasses.replace(scan, how="typed"))
    assert [each.code for each in results] == ["", "id_reused"]


def test_a_device_may_have_any_name_and_stays_one_device(world, rack, attendant, at) -> None:
    for _turn in range(2):
        record_batch(by=attendant, at=at, device="gate tablet", device_now=at, scans=[])
    assert Device.objects.get().name == "gate tablet"


# ---- what is refused, and what it says


@pytest.mark.parametrize(
    ("code", "problem"),
    [
        ("R9999992", "unknown_code"),
        ("R0000012", "bad_check_character"),
        ("no such mark", "unknown_code"),
        ("", "unknown_code"),
    ],
)
def test_a_code_that_names_nothing_is_refused(world, rack, attendant, at, code, problem) -> None:
    if problem == "unknown_code" and code.startswith("R"):
        code = world.code("R")
    result = put(attendant, at, code, rack.code)
    assert (result.status, result.code) == ("refused", problem)
    kept = RefusedScan.objects.get(uuid=result.id)
    assert (kept.error_code, kept.message, kept.to_read) == (problem, result.message, rack.code)


def test_one_refused_scan_leaves_the_others(world, rack, other, attendant, at) -> None:
    pieces = [world.piece(world.drawing(f"D{n}"), rack) for n in range(3)]
    batch = [a_scan(piece.code, other.code, at=at) for piece in pieces]
    batch.insert(1, a_scan(world.code("R"), other.code, at=at))
    results = send(attendant, at, *batch)
    assert [each.status for each in results] == ["taken", "refused", "taken", "taken"]
    assert {piece.place_id for piece in refreshed(pieces)} == {other.pk}


def refreshed(pieces: list) -> list:
    for piece in pieces:
        piece.refresh_from_db()
    return pieces


def test_a_piece_is_no_place(world, rack, attendant, at) -> None:
    drawing = world.drawing("D1")
    one, two = world.piece(drawing, rack), world.piece(drawing, rack)
    assert put(attendant, at, one.code, two.code).code == "not_a_place"


def test_a_place_is_no_piece(world, rack, other, attendant, at) -> None:
    assert put(attendant, at, rack.code, other.code).code == "not_a_piece"


def test_a_scan_without_a_place_says_so(world, rack, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    assert put(attendant, at, piece.code, "").code == "no_place"


def test_a_place_given_up_takes_nothing(world, rack, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    old = world.place("Old shed", is_active=False)
    assert put(attendant, at, piece.code, old.code).code == "place_not_used"
    assert RefusedScan.objects.get().piece == piece


def test_a_void_label_says_which_one_took_its_place(world, rack, other, attendant, at) -> None:
    old = world.code("R")
    piece = world.piece(world.drawing("D1"), rack)
    LabelEvent.objects.create(at=at, code=old, what="void")
    LabelEvent.objects.create(at=at, code=piece.code, what="reissue", replaces=old)
    result = put(attendant, at, old, other.code)
    assert result.code == "void_label"
    assert piece.code in result.message


def test_a_void_label_of_a_known_piece_is_refused(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    LabelEvent.objects.create(at=at, code=piece.code, what="void")
    assert put(attendant, at, piece.code, other.code).code == "void_label"


# ---- marks


def test_a_mark_in_any_case_names_its_piece(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack, mark="7-B Left")
    assert put(attendant, at, "7-b left", other.code, how="typed").status == "taken"
    assert refreshed([piece])[0].place == other


def test_an_old_number_names_its_piece(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    PieceAlias.objects.create(piece=piece, text="OLD 55")
    assert put(attendant, at, "old 55", other.code, how="typed").status == "taken"


def test_a_mark_that_two_pieces_bear_asks_which(world, rack, other, attendant, at) -> None:
    drawing = world.drawing("D1")
    twins = [world.piece(drawing, place, mark="7-B") for place in (rack, other)]
    result = put(attendant, at, "7-B", other.code, how="typed")
    assert result.code == "ambiguous_mark"
    assert all(piece.code in result.message for piece in twins)
    assert "Rack A" in result.message


# ---- places by other words


def test_a_place_by_name_and_a_person_by_user_name(world, rack, attendant, crew, at) -> None:
    world.place("Crew shelf", kind="person", person=crew)
    piece = world.piece(world.drawing("D1"), rack)
    assert put(attendant, at, piece.code, "crew").status == "taken"
    assert put(attendant, at + MINUTE, piece.code, "rack a").place == rack.code


def test_a_station_label_is_the_stations_place(world, rack, attendant, at) -> None:
    station = world.mill("M1", stations=1).stations.get()
    piece = world.piece(world.drawing("D1"), rack)
    assert put(attendant, at, piece.code, station.code).place == station.place.code


def test_two_places_of_one_name_ask_which(world, rack, attendant, at) -> None:
    for parent in (rack, world.place("Rack B")):
        world.place("Shelf 1", kind="shelf", parent=parent)
    piece = world.piece(world.drawing("D1"), rack)
    result = put(attendant, at, piece.code, "Shelf 1")
    assert result.code == "ambiguous_place"
    assert "Rack B / Shelf 1" in result.message


# ---- carts, sets


def test_a_cart_moves_as_one_row_with_all_on_it(world, rack, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart", parent=rack)
    peg = world.place("Peg 1", kind="peg", parent=cart)
    piece = world.piece(world.drawing("D1"), peg)
    hall = world.place("Hall", kind="area")
    rows = Movement.objects.count()
    result = put(attendant, at, cart.code, hall.code)
    assert (result.status, Movement.objects.count()) == ("taken", rows + 1)
    assert refreshed([piece])[0].place == peg
    peg.refresh_from_db()
    assert (peg.path_name, peg.path) == (
        "Hall / Cart 1 / Peg 1",
        f"{hall.path}{cart.code}/{peg.code}/",
    )


@pytest.mark.parametrize("onto", ["itself", "what stands on it"])
def test_a_cart_cannot_be_put_inside_itself(world, rack, attendant, at, onto) -> None:
    cart = world.place("Cart 1", kind="cart", parent=rack)
    plate = world.place("Plate 1", kind="plate", parent=cart)
    result = put(attendant, at, cart.code, cart.code if onto == "itself" else plate.code)
    assert result.code == "place_inside_itself"
    cart.refresh_from_db()
    assert cart.parent == rack


def test_a_whole_set_goes_home_in_one_scan(world, rack, other, attendant, at) -> None:
    drawing = world.drawing("D1")
    positions = {(1, "top", n): drawing for n in range(1, 4)}
    tool_set = world.tool_set("S1", positions)
    grinder = world.place("Grinder", kind="grinder")
    pieces = [world.piece(drawing, place) for place in (rack, rack, grinder)]
    world.copy(tool_set, "A", dict(zip(positions, pieces, strict=True)))
    result = put(attendant, at, tool_set.code, other.code)
    assert result.status == "taken"
    said = f"2 pieces of S1-A are in Rack B. Not moved: {pieces[2]}, at Grinder."
    assert result.message == said
    assert [piece.place.name for piece in refreshed(pieces)] == ["Rack B", "Rack B", "Grinder"]
    assert Movement.objects.filter(scan=result.id).count() == 2


def test_a_set_of_two_copies_asks_which(world, rack, other, attendant, at) -> None:
    drawing = world.drawing("D1")
    tool_set = world.tool_set("S1", {(1, "top", 1): drawing})
    pieces = [world.piece(drawing, rack) for _copy in "AB"]
    for letter, piece in zip("AB", pieces, strict=True):
        world.copy(tool_set, letter, {(1, "top", 1): piece})
    assert put(attendant, at, tool_set.code, other.code).code == "which_copy"
    assert put(attendant, at, f"{tool_set.code}-b", other.code).status == "taken"
    assert [piece.place for piece in refreshed(pieces)] == [rack, other]


# ---- stock


def test_a_bin_scanned_elsewhere_moves_all_its_count(world, rack, other, attendant, at) -> None:
    line = world.stock(world.drawing("SP-10", kind="spacer"), rack, 12)
    result = put(attendant, at, line.code, other.code)
    assert result.message == "12 of SP-10 are in Rack B."
    counts = dict(StockLine.objects.values_list("place__name", "count"))
    assert counts == {"Rack A": 0, "Rack B": 12}


def test_more_than_there_is_is_refused_and_nothing_moves(world, rack, other, attendant, at) -> None:
    line = world.stock(world.drawing("SP-10", kind="spacer"), rack, 3)
    result = put(attendant, at, line.code, other.code, quantity=4)
    assert result.code == "stock_short"
    assert "Only 3 of SP-10 are in Rack A, not 4" in result.message
    assert StockLine.objects.count() == 1


# ---- undo


def test_an_undone_scan_puts_the_piece_back(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack, seen=False)
    wrong = put(attendant, at, piece.code, other.code)
    undone = put(attendant, at + MINUTE, piece.code, other.code, corrects=wrong.id, how="tick")
    assert (undone.status, undone.place) == ("taken", rack.code)
    assert refreshed([piece])[0].place == rack
    assert piece.seen_at is None
    row = Movement.objects.get(uuid=undone.id)
    assert row.corrects.uuid == wrong.id
    assert (row.effective_at, row.received_at) == (at, at + MINUTE)


def test_a_correction_may_name_the_right_place(world, rack, other, attendant, at) -> None:
    right = world.place("Rack C")
    piece = world.piece(world.drawing("D1"), rack)
    wrong = put(attendant, at, piece.code, other.code)
    put(attendant, at + MINUTE, piece.code, right.code, corrects=wrong.id)
    assert refreshed([piece])[0].place == right


def test_putting_an_old_scan_right_leaves_what_happened_since(
    world, rack, other, attendant, at
) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    wrong = put(attendant, at, piece.code, other.code)
    cart = world.place("Cart 1", kind="cart")
    put(attendant, at + MINUTE, piece.code, cart.code)
    put(attendant, at + 2 * MINUTE, piece.code, "", corrects=wrong.id)
    assert refreshed([piece])[0].place == cart


def test_a_scan_is_put_right_once(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    wrong = put(attendant, at, piece.code, other.code)
    put(attendant, at + MINUTE, piece.code, "", corrects=wrong.id)
    again = put(attendant, at + 2 * MINUTE, piece.code, "", corrects=wrong.id)
    assert again.code == "already_corrected"


def test_an_undo_can_be_undone(world, rack, other, attendant, at) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    wrong = put(attendant, at, piece.code, other.code)
    undone = put(attendant, at + MINUTE, piece.code, "", corrects=wrong.id)
    put(attendant, at + 2 * MINUTE, piece.code, "", corrects=undone.id)
    assert refreshed([piece])[0].place == other


def test_a_correction_of_nothing_or_of_another_piece_is_refused(
    world, rack, other, attendant, at
) -> None:
    drawing = world.drawing("D1")
    one, two = world.piece(drawing, rack), world.piece(drawing, rack)
    wrong = put(attendant, at, one.code, other.code)
    assert put(attendant, at, one.code, "", corrects=uuid.uuid4()).code == "unknown_scan"
    assert put(attendant, at, two.code, "", corrects=wrong.id).code == "corrects_another"


def test_a_whole_sets_scan_is_put_right_as_a_whole(world, rack, other, attendant, at) -> None:
    drawing = world.drawing("D1")
    positions = {(1, "top", n): drawing for n in (1, 2)}
    tool_set = world.tool_set("S1", positions)
    pieces = [world.piece(drawing, place) for place in (rack, world.place("Rack C"))]
    world.copy(tool_set, "A", dict(zip(positions, pieces, strict=True)))
    wrong = put(attendant, at, tool_set.code, other.code)
    put(attendant, at + MINUTE, tool_set.code, other.code, corrects=wrong.id)
    assert [piece.place.name for piece in refreshed(pieces)] == ["Rack A", "Rack C"]


def test_a_carts_move_is_put_right(world, rack, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart", parent=rack)
    wrong = put(attendant, at, cart.code, world.place("Hall").code)
    put(attendant, at + MINUTE, cart.code, "", corrects=wrong.id)
    cart.refresh_from_db()
    assert (cart.parent, cart.path_name) == (rack, "Rack A / Cart 1")


def test_a_stock_move_is_put_right(world, rack, other, attendant, at) -> None:
    line = world.stock(world.drawing("SP-10", kind="spacer"), rack, 12)
    wrong = put(attendant, at, line.code, other.code, quantity=5)
    put(attendant, at + MINUTE, line.code, "", corrects=wrong.id)
    assert dict(StockLine.objects.values_list("place__name", "count")) == {
        "Rack A": 12,
        "Rack B": 0,
    }


# ---- order within a batch


def test_a_piece_twice_in_a_batch_ends_where_it_was_put_last(
    world, rack, other, attendant, at
) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    cart = world.place("Cart 1", kind="cart")
    batch = [a_scan(piece.code, place.code, at=at) for place in (other, cart, other, rack, cart)]
    assert {each.status for each in send(attendant, at, *batch)} == {"taken"}
    assert refreshed([piece])[0].place == cart


def test_the_statements_of_a_batch_do_not_grow_with_it(
    world, rack, other, attendant, at, django_assert_max_num_queries
) -> None:
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(60)]
    assert attendant.role_set
    with django_assert_max_num_queries(30):
        send(attendant, at, *[a_scan(piece.code, other.code, at=at) for piece in pieces])
