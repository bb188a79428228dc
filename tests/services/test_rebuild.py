"""What is derived can be worked out again from history alone, and every lie is found."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.conftest import AT
from tests.services.scanning import put
from tests.world import MM, World
from tooling.models import (
    Kit,
    KitPosition,
    LengthEntry,
    Piece,
    Place,
    Reading,
    StockLine,
    Work,
    WorkMeasure,
)
from tooling.services import stock
from tooling.services.derived import refresh_length_run, refresh_sizes
from tooling.services.rebuild import differences, rebuild

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast) -> dict:
    """A shop in which pieces, a cart and stock moved, were put right, measured and cut."""
    world, attendant, at = standing_world, standing_cast["attendant"], AT
    rack, other = world.place("Rack A"), world.place("Rack B")
    cart = world.place("Cart 1", kind="cart", parent=rack)
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(3)]
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    put(attendant, at, pieces[0].code, cart.code)
    wrong = put(attendant, at, pieces[1].code, cart.code)
    put(attendant, at + MINUTE, pieces[1].code, "", corrects=wrong.id)
    put(attendant, at, cart.code, other.code)
    put(attendant, at, line.code, other.code, quantity=4)
    stock.count(by=attendant, at=at, line=line, counted=3)
    when = {"happened_at": at, "received_at": at}
    Reading.objects.create(piece=pieces[0], dimension="outside_diameter", value_nm=150 * MM,
                           unit="mm", **when)  # fmt: skip
    work = Work.objects.create(piece=pieces[0], kind="regrind", done_on=date(2026, 11, 25),
                               received_at=at)  # fmt: skip
    WorkMeasure.objects.create(work=work, dimension="outside_diameter", after_nm=149 * MM)
    LengthEntry.objects.create(piece=pieces[2], length_nm=5 * MM, strokes=40, **when)
    refresh_sizes([piece.pk for piece in pieces])
    refresh_length_run([piece.pk for piece in pieces])
    return {"pieces": pieces, "cart": cart, "line": line, "rack": rack, "other": other}


@pytest.fixture
def lived_in(standing, standing_shop) -> dict:
    return standing.copy(standing_shop)


def test_what_the_services_wrote_agrees_with_history(lived_in) -> None:
    assert differences() == []


LIES = {
    "place": lambda shop: Piece.objects.filter(pk=shop["pieces"][0].pk).update(place=shop["rack"]),
    "placed by": lambda shop: Piece.objects.filter(pk=shop["pieces"][0].pk).update(placed_by=None),
    "cart": lambda shop: Place.objects.filter(pk=shop["cart"].pk).update(parent=shop["rack"]),
    "cart placed by": lambda shop: Place.objects.filter(pk=shop["cart"].pk).update(placed_by=None),
    "path": lambda shop: Place.objects.filter(pk=shop["cart"].pk).update(path="/elsewhere/"),
    "count": lambda shop: StockLine.objects.filter(pk=shop["line"].pk).update(count=77),
    "outside diameter": lambda shop: Piece.objects.filter(pk=shop["pieces"][0].pk).update(
        now_outside_diameter_nm=1
    ),
    "bore": lambda shop: Piece.objects.filter(pk=shop["pieces"][1].pk).update(now_bore_nm=1),
    "length run": lambda shop: Piece.objects.filter(pk=shop["pieces"][2].pk).update(
        length_run_nm=1
    ),
    "strokes": lambda shop: Piece.objects.filter(pk=shop["pieces"][2].pk).update(strokes_run=41),
}


@pytest.mark.parametrize("what", LIES)
def test_a_lie_is_found_and_put_right(lived_in, what) -> None:
    LIES[what](lived_in)
    assert what in [each.what for each in differences()]
    assert what in [each.what for each in rebuild()]
    assert differences() == []


def test_a_difference_names_places_by_their_codes(lived_in) -> None:
    piece, cart = lived_in["pieces"][0], lived_in["cart"]
    LIES["place"](lived_in)
    [found] = differences()
    assert (found.subject, found.kept, found.should_be) == (
        piece.code,
        lived_in["rack"].code,
        cart.code,
    )


def test_a_piece_without_history_is_told_and_left_where_it_is(world, lived_in) -> None:
    stray = Piece.objects.create(
        code=world.code("R"),
        drawing=lived_in["pieces"][0].drawing,
        revision=lived_in["pieces"][0].revision,
        owner=world.shop,
        place=lived_in["rack"],
    )
    rebuild()
    [left] = differences()
    assert (left.what, left.subject, left.should_be) == ("place", stray.code, None)
    stray.refresh_from_db()
    assert stray.place == lived_in["rack"]


def test_staged_flags_are_worked_out_from_where_pieces_are(world, attendant, at) -> None:
    kit, piece = a_kit(world, at)
    put(attendant, at, piece.code, kit.number)
    assert differences() == []
    KitPosition.objects.filter(kit=kit).update(is_staged=False, holds_piece=False)
    assert [each.what for each in rebuild()] == ["is staged"]
    assert KitPosition.objects.get(kit=kit).holds_piece
    assert differences() == []


def test_a_flag_of_a_piece_that_is_elsewhere_is_taken_away(world, attendant, at) -> None:
    kit, _piece = a_kit(world, at)
    KitPosition.objects.filter(kit=kit).update(is_staged=True, holds_piece=True)
    rebuild()
    assert not KitPosition.objects.get(kit=kit).is_staged
    assert differences() == []


def a_kit(world: World, at) -> tuple[Kit, Piece]:
    """An open kit of one position, gathered on a cart, and the piece it chose."""
    drawing = world.drawing("D9")
    tool_set = world.tool_set("S9", {(1, "top", 1): drawing})
    piece = world.piece(drawing, world.place("Rack 9"))
    job = world.job(tool_set, world.mill("M9", stations=1))
    kit = Kit.objects.create(
        number=world.code("K"), job=job, place=world.place("Cart 9", kind="cart")
    )
    KitPosition.objects.create(
        kit=kit,
        set_position=tool_set.passes.get().positions.get(),
        station_number=1,
        pass_number=1,
        shaft="top",
        order=1,
        drawing=drawing,
        piece=piece,
    )
    return kit, piece


def test_staged_counts_are_worked_out_from_what_lies_there(world, attendant, at) -> None:
    kit, _piece = a_kit(world, at)
    line = world.stock(world.drawing("SP-8", kind="spacer"), world.place("Rack 8"), 3)
    kit.positions.update(piece=None, stock_line=line, drawing=line.drawing)
    put(attendant, at, line.code, kit.number)
    assert differences() == []
    kit.positions.update(is_staged=False)
    assert [each.what for each in rebuild()] == ["counts staged"]
    assert kit.positions.get().is_staged
