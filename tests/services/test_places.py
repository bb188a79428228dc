"""Places nest, are made in rows, and are never inside themselves."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.world import World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Movement, Person, Place
from tooling.services import places


def test_twenty_four_pegs_are_made_in_one_go(attendant: Person, at: datetime, world: World) -> None:
    rack = world.place("Peg board")
    made = places.create_places(
        by=attendant, at=at, first_name="Peg 01", kind="peg", count=24, parent=rack,
        walking_order=100,
    )  # fmt: skip
    assert [place.name for place in made[:2]] + [made[-1].name] == ["Peg 01", "Peg 02", "Peg 24"]
    assert made[-1].path_name == "Peg board / Peg 24"
    assert made[-1].walking_order == 123
    assert len({place.code for place in made}) == 24
    assert Change.objects.filter(subject="Place", what="created").count() == 24


def test_a_cart_gets_a_code_that_says_it_moves_and_its_first_movement(
    attendant: Person, at: datetime, world: World
) -> None:
    room = world.place("Room", kind="area")
    cart = places.create_place(by=attendant, at=at, name="Cart 7", kind="cart", parent=room)
    assert cart.code.startswith("C")
    assert Movement.objects.get(cart=cart).to == room


def test_a_renamed_rack_renames_the_way_to_everything_in_it(
    attendant: Person, at: datetime, world: World
) -> None:
    rack = world.place("Rack A")
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    peg = world.place("Peg 1", kind="peg", parent=shelf)
    places.edit_place(by=attendant, at=at, place=rack, name="Rack Z")
    peg.refresh_from_db()
    assert peg.path_name == "Rack Z / Shelf 1 / Peg 1"


def test_a_shelf_put_into_another_rack_takes_its_pegs_along(
    attendant: Person, at: datetime, world: World
) -> None:
    old, new = world.place("Rack A"), world.place("Rack B")
    shelf = world.place("Shelf 1", kind="shelf", parent=old)
    peg = world.place("Peg 1", kind="peg", parent=shelf)
    places.edit_place(by=attendant, at=at, place=shelf, parent=new)
    peg.refresh_from_db()
    assert peg.path == f"/{new.code}/{shelf.code}/{peg.code}/"
    assert peg.path_name == "Rack B / Shelf 1 / Peg 1"


@pytest.mark.parametrize("depth", [0, 1, 2])
def test_a_place_cannot_go_inside_itself_or_what_is_in_it(
    depth: int, attendant: Person, at: datetime, world: World
) -> None:
    chain = [world.place("Rack A")]
    chain.append(world.place("Shelf 1", kind="shelf", parent=chain[0]))
    chain.append(world.place("Peg 1", kind="peg", parent=chain[1]))
    with pytest.raises(ToolingError) as refused:
        places.edit_place(by=attendant, at=at, place=chain[0], parent=chain[depth])
    assert refused.value.code == "place_inside_itself"
    assert Place.objects.get(pk=chain[0].pk).parent is None


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"first_name": "Rack A"}, "already_there"),
        ({"first_name": ""}, "empty_text"),
        ({"first_name": "A / B"}, "slash_in_name"),
        ({"first_name": "Peg", "count": 3}, "name_without_number"),
        ({"first_name": "Peg 1", "count": 0}, "absurd_count"),
        ({"first_name": "Peg 1", "count": 501}, "absurd_count"),
        ({"first_name": "X", "kind": "castle"}, "unknown_kind"),
    ],
)
def test_nonsense_is_refused_and_makes_no_place(
    fields: dict[str, object], code: str, attendant: Person, at: datetime, world: World
) -> None:
    world.place("Rack A")
    values = {"kind": "rack", "count": 1, **fields}
    with pytest.raises(ToolingError) as refused:
        places.create_places(by=attendant, at=at, **values)
    assert refused.value.code == code
    assert Place.objects.count() == 1


def test_a_cart_is_not_put_elsewhere_by_an_edit(
    attendant: Person, at: datetime, world: World
) -> None:
    cart, rack = world.place("Cart 1", kind="cart"), world.place("Rack A")
    with pytest.raises(ToolingError) as refused:
        places.edit_place(by=attendant, at=at, place=cart, parent=rack)
    assert refused.value.code == "carts_move"


def test_a_place_that_holds_pieces_is_not_given_up(
    attendant: Person, at: datetime, world: World
) -> None:
    rack = world.place("Rack A")
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    world.piece(world.drawing("D1"), shelf)
    with pytest.raises(ToolingError) as refused:
        places.edit_place(by=attendant, at=at, place=rack, is_active=False)
    assert refused.value.code == "not_empty"


@pytest.mark.parametrize("role", ["viewer", "crew"])
def test_viewers_and_crew_make_no_places(
    role: str, cast: dict[str, Person], at: datetime, world: World
) -> None:
    with pytest.raises(NotAllowed):
        places.create_place(by=cast[role], at=at, name="Rack", kind="rack")


def test_places_do_not_nest_beyond_what_a_path_can_hold(
    attendant: Person, at: datetime, world: World
) -> None:
    deep = world.place("Deep", kind="area")
    Place.objects.filter(pk=deep.pk).update(path="/" + "P0000000/" * 44)
    deep.refresh_from_db()
    with pytest.raises(ToolingError) as refused:
        places.create_place(by=attendant, at=at, name="N", kind="area", parent=deep)
    assert refused.value.code == "too_deep"


@given(start=st.integers(0, 9_999), count=st.integers(2, 40), zeros=st.integers(0, 3))
def test_numbers_go_up_one_by_one_and_keep_their_zeros(start: int, count: int, zeros: int) -> None:
    names = places._names(f"Bin {'0' * zeros}{start}", count)
    assert [int(name.split()[1]) for name in names] == list(range(start, start + count))
    assert all(len(name.split()[1]) >= zeros + len(str(start)) for name in names)
