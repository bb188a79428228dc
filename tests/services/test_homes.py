"""Where things belong: said, by their set, or where they rested; and putting them there."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.services.scanning import put
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Movement, Piece, Place, StockLine
from tooling.queries.homes import home_of
from tooling.queries.put_away import put_away
from tooling.services import homes
from tooling.services.corrections import undo
from tooling.services.movements import find_movement
from tooling.services.put_away import put_stop_away
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture
def hall(world):
    return world.place("Hall", kind="area")


@pytest.fixture
def rack(world, hall):
    return world.place("Rack A", parent=hall, walking_order=20)


@pytest.fixture
def other(world, hall):
    return world.place("Rack B", parent=hall, walking_order=10)


@pytest.fixture
def cart(world, hall):
    return world.place("Cart 1", kind="cart", parent=hall)


@pytest.fixture
def pegs(world, rack):
    return [
        world.place(f"Peg {n}", kind="peg", parent=rack, walking_order=20 + n) for n in (1, 2, 3)
    ]


@pytest.fixture
def rolls(world, rack):
    drawing = world.drawing("D1")
    return [world.piece(drawing, rack, mark=f"{n}-T") for n in (1, 2, 3)]


@pytest.fixture
def copy(world, rolls):
    spots = {(1, "top", n): rolls[0].drawing for n in (1, 2, 3)}
    tool_set = world.tool_set("S1", spots)
    return world.copy(tool_set, "A", dict(zip(spots, rolls, strict=True)))


def home(piece: Piece) -> tuple[str, str]:
    found = home_of(piece)
    return (found.place.name, found.why) if found else ("", "")


def where(rolls) -> list[str]:
    return [Piece.objects.get(pk=roll.pk).place.name for roll in rolls]


def on_cart(rolls, cart, attendant, at) -> None:
    for roll in rolls:
        put(attendant, at, roll.code, cart.code)


# ---- where it belongs


def test_what_was_said_for_it_wins(rolls, copy, other, pegs, attendant, at) -> None:
    homes.set_copy_home(by=attendant, at=at, copy=copy, home=other)
    assert home(rolls[0]) == ("Rack B", "copy")
    homes.set_piece_home(by=attendant, at=at, piece=rolls[0], home=pegs[0])
    assert home(rolls[0]) == ("Peg 1", "own")


def test_else_it_belongs_where_it_last_rested(world, rolls, cart, other, attendant, at) -> None:
    mill = world.mill(stations=1)
    for n, place in enumerate((other, cart, mill.stations.get().place)):
        put(attendant, at + timedelta(minutes=n), rolls[0].code, place.code)
    assert home(rolls[0]) == ("Rack B", "rested")


def test_pegs_of_its_kit_are_not_where_it_rested(world, rolls, other, attendant, at) -> None:
    tool_set = world.tool_set("S2", {(1, "top", 1): rolls[0].drawing})
    kit = world.job(tool_set, world.mill(stations=1)).kits.create(
        number=world.code("K"), place=other
    )
    kit.positions.create(
        set_position=tool_set.passes.get().positions.get(), station_number=1, pass_number=1,
        shaft="top", order=1, drawing=rolls[0].drawing, piece=rolls[0],
    )  # fmt: skip
    put(attendant, at, rolls[0].code, other.code)
    assert home(rolls[0]) == ("Rack A", "rested")


def test_a_home_that_the_shop_gave_up_does_not_count(rolls, other, attendant, at) -> None:
    homes.set_piece_home(by=attendant, at=at, piece=rolls[0], home=other)
    Place.objects.filter(pk=other.pk).update(is_active=False)
    assert home(rolls[0]) == ("Rack A", "rested")


def test_nothing_says_where_a_new_piece_belongs(world, cart) -> None:
    assert home(world.piece(world.drawing("D2"), cart)) == ("", "")


def test_a_bin_belongs_with_most_of_its_like(world, rack, other, cart) -> None:
    drawing = world.drawing("SP", kind="spacer")
    for place, count in ((rack, 3), (other, 9)):
        world.stock(drawing, place, count)
    loose = world.stock(drawing, cart, 2)
    line = StockLine.objects.select_related("place").get(pk=loose.pk)
    found = home_of(line)
    assert found is not None
    assert (found.place, found.why) == (other, "like")


def test_a_cart_belongs_where_it_was_said_else_where_it_stood(
    world, hall, cart, rack, other, attendant, at
) -> None:
    mill = world.mill(stations=1)
    put(attendant, at, cart.code, other.code)
    put(attendant, at + timedelta(hours=1), cart.code, mill.place.code)
    found = home_of(Place.objects.get(pk=cart.pk))
    assert found is not None
    assert (found.place, found.why) == (other, "rested")
    homes.set_cart_home(by=attendant, at=at, cart=cart, home=hall)
    found = home_of(Place.objects.get(pk=cart.pk))
    assert found is not None
    assert (found.place, found.why) == (hall, "own")


# ---- saying it for many at once


def test_what_is_here_now_belongs_here(world, hall, rack, pegs, cart, rolls, attendant, at) -> None:
    put(attendant, at, rolls[0].code, pegs[1].code)
    put(attendant, at, rolls[2].code, cart.code)
    said = homes.belongs_here(by=attendant, at=at, place=hall)
    rolls[2].refresh_from_db()
    cart.refresh_from_db()
    assert (home(Piece.objects.get(pk=rolls[0].pk)), said.changed) == (("Peg 2", "own"), 3)
    assert (rolls[2].home, cart.home) == (None, hall)
    assert said.act is not None
    assert homes.take_back(by=attendant, at=at + timedelta(minutes=1), act=said.act) == 3
    assert not Piece.objects.filter(home__isnull=False).exists()


def test_each_piece_of_a_copy_belongs_where_it_lies(
    world, copy, rolls, pegs, attendant, at
) -> None:
    for roll, peg in zip(rolls[:2], pegs, strict=False):
        put(attendant, at, roll.code, peg.code)
    put(attendant, at, rolls[2].code, world.place("Grinder", kind="grinder").code)
    assert homes.copy_belongs_here(by=attendant, at=at, copy=copy).changed == 2
    assert set(Piece.objects.values_list("home__name", flat=True)) == {"Peg 1", "Peg 2", None}


def test_taking_back_leaves_what_was_said_since(rolls, rack, other, attendant, at) -> None:
    said = homes.belongs_here(by=attendant, at=at, place=rack)
    homes.set_piece_home(by=attendant, at=at + timedelta(hours=1), piece=rolls[0], home=other)
    assert said.act is not None
    assert homes.take_back(by=attendant, at=at + timedelta(hours=2), act=said.act) == 2
    assert home(Piece.objects.get(pk=rolls[0].pk)) == ("Rack B", "own")


@pytest.mark.parametrize(
    ("case", "code"),
    [
        ("grinder", "no_home_there"),
        ("given up", "place_not_used"),
        ("rack", "does_not_move"),
        ("itself", "place_inside_itself"),
        ("empty", "nothing_here"),
        ("unknown act", "unknown_act"),
    ],
)
def test_where_nothing_can_belong_is_refused(world, rack, cart, rolls, attendant, at, case, code):
    grinder = world.place("Grinder", kind="grinder")
    shut = world.place("Old rack", is_active=False)
    calls = {
        "grinder": lambda: homes.set_piece_home(by=attendant, at=at, piece=rolls[0], home=grinder),
        "given up": lambda: homes.set_piece_home(by=attendant, at=at, piece=rolls[0], home=shut),
        "rack": lambda: homes.set_cart_home(by=attendant, at=at, cart=rack, home=cart),
        "itself": lambda: homes.set_cart_home(by=attendant, at=at, cart=cart, home=cart),
        "empty": lambda: homes.belongs_here(by=attendant, at=at, place=cart),
        "unknown act": lambda: homes.take_back(by=attendant, at=at, act=999),
    }
    with pytest.raises(ToolingError) as raised:
        calls[case]()
    assert raised.value.code == code
    assert not Change.objects.filter(what=homes.SAID).exists()


def test_the_crew_does_not_say_where_things_belong(rolls, rack, crew, at) -> None:
    with pytest.raises(NotAllowed):
        homes.set_piece_home(by=crew, at=at, piece=rolls[0], home=rack)


# ---- a whole set home


def test_a_set_scanned_home_goes_piece_by_piece_to_its_pegs(
    copy, rolls, rack, pegs, cart, attendant, at
) -> None:
    for roll, peg in zip(rolls, pegs, strict=True):
        homes.set_piece_home(by=attendant, at=at, piece=roll, home=peg)
    on_cart(rolls, cart, attendant, at)
    result = put(attendant, at + timedelta(hours=1), copy.tool_set.code, rack.code)
    assert result.message == "3 pieces of S1-A are home, each in its own place."
    assert where(rolls) == ["Peg 1", "Peg 2", "Peg 3"]
    undo(by=attendant, at=at + timedelta(hours=2), movement=find_movement(result.id))
    assert where(rolls) == ["Cart 1"] * 3
    assert differences() == []


def test_elsewhere_the_whole_set_goes_to_the_place_scanned(
    copy, rolls, other, pegs, cart, attendant, at
) -> None:
    homes.set_piece_home(by=attendant, at=at, piece=rolls[0], home=pegs[0])
    on_cart(rolls, cart, attendant, at)
    put(attendant, at + timedelta(hours=1), copy.tool_set.code, other.code)
    assert where(rolls) == ["Rack B"] * 3


def test_who_stays_is_named_with_the_reason(world, copy, rolls, rack, cart, attendant, at) -> None:
    on_cart(rolls[:1], cart, attendant, at)
    Piece.objects.filter(pk=rolls[1].pk).update(condition="hold", hold_reason="crack?")
    put(attendant, at, rolls[2].code, world.place("Lost", kind="lost").code)
    result = put(attendant, at + timedelta(hours=1), copy.tool_set.code, rack.code)
    assert "1 piece of S1-A is in Hall / Rack A." in result.message
    assert f"{rolls[1].code} (2-T), held, crack?" in result.message
    assert f"{rolls[2].code} (3-T), lost" in result.message
    assert where(rolls) == ["Rack A", "Rack A", "Lost"]


def test_one_staged_for_another_kit_stays_with_it(
    world, copy, rolls, other, cart, attendant, at
) -> None:
    tool_set = world.tool_set("S2", {(1, "top", 1): rolls[0].drawing})
    kit = world.job(tool_set, world.mill(stations=1)).kits.create(
        number=world.code("K"), place=cart
    )
    kit.positions.create(
        set_position=tool_set.passes.get().positions.get(), station_number=1, pass_number=1,
        shaft="top", order=1, drawing=rolls[0].drawing, piece=rolls[0],
    )  # fmt: skip
    put(attendant, at, rolls[0].code, cart.code)
    result = put(attendant, at + timedelta(hours=1), copy.tool_set.code, other.code)
    assert f"Not moved: {rolls[0].code} (1-T), with kit {kit.number}." in result.message
    assert where(rolls) == ["Cart 1", "Rack B", "Rack B"]


def test_one_last_seen_in_another_rack_is_pointed_out(
    copy, rolls, rack, other, cart, attendant, at
) -> None:
    on_cart(rolls[:2], cart, attendant, at)
    put(attendant, at, rolls[2].code, other.code)
    result = put(attendant, at + timedelta(hours=1), copy.tool_set.code, rack.code)
    assert "look whether they came along: " in result.message
    assert f"{rolls[2].code} (3-T), Hall / Rack B." in result.message


# ---- guided


@pytest.fixture
def loaded(world, copy, rolls, pegs, other, cart, attendant, at):
    """A cart with two rolls for pegs, one for Rack B, a spacer for Rack B, one without a home."""
    for roll, place in zip(rolls, (pegs[1], pegs[0], other), strict=True):
        homes.set_piece_home(by=attendant, at=at, piece=roll, home=place)
    on_cart(rolls, cart, attendant, at)
    spacer = world.drawing("SP", kind="spacer")
    world.stock(spacer, other, 9)
    world.stock(spacer, cart, 2)
    return world.piece(world.drawing("D7"), cart, mark="stray")


def test_the_walk_is_in_walking_order_and_names_what_has_no_home(loaded, cart, at) -> None:
    page = put_away(cart.code, at=at)
    told = [(s.name, [(line.name, line.spot, line.quantity) for line in s.lines])
            for s in page.stops]  # fmt: skip
    assert told == [
        ("Rack B", [("SP", "", 2), ("3-T", "", 1)]),
        ("Rack A", [("2-T", "Peg 1", 1), ("1-T", "Peg 2", 1)]),
    ]
    assert [line.name for line in page.homeless] == ["stray"]
    assert page.count == 6


def test_all_of_a_place_is_put_away_with_one_tap_and_undone_with_one(
    loaded, cart, rack, other, rolls, attendant, at
) -> None:
    later = at + timedelta(hours=1)
    put_stop_away(by=attendant, at=later, source=cart, stop=rack.code)
    act = put_stop_away(by=attendant, at=later, source=cart, stop=other.code)
    assert where(rolls) == ["Peg 2", "Peg 1", "Rack B"]
    assert StockLine.objects.get(place=other).count == 11
    assert put_away(cart.code, at=at).stops == ()
    undo(by=attendant, at=at + timedelta(hours=2), movement=find_movement(act))
    assert where(rolls) == ["Peg 2", "Peg 1", "Cart 1"]
    assert StockLine.objects.get(place=other).count == 9
    assert differences() == []


def test_the_wrong_place_says_where_it_belongs(loaded, rolls, other, rack, attendant, at) -> None:
    wrong = put(attendant, at, rolls[0].code, other.code, only_home=True)
    assert wrong.code == "wrong_home"
    assert f"{rolls[0].code} (1-T) belongs in Hall / Rack A / Peg 2" in wrong.message
    right = put(attendant, at + timedelta(hours=1), "1-T", rack.code, only_home=True)
    assert right.status == "taken"
    assert where(rolls)[0] == "Peg 2"
    anywhere = put(attendant, at + timedelta(hours=1), loaded.code, other.code, only_home=True)
    assert anywhere.status == "taken"


def test_a_place_for_which_nothing_is_left_is_refused(cart, rack, attendant, at) -> None:
    with pytest.raises(ToolingError) as raised:
        put_stop_away(by=attendant, at=at, source=cart, stop=rack.code)
    assert raised.value.code == "nothing_for_that_place"
    assert not Movement.objects.filter(by=attendant).exists()


@pytest.mark.parametrize("count", [0, 1, 250])
def test_the_walks_questions_do_not_grow(
    world, rack, cart, at, count, django_assert_max_num_queries
) -> None:
    drawing = world.drawing("D5")
    for _n in range(count):
        world.piece(drawing, cart, home=rack)
    with django_assert_max_num_queries(12):
        assert put_away(cart.code, at=at).count == count
