"""What is out, the walk and the keeping parts of pages ask a fixed number of questions."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.services.scanning import put
from tests.world import World
from tooling.models import Person, Piece
from tooling.queries.keeping import loaded_carts, piece_keeping, place_keeping
from tooling.queries.loans import loans
from tooling.queries.put_away import put_away
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db
COUNTS: dict[str, int] = json.loads(
    (Path(__file__).resolve().parent.parent / "query_counts.json").read_text()
)


@pytest.fixture
def crowd(world: World, attendant: Person, at: Any) -> Any:
    """A cart with a roll that rested in a rack, one that has a home, a bin and a plate; another
    cart, a roll and a count at a grinder."""
    world.rack = world.place("Rack A")
    world.cart = world.place("Cart 1", kind="cart")
    world.grinder = world.place("Grinder", kind="grinder")
    world.drawing_1 = world.drawing("D1")
    world.roll = world.piece(world.drawing_1, world.rack)
    peg = world.place("Peg 1", kind="peg", parent=world.rack)
    world.piece(world.drawing_1, world.cart, home=peg)
    line = world.stock(world.drawing("SP", kind="spacer"), world.rack, 9)
    other = world.place("Cart 2", kind="cart")
    world.piece(world.drawing_1, other)
    plate = world.place("Plate 1", kind="plate", parent=world.rack)
    put(attendant, at, plate.code, world.cart.code)
    put(attendant, at, world.roll.code, world.cart.code)
    put(attendant, at, line.code, world.cart.code, quantity=2)
    put(attendant, at, line.code, world.grinder.code, quantity=3)
    put(attendant, at, other.code, world.grinder.code)
    world.out = world.piece(world.drawing_1, world.rack)
    put(attendant, at, world.out.code, world.grinder.code)
    return world


def more(world: Any, by: Person, at: Any, n: int) -> None:
    """N rolls more on the cart and at the grinder, each of which rested in the rack."""
    for place in (world.cart, world.grinder):
        rolls = [world.piece(world.drawing_1, world.rack) for _n in range(n)]
        move_pieces(by=by, at=at + timedelta(hours=1), pieces=rolls, to=place)


READS: dict[str, Callable[[Any, Any], Any]] = {
    "what is out": lambda world, at: loans(at=at),
    "put-away walk": lambda world, at: put_away(world.cart.code, at=at),
    "piece keeping": lambda world, at: piece_keeping(world.roll.code, at=at),
    "piece keeping, out": lambda world, at: piece_keeping(world.out.code, at=at),
    "place keeping": lambda world, at: place_keeping(world.cart.code),
    "loaded carts": lambda world, at: loaded_carts(),
}


def test_the_reads_are_a_fixed_number_of_queries(crowd: Any, attendant: Person, at: Any) -> None:
    for size in (0, 250):
        more(crowd, attendant, at, size)
        for name, read in READS.items():
            with CaptureQueriesContext(connection) as asked:
                read(crowd, at)
            said = [query["sql"][:120] for query in asked]
            assert len(asked) == COUNTS[name], (name, size, said)
    assert len(loans(at=at)) == 254
    assert put_away(crowd.cart.code, at=at).count == 254


def test_with_nothing_out_or_loaded_they_are_empty(world: World, at: Any) -> None:
    cart = world.place("Cart 1", kind="cart")
    assert loans(at=at) == []
    assert loaded_carts() == []
    page = put_away(cart.code, at=at)
    assert (page.count, page.stops, page.homeless, page.at_home) == (0, (), (), 0)
    assert not Piece.objects.exists()
