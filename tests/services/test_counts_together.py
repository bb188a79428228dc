"""People on one count at the same moment, each on a connection of their own."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from tests.services.counting import MINUTE, a_mark, close, kept, send
from tests.world import World, make_person
from tooling.errors import Conflict, ToolingError
from tooling.models import Count, CountEntry, Movement, Person, Piece, RefusedScan, Role
from tooling.services import counts
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db(transaction=True)
PEOPLE = 4
EACH = 6


@pytest.fixture
def world(transactional_db: None, at: datetime) -> World:
    return World(at=at)


@pytest.fixture
def people(transactional_db: None) -> list[Person]:
    return [make_person(f"person{n}", Role.ATTENDANT) for n in range(PEOPLE)]


def at_once(acts: list[Callable[[], Any]]) -> list[Any]:
    """Threads that begin in the same moment; what each gave back."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        try:
            gate.wait()
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def test_four_people_who_see_the_same_pieces_find_each_once(world, people, at) -> None:
    rack = world.place("Rack A")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(EACH)]
    count = counts.open_count(by=people[0], at=at, place=rack)

    def see_all(n: int) -> list[str]:
        turned = pieces[n:] + pieces[:n]
        marks = [a_mark(piece.code, at + MINUTE) for piece in turned]
        results = [
            send(people[n], at + MINUTE, count, mark, phone=f"phone {n}")[0] for mark in marks
        ]
        return [result.status for result in results]

    told = at_once([lambda n=n: see_all(n) for n in range(PEOPLE)])
    statuses = sorted(status for statuses in told for status in statuses)
    assert statuses == ["repeated"] * (PEOPLE - 1) * EACH + ["taken"] * EACH
    assert CountEntry.objects.count() == EACH
    close(people[0], at + 2 * MINUTE, count)
    assert kept(count) == (EACH, EACH, 0, 0)


def test_what_arrives_after_the_close_is_refused_and_nothing_is_half(world, people, at) -> None:
    """One closes while two scan found pieces and strays: each mark is wholly in the count or
    refused with ``count_closed``."""
    rack, other = world.place("Rack A"), world.place("Rack B")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(EACH)]
    strays = [world.piece(drawing, other) for _n in range(EACH)]
    world.place("Lost", kind="lost")
    count = counts.open_count(by=people[0], at=at, place=rack)
    later = at + MINUTE

    def scan(n: int, which: list[Piece]) -> dict[int, tuple[str, str]]:
        told = {}
        for piece in which:
            [result] = send(people[n], later, count, a_mark(piece.code, later), phone=f"phone {n}")
            told[piece.pk] = (result.status, result.code)
        return told

    def end() -> Count:
        return close(people[0], later, Count.objects.get(pk=count.pk))

    found, extra, _closed = at_once([lambda: scan(1, pieces), lambda: scan(2, strays), end])
    refused = ("refused", "count_closed")
    assert set(found.values()) <= {("taken", ""), refused}
    assert set(extra.values()) <= {("taken", "extra"), refused}
    in_time = [pk for pk, said in found.items() if said != refused]
    strayed = [pk for pk, said in extra.items() if said != refused]
    assert kept(count) == (EACH, len(in_time), EACH - len(in_time), len(strayed))
    where = dict(Piece.objects.values_list("pk", "place__name"))
    for piece in pieces:
        assert where[piece.pk] == ("Rack A" if piece.pk in in_time else "Lost")
    for stray in strays:
        assert where[stray.pk] == ("Rack A" if stray.pk in strayed else "Rack B")
    assert CountEntry.objects.count() == len(in_time) + len(strayed)
    late = 2 * EACH - len(in_time) - len(strayed)
    assert RefusedScan.objects.filter(error_code="count_closed").count() == late
    assert differences() == []


def test_a_count_is_closed_by_one_person_and_opened_by_one(world, people, at) -> None:
    rack = world.place("Rack A")
    world.piece(world.drawing("D1"), rack)

    def open_it(n: int) -> str:
        try:
            counts.open_count(by=people[n], at=at, place=rack)
        except Conflict as error:
            return error.code
        return "opened"

    told = at_once([lambda n=n: open_it(n) for n in range(PEOPLE)])
    assert sorted(told) == ["already_counting"] * (PEOPLE - 1) + ["opened"]
    count = Count.objects.get()

    def close_it(n: int) -> str:
        try:
            close(people[n], at + MINUTE, count)
        except ToolingError as error:
            return error.code
        return "closed"

    told = at_once([lambda n=n: close_it(n) for n in range(PEOPLE)])
    assert sorted(told) == ["closed"] + ["count_closed"] * (PEOPLE - 1)
    assert Movement.objects.filter(to__kind="lost").count() == 1
    assert kept(count) == (1, 0, 1, 0)
