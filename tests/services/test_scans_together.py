"""Several senders at once, each on a connection of its own: nothing counts twice, none fails."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection, connections

from tests.services.scanning import a_scan, send
from tests.world import World, make_person
from tooling.models import Movement, Person, Piece, Role
from tooling.services.rebuild import differences
from tooling.services.scans import record_batch

pytestmark = pytest.mark.django_db(transaction=True)
SENDERS = 6


@pytest.fixture
def world(transactional_db: None, at: Any) -> World:
    return World(at=at)


@pytest.fixture
def sender(transactional_db: None) -> Person:
    return make_person("sender", Role.ATTENDANT)


def at_once(act: Callable[[int], Any]) -> list[Any]:
    """Six threads that begin in the same moment; what each gave back."""
    gate = Barrier(SENDERS)

    def run(number: int) -> Any:
        try:
            gate.wait()
            return act(number)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(SENDERS) as pool:
        return list(pool.map(run, range(SENDERS)))


def test_the_same_batch_from_six_senders_is_taken_once(world, sender, at) -> None:
    rack, other = world.place("Rack A"), world.place("Rack B")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(8)]
    batch = [a_scan(piece.code, other.code, at=at) for piece in pieces]
    answers = at_once(lambda number: send(sender, at, *batch))
    statuses = [[result.status for result in results] for results in answers]
    assert sorted(statuses) == [["repeated"] * 8] * (SENDERS - 1) + [["taken"] * 8]
    assert Movement.objects.filter(scan__isnull=False).count() == 8
    assert Piece.objects.filter(place=other).count() == 8


def test_the_same_batch_from_six_devices_is_taken_once(world, sender, at) -> None:
    rack, other = world.place("Rack A"), world.place("Rack B")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(4)]
    batch = [a_scan(piece.code, other.code, at=at) for piece in pieces]
    answers = at_once(lambda number: send_from(number, sender, at, batch))
    statuses = [[result.status for result in results] for results in answers]
    assert sorted(statuses) == [["repeated"] * 4] * (SENDERS - 1) + [["taken"] * 4]
    assert Movement.objects.filter(scan__isnull=False).count() == 4
    assert differences() == []


def test_six_senders_that_scan_the_same_pieces_in_other_orders_all_succeed(
    world, sender, at
) -> None:
    rack = world.place("Rack A")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(6)]
    places = [world.place(f"Cart {n}", kind="cart") for n in range(SENDERS)]

    def scan_all(number: int) -> list[str]:
        turned = pieces[number:] + pieces[:number]
        batch = [a_scan(piece.code, places[number].code, at=at) for piece in turned]
        return [result.status for result in send_from(number, sender, at, batch)]

    assert at_once(scan_all) == [["taken"] * 6] * SENDERS
    assert Movement.objects.filter(scan__isnull=False).count() == 6 * SENDERS
    assert differences() == []


def send_from(number: int, sender: Person, at: Any, batch: list[Any]) -> list[Any]:
    """Each from a device of its own, so that the pieces are what they meet at."""
    from_device = f"device {number}"
    return record_batch(by=sender, at=at, device=from_device, device_now=at, scans=batch)


def test_six_senders_that_mix_pieces_and_stock_in_other_orders_all_succeed(
    world, sender, at
) -> None:
    """Each locks rows that the others want, in the order of its own scans: none may be shut out."""
    rack, drawing = world.place("Rack A"), world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(4)]
    lines = [world.stock(world.drawing(f"SP{n}", kind="spacer"), rack, 900) for n in range(4)]
    places = [world.place(f"Cart {n}", kind="cart") for n in range(4)]

    def mix(number: int) -> list[str]:
        order = [(number + n) % 4 for n in range(4)]
        if number % 2:
            order.reverse()
        batch = []
        for n in order:
            batch.append(a_scan(lines[n].code, places[n].code, at=at, quantity=2))
            batch.append(a_scan(pieces[n].code, places[(n + 1) % 4].code, at=at))
        return [result.status for result in send_from(number, sender, at, batch)]

    assert at_once(mix) == [["taken"] * 8] * SENDERS
    assert differences() == []


def test_the_last_of_a_bin_is_taken_by_one_sender_only(world, sender, at) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), world.place("Rack A"), 3)
    places = [world.place(f"Cart {n}", kind="cart") for n in range(SENDERS)]

    def take_two(number: int) -> str:
        batch = [a_scan(line.code, places[number].code, at=at, quantity=2)]
        return str(send_from(number, sender, at, batch)[0].code)

    assert sorted(at_once(take_two)) == ["", *["stock_short"] * (SENDERS - 1)]
    line.refresh_from_db()
    assert line.count == 1
    assert differences() == []


def test_the_database_that_is_tested_keeps_its_connections_apart(transactional_db: None) -> None:
    """Else the tests above would prove nothing: an in-memory SQLite shares one connection."""
    assert connection.settings_dict["NAME"] not in (":memory:", "")
    assert "mode=memory" not in str(connection.settings_dict["NAME"])
