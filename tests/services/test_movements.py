"""The ledger: each thing in one place, counts never below nothing, mistakes put right by rows."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import DatabaseError

from tests.services.scanning import put
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Movement, Piece, Place
from tooling.services import carts, corrections, movements
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def other(world):
    return world.place("Rack B")


@pytest.fixture
def pieces(world, rack):
    drawing = world.drawing("D1")
    return [world.piece(drawing, rack) for _n in range(3)]


def test_pieces_move_together(attendant, at, pieces, other) -> None:
    rows = movements.move_pieces(by=attendant, at=at, pieces=pieces, to=other)
    assert {row.to_id for row in rows} == {other.pk}
    assert set(Piece.objects.values_list("place__name", flat=True)) == {"Rack B"}
    assert differences() == []


def test_who_may_not_move_moves_nothing(viewer, at, pieces, other) -> None:
    with pytest.raises(NotAllowed, match="may not move pieces"):
        movements.move_pieces(by=viewer, at=at, pieces=pieces, to=other)
    assert not Movement.objects.filter(to=other).exists()


def test_scrapping_is_a_move_to_the_scrap(world, attendant, at, pieces) -> None:
    scrap = world.place("Scrap", kind="scrap")
    [row] = movements.move_pieces(by=attendant, at=at, pieces=pieces[:1], to=scrap)
    assert (row.what, Piece.objects.get(pk=pieces[0].pk).place) == ("scrap", scrap)


def test_lost_is_a_place_from_which_a_piece_can_come_back(
    world, attendant, at, pieces, other
) -> None:
    lost = world.place("Lost", kind="lost")
    put(attendant, at, pieces[0].code, lost.code)
    put(attendant, at + MINUTE, pieces[0].code, other.code)
    pieces[0].refresh_from_db()
    assert pieces[0].place == other


def test_when_the_history_row_cannot_be_written_nothing_is_saved(
    attendant, at, pieces, other
) -> None:
    before = Movement.objects.count()
    with pytest.raises(DatabaseError):
        movements.move_pieces(by=attendant, at=at, pieces=pieces, to=other, how=None)  # type: ignore[arg-type]
    assert Movement.objects.count() == before
    assert set(Piece.objects.values_list("place__name", flat=True)) == {"Rack A"}


def test_only_carts_and_plates_move(world, attendant, at, rack, other) -> None:
    with pytest.raises(ToolingError) as error:
        carts.move_cart(by=attendant, at=at, cart=rack, to=other)
    assert error.value.code == "does_not_move"


def test_two_carts_of_one_name_do_not_share_a_place(world, attendant, at, rack, other) -> None:
    world.place("Cart 1", kind="cart", parent=rack)
    mine = world.place("Cart 1", kind="cart", parent=other)
    with pytest.raises(ToolingError) as error:
        carts.move_cart(by=attendant, at=at, cart=mine, to=rack)
    assert error.value.code == "name_taken"
    assert "Rename one" in error.value.message


def test_a_late_move_of_a_cart_leaves_it_where_it_is(world, attendant, at, rack, other) -> None:
    cart = world.place("Cart 1", kind="cart", parent=rack)
    carts.move_cart(by=attendant, at=at, cart=cart, to=other)
    late = movements.Stamp(at - MINUTE, at, at - MINUTE)
    carts.move_cart(by=attendant, at=at, cart=cart, to=rack, stamp=late)
    cart.refresh_from_db()
    assert cart.parent == other
    assert differences() == []


def test_the_first_cart_move_of_a_cart_that_stood_nowhere_cannot_be_undone(
    world, attendant, at, rack
) -> None:
    cart = world.place("Cart 1", kind="cart")
    row = carts.move_cart(by=attendant, at=at, cart=cart, to=rack)
    with pytest.raises(ToolingError) as error:
        corrections.undo(by=attendant, at=at, movement=row)
    assert error.value.code == "nothing_before"
    assert Place.objects.get(pk=cart.pk).parent == rack


def test_an_undo_that_would_put_a_cart_inside_itself_is_refused(world, attendant, at, rack) -> None:
    outer = world.place("Cart 1", kind="cart", parent=rack)
    inner = world.place("Plate 1", kind="plate", parent=outer)
    taken_off = carts.move_cart(by=attendant, at=at, cart=inner, to=rack)
    carts.move_cart(by=attendant, at=at + MINUTE, cart=outer, to=inner)
    with pytest.raises(ToolingError) as error:
        corrections.undo(by=attendant, at=at + 2 * MINUTE, movement=taken_off)
    assert error.value.code == "place_inside_itself"
    assert differences() == []


def test_a_piece_entered_by_mistake_has_nowhere_to_go_back_to(attendant, at, pieces) -> None:
    entered = Movement.objects.get(piece=pieces[0])
    with pytest.raises(ToolingError) as error:
        corrections.undo(by=attendant, at=at, movement=entered)
    assert error.value.code == "nothing_before"


def test_undoing_twice_the_same_row_is_refused_by_the_database_too(
    attendant, at, pieces, other
) -> None:
    [row] = movements.move_pieces(by=attendant, at=at, pieces=pieces[:1], to=other)
    [right] = corrections.undo(by=attendant, at=at, movement=row)
    again = Movement(piece=pieces[0], to=other, happened_at=at, received_at=at, effective_at=at,
                     how="tick", corrects_id=right.corrects_id)  # fmt: skip
    with pytest.raises(DatabaseError):
        again.save()
