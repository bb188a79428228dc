"""Counts go back to the bins they were taken from; into a kit they are let like pieces."""

from __future__ import annotations

import uuid

import pytest

from tests.services.scanning import put
from tooling.errors import ToolingError
from tooling.models import Kit, Owner, StockLine
from tooling.queries.stock_homes import homes_of_counts
from tooling.services import corrections, stock
from tooling.services.rebuild import differences
from tooling.services.stock_home import put_counts_back

pytestmark = pytest.mark.django_db


@pytest.fixture
def spacer(world):
    return world.drawing("SP", kind="spacer")


@pytest.fixture
def cart(world):
    return world.place("Cart 1", kind="cart")


@pytest.fixture
def bins(world, spacer):
    return [world.stock(spacer, world.place(f"Rack {n}", walking_order=n), 5) for n in range(3)]


@pytest.fixture
def kit(world, spacer, cart, crew):
    tool_set = world.tool_set("S", {(1, "top", n): spacer for n in (1, 2, 3)})
    job = world.job(tool_set, world.mill())
    return Kit.objects.create(number=world.code("K"), job=job, place=cart, assembled_at=world.at)


def counts():
    return dict(StockLine.objects.order_by("pk").values_list("place__name", "count"))


def test_counts_go_back_to_the_bins_that_gave_them(bins, cart, attendant, at) -> None:
    for line, quantity in zip(bins, (2, 3), strict=False):
        stock.move(by=attendant, at=at, line=line, quantity=quantity, to=cart)
    on_cart = StockLine.objects.get(place=cart)
    stock.move(by=attendant, at=at, line=on_cart, quantity=1, to=bins[0].place)
    rows = put_counts_back(by=attendant, at=at, source=cart)
    assert [(row.stock_to, row.quantity) for row in rows] == [(bins[0], 1), (bins[1], 3)]
    assert counts() == {"Rack 0": 5, "Rack 1": 5, "Rack 2": 5, "Cart 1": 0}
    corrections.undo(by=attendant, at=at, movement=rows[0])
    assert counts() == {"Rack 0": 4, "Rack 1": 2, "Rack 2": 5, "Cart 1": 4}
    assert differences() == []


def test_what_was_used_up_on_the_way_goes_back_to_nobody(bins, cart, attendant, at) -> None:
    stock.move(by=attendant, at=at, line=bins[1], quantity=4, to=cart)
    on_cart = StockLine.objects.get(place=cart)
    stock.use_up(by=attendant, at=at, line=on_cart, quantity=3)
    put_counts_back(by=attendant, at=at, source=cart)
    assert counts() == {"Rack 0": 5, "Rack 1": 2, "Rack 2": 5, "Cart 1": 0}


def test_what_was_made_on_the_cart_goes_to_the_nearest_bin(
    world, spacer, bins, cart, attendant, at
) -> None:
    line = world.stock(spacer, cart, 2)
    [back] = homes_of_counts([line])[line.pk]
    assert (back.place, back.count, back.came) == (bins[0].place, 2, False)


def test_what_has_no_bin_stays_and_says_so(world, spacer, cart, attendant, at) -> None:
    world.stock(spacer, cart, 2)
    with pytest.raises(ToolingError) as caught:
        put_counts_back(by=attendant, at=at, source=cart)
    assert caught.value.code == "nothing_to_put_back"


def test_sent_twice_it_counts_once(bins, cart, attendant, at) -> None:
    stock.move(by=attendant, at=at, line=bins[0], quantity=2, to=cart)
    act = uuid.uuid4()
    assert len(put_counts_back(by=attendant, at=at, source=cart, act=act)) == 1
    assert put_counts_back(by=attendant, at=at, source=cart, act=act) == []


def test_struck_down_spacers_are_no_longer_staged(kit, spacer, bins, cart, attendant, at) -> None:
    for position in kit.job.tool_set.passes.get().positions.all():
        kit.positions.create(
            set_position=position, station_number=1, pass_number=1, shaft="top",
            order=position.order, drawing=spacer,
        )  # fmt: skip
    taken = put(attendant, at, bins[2].code, kit.number)
    assert "3 of SP are in Cart 1" in taken.message
    assert kit.positions.filter(is_staged=True, stock_line=bins[2]).count() == 3
    put_counts_back(by=attendant, at=at, source=cart)
    assert kit.positions.filter(is_staged=True).count() == 0
    assert counts()["Rack 2"] == 5
    assert differences() == []


def test_a_bin_scanned_to_the_kits_cart_gives_what_the_kit_wants(
    kit, bins, cart, attendant, at
) -> None:
    position = kit.job.tool_set.passes.get().positions.first()
    kit.positions.create(
        set_position=position, station_number=1, pass_number=1, shaft="top",
        order=position.order, drawing=position.drawing,
    )  # fmt: skip
    assert "1 of SP is in Cart 1" in put(attendant, at, bins[0].code, cart.code).message
    again = put(attendant, at, bins[0].code, cart.code)
    assert (again.code, kit.number in again.message) == ("wrong_position", True)


@pytest.mark.parametrize(
    ("condition", "code"),
    [("hold", "piece_held"), ("cracked", "piece_not_fit"), ("chipped", "piece_not_fit")],
)
def test_what_is_held_or_broken_does_not_come_into_a_kit(
    world, kit, spacer, cart, crew, at, condition, code
) -> None:
    line = world.stock(spacer, world.place("Quarantine"), 3, condition=condition)
    for to in (kit.number, cart.code):
        result = put(crew, at, line.code, to, quantity=1)
        assert (result.code, line.code in result.message) == (code, True)
    other = world.place("Cart 2", kind="cart")
    assert put(crew, at, line.code, other.code, quantity=1).status == "taken"
    assert counts() == {"Quarantine": 2, "Cart 2": 1}


def test_another_owners_spacers_do_not_come_into_a_job_without_consent(
    world, kit, spacer, crew, at
) -> None:
    owner = Owner.objects.create(code="QUIL", name="Quill")
    line = world.stock(spacer, world.place("Quill's rack"), 3, owner=owner)
    result = put(crew, at, line.code, kit.number, quantity=1)
    assert (result.code, "Quill" in result.message) == ("owner_approval_missing", True)
    Owner.objects.filter(pk=owner.pk).update(consent_reference="letter of May")
    assert put(crew, at, line.code, kit.number, quantity=1).status == "taken"


def test_more_than_there_is_says_how_many_are_left(kit, bins, crew, at) -> None:
    result = put(crew, at, bins[0].code, kit.number, quantity=6)
    assert (result.code, "Only 5 of SP are in Rack 0" in result.message) == ("stock_short", True)


def test_a_cart_with_bins_in_anothers_gathering_place_counts_while_it_is_there(
    world, kit, spacer, bins, attendant, at
) -> None:
    position = kit.job.tool_set.passes.get().positions.first()
    kit.positions.create(
        set_position=position, station_number=1, pass_number=1, shaft="top",
        order=position.order, drawing=spacer,
    )  # fmt: skip
    area, plate = world.place("Bay", kind="area"), world.place("Plate 9", kind="plate")
    Kit.objects.filter(pk=kit.pk).update(place=area)
    stock.move(by=attendant, at=at, line=bins[0], quantity=1, to=plate)
    for to, staged in ((area, 1), (world.place("Hall", kind="area"), 0)):
        put(attendant, at, plate.code, to.code)
        assert kit.positions.filter(is_staged=True).count() == staged
        assert differences() == []
