"""Counts: they change only by rows, never go below nothing, and every row can be put right."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import DatabaseError
from django.db.models import F

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Movement, StockLine
from tooling.services import corrections, stock
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def line(world, rack):
    return world.stock(world.drawing("SP-10", kind="spacer"), rack, 10)


def count_of(line: StockLine) -> int:
    return StockLine.objects.get(pk=line.pk).count


@pytest.mark.parametrize(
    ("act", "left"),
    [(stock.receive, 13), (stock.make, 13), (stock.use_up, 7), (stock.scrap, 7)],
)
def test_each_act_changes_the_count_by_its_quantity(line, attendant, at, act, left) -> None:
    act(by=attendant, at=at, line=line, quantity=3)
    assert count_of(line) == left
    assert differences() == []


def test_a_count_says_the_difference(line, attendant, at) -> None:
    row = stock.count(by=attendant, at=at, line=line, counted=8)
    assert (row.what, row.quantity, count_of(line)) == ("count", -2, 8)
    assert StockLine.objects.get(pk=line.pk).seen_at == at


def test_a_count_that_agrees_is_kept_too(line, attendant, at) -> None:
    assert stock.count(by=attendant, at=at, line=line, counted=10).quantity == 0


@pytest.mark.parametrize("act", [stock.use_up, stock.scrap])
def test_no_more_is_taken_than_there_is(line, attendant, at, act) -> None:
    with pytest.raises(ToolingError) as error:
        act(by=attendant, at=at, line=line, quantity=11)
    assert error.value.code == "stock_short"
    assert "Only 10 of SP-10 are in Rack A, not 11" in error.value.message
    assert count_of(line) == 10
    assert Movement.objects.filter(stock=line).count() == 1


@pytest.mark.parametrize("quantity", [0, -1, 2_000_000])
def test_an_absurd_quantity_is_refused(line, attendant, at, quantity) -> None:
    with pytest.raises(ToolingError) as error:
        stock.receive(by=attendant, at=at, line=line, quantity=quantity)
    assert error.value.code == "absurd_quantity"


def test_a_count_below_nothing_is_refused(line, attendant, at) -> None:
    with pytest.raises(ToolingError, match="absurd_quantity"):
        stock.count(by=attendant, at=at, line=line, counted=-1)


def test_the_crew_moves_but_does_not_count(line, crew, at, world) -> None:
    stock.move(by=crew, at=at, line=line, quantity=2, to=world.place("Cart 1", kind="cart"))
    with pytest.raises(NotAllowed):
        stock.count(by=crew, at=at, line=line, counted=8)


def test_a_move_goes_to_the_places_own_line(line, attendant, at, world) -> None:
    other = world.place("Rack B")
    for _turn in range(2):
        stock.move(by=attendant, at=at, line=line, quantity=4, to=other)
    there = StockLine.objects.get(place=other)
    assert (count_of(line), there.count, there.code[0]) == (2, 8, "B")
    assert differences() == []


def test_a_move_to_where_it_is_is_refused(line, attendant, at, rack) -> None:
    with pytest.raises(ToolingError) as error:
        stock.move(by=attendant, at=at, line=line, quantity=1, to=rack)
    assert error.value.code == "already_there"


def test_a_wrong_receipt_is_put_right(line, attendant, at) -> None:
    row = stock.receive(by=attendant, at=at, line=line, quantity=5)
    [right] = corrections.undo(by=attendant, at=at + MINUTE, movement=row)
    assert (count_of(line), right.corrects) == (10, row)
    assert differences() == []


def test_an_undo_of_an_undo_brings_the_count_back(line, attendant, at) -> None:
    row = stock.use_up(by=attendant, at=at, line=line, quantity=5)
    [right] = corrections.undo(by=attendant, at=at, movement=row)
    corrections.undo(by=attendant, at=at, movement=right)
    assert count_of(line) == 5
    assert differences() == []


def test_a_receipt_that_was_used_up_since_cannot_be_undone(line, attendant, at) -> None:
    row = stock.receive(by=attendant, at=at, line=line, quantity=5)
    stock.use_up(by=attendant, at=at, line=line, quantity=12)
    with pytest.raises(ToolingError) as error:
        corrections.undo(by=attendant, at=at, movement=row)
    assert error.value.code == "stock_short"
    assert count_of(line) == 3
    assert not Movement.objects.filter(corrects=row).exists()


def test_a_move_to_the_wrong_place_is_put_right_to_another(line, attendant, at, world) -> None:
    wrong, right = world.place("Rack B"), world.place("Rack C")
    row = stock.move(by=attendant, at=at, line=line, quantity=4, to=wrong)
    corrections.undo(by=attendant, at=at, movement=row, to=right)
    counts = dict(StockLine.objects.values_list("place__name", "count"))
    assert counts == {"Rack A": 6, "Rack B": 0, "Rack C": 4}
    assert differences() == []


def test_the_database_itself_refuses_a_count_below_nothing(line) -> None:
    with pytest.raises(DatabaseError):
        StockLine.objects.filter(pk=line.pk).update(count=F("count") - 11)
