"""What is on an order is held from the request to the release."""

from __future__ import annotations

import pytest

from tests.grinding import Grinding, a_kit
from tests.services.scanning import put
from tests.services.test_owner_leave import refused
from tooling.models import (
    OrderEvent,
    Setup,
)
from tooling.queries.kits import kit_page
from tooling.services import kits
from tooling.services.movements import move_pieces
from tooling.services.regrind_release import release_for_job

pytestmark = pytest.mark.django_db
THIRD = (3, "bottom", 1)


@pytest.fixture
def shop(world):
    return Grinding(world)


def move_piece(*, piece, **where):
    move_pieces(pieces=[piece], **where)


def test_what_is_on_order_may_be_reserved_but_not_staged(shop, engineer, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    assert kit.positions.get(piece=shop.pieces[THIRD]).is_open
    move = {"by": crew, "at": shop.world.at, "piece": shop.piece(THIRD), "to": kit.place}
    assert refused("piece_held", move_piece, **move).values["order"] == order.number
    station = shop.mill.stations.get(number=3).place
    refused("piece_held", move_piece, **{**move, "to": station})
    shop.ready(engineer, order)
    refused("piece_held", move_piece, **move)


def test_a_plate_on_which_a_setup_is_built_takes_nothing_that_is_on_order(shop, engineer, crew):
    kit = a_kit(shop, crew)
    plate = shop.world.place("Raft 1", kind="plate")
    Setup.objects.create(kit=kit, mill=shop.mill, plate=plate, started_at=shop.world.at)
    shop.request(engineer, THIRD)
    move = {"by": crew, "at": shop.world.at, "piece": shop.piece(THIRD), "to": plate}
    refused("piece_held", move_piece, **move)
    move_piece(**{**move, "piece": shop.piece((1, "top", 1))})
    assert kit.positions.filter(is_staged=True).count() == 1


def test_a_running_setup_keeps_its_rolls_until_the_order_is_sent(shop, engineer, crew):
    kit = a_kit(shop, crew)
    move_piece(by=crew, at=shop.world.at, piece=shop.piece(THIRD), to=kit.place)
    shop.request(engineer, THIRD)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.world.at).positions}
    assert told[shop.pieces[THIRD].code].state == "here"
    station = shop.mill.stations.get(number=3).place
    move_piece(by=crew, at=shop.world.at, piece=shop.piece(THIRD), to=station)
    assert kit.positions.get(piece=shop.pieces[THIRD]).holds_piece


def test_released_for_one_job_it_is_held_for_every_other(shop, engineer, supervisor, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    way = {"by": supervisor, "at": shop.later(6), "order": order, "job": kit.job}
    refused("empty_text", release_for_job, **way, reason=" ")
    refused("nothing_back", release_for_job, **way, reason="first coil only")
    shop.send(engineer, order)
    shop.back(engineer, order)
    release_for_job(**way, reason="first coil only")
    move_piece(by=crew, at=shop.later(6), piece=shop.piece(THIRD), to=kit.place)
    assert kit.positions.get(piece=shop.pieces[THIRD]).holds_piece
    move_piece(by=crew, at=shop.later(7), piece=shop.piece(THIRD), to=shop.rack)
    kits.close(by=crew, at=shop.later(7), kit=kit, reason="called off")
    later = a_kit(shop, crew, number="J2", in_hours=400)
    move = {"by": crew, "at": shop.later(8), "piece": shop.piece(THIRD), "to": later.place}
    refused("piece_held", move_piece, **move)
    event = OrderEvent.objects.get(what="for_job")
    assert (event.job, event.reason, event.piece) == (
        kit.job,
        "first coil only",
        shop.pieces[THIRD],
    )
    assert {each["code"] for each in event.said["pieces"]} >= {"unread_after_cut", "mark_missing"}


def test_what_lies_with_a_kit_goes_to_no_grinder(shop, engineer, crew):
    kit = a_kit(shop, crew)
    move_pieces(by=crew, at=shop.world.at, pieces=[shop.piece(THIRD)], to=kit.place)
    order = shop.request(engineer, THIRD)
    assert refused("piece_taken", shop.send, engineer, order).values["kit"] == kit.number


def test_kits_say_which_order_holds_a_piece_and_offer_another(shop, engineer, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.world.at).positions}
    held = told[shop.pieces[THIRD].code]
    assert (held.state, order.number in held.reason) == ("held", True)
    shop.send(engineer, order)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.world.at).positions}
    assert told[shop.pieces[THIRD].code].state == "out"
    shop.back(engineer, order)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.later(6)).positions}
    assert "not released yet" in told[shop.pieces[THIRD].code].reason


def test_a_whole_set_put_to_a_kit_leaves_what_is_on_order(shop, engineer, crew):
    shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    told = put(crew, shop.world.at, shop.set.code, kit.place.code)
    assert "(3B), held" in told.message
    assert kit.positions.filter(is_staged=True).count() == 7
