"""Writes of several threads in one commit: all of them, or each by itself with its own error."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import DatabaseError, connection, connections
from django.utils import translation

from tests.services.scanning import a_scan, send
from tests.world import World, make_person
from tooling.errors import ToolingError
from tooling.models import Change, Movement, Role
from tooling.services import one_commit
from tooling.services.one_commit import in_one_commit
from tooling.services.rebuild import differences
from tooling.services.scans import record_batch
from tooling.services.write import lock, record_change, writing

pytestmark = pytest.mark.django_db(transaction=True)
SENDERS = 5


@pytest.fixture
def world(transactional_db: None, at: Any) -> World:
    return World(at=at)


def while_the_lock_is_held(act: Callable[[int], Any]) -> list[Any]:
    """What each of five threads gave or raised, all of which had to wait for the same lock."""

    def run(number: int) -> Any:
        try:
            return act(number)
        except Exception as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(SENDERS) as pool:
        with writing():
            sent = [pool.submit(run, number) for number in range(SENDERS)]
            if connection.vendor == "sqlite":
                _until_all_wait()
        return [each.result(timeout=30) for each in sent]


def _until_all_wait() -> None:
    for _turn in range(2000):
        if len(one_commit._line) == SENDERS:
            return
        threading.Event().wait(0.005)
    raise AssertionError("not all of them came into the line")


def change(world: World, key: str) -> None:
    record_change(by=None, at=world.at, subject=world.place(key), key=key, what="tried")


def test_who_waits_for_the_same_lock_is_written_by_one_thread(world) -> None:
    calls: list[int] = []

    def write(numbers: Sequence[int]) -> list[tuple[int, int]]:
        calls.append(len(numbers))
        for number in numbers:
            change(world, f"Rack {number}")
        return [(number, threading.get_ident()) for number in numbers]

    answers = while_the_lock_is_held(lambda number: in_one_commit(write, number, weight=1))
    assert [number for number, _writer in answers] == list(range(SENDERS))
    assert sum(calls) == SENDERS
    if connection.vendor == "sqlite":
        assert len({writer for _number, writer in answers}) == 1
        assert calls == [SENDERS]
    assert Change.objects.filter(what="tried").count() == SENDERS


def test_what_is_of_another_kind_is_done_by_a_call_of_its_own_in_the_order_it_came(world) -> None:
    def writer(name: str) -> Callable[[Sequence[int]], list[str]]:
        return lambda numbers: [f"{name}{number} of {len(numbers)}" for number in numbers]

    first, second = writer("a"), writer("b")
    answers = while_the_lock_is_held(
        lambda number: in_one_commit(first if number % 2 else second, number, weight=1)
    )
    assert [answer[:2] for answer in answers] == ["b0", "a1", "b2", "a3", "b4"]


def test_what_fails_is_heard_by_its_sender_only_and_leaves_nothing(world) -> None:
    def write(numbers: Sequence[int]) -> list[None]:
        for number in numbers:
            change(world, f"Rack {number}")
            if number == 2:
                raise ToolingError("improbable_value", "never")  # type: ignore[arg-type]
            if number == 3:
                with connection.cursor() as cursor:
                    cursor.execute("SELECT nothing FROM nowhere")
        return [None for _number in numbers]

    heard = while_the_lock_is_held(lambda number: in_one_commit(write, number, weight=1))
    assert [type(each) for each in heard[:2]] == [type(None), type(None)]
    assert isinstance(heard[2], ToolingError)
    assert isinstance(heard[3], DatabaseError)
    assert heard[4] is None
    kept = Change.objects.filter(what="tried").values_list("subject_key", flat=True)
    assert sorted(kept) == ["Rack 0", "Rack 1", "Rack 4"]


def test_heavy_acts_go_in_a_commit_of_their_own(world) -> None:
    def alone(numbers: Sequence[int]) -> list[int]:
        return [len(numbers)]

    answers = while_the_lock_is_held(
        lambda number: in_one_commit(alone, number, weight=one_commit.MOST_WEIGHT)
    )
    assert answers == [1] * SENDERS


def test_who_holds_a_row_long_holds_up_only_who_wants_it(world, at) -> None:
    """On PostgreSQL the others go alone after a fifth of a second; SQLite has one writer."""
    sender = make_person("sender", Role.ATTENDANT)
    rack, cart = world.place("Rack A"), world.place("Cart", kind="cart")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(3)]
    answered: list[int] = []

    def act(number: int) -> None:
        scan = a_scan(pieces[number].code, cart.code, at=at)
        [result] = record_batch(
            by=sender, at=at, device=f"phone {number}", device_now=at, scans=[scan]
        )
        assert result.status == "taken"
        answered.append(number)
        connections.close_all()

    with ThreadPoolExecutor(3) as pool:
        with writing():
            lock(pieces=[pieces[0].pk])
            sent = [pool.submit(act, number) for number in range(3)]
            if connection.vendor == "postgresql":
                for each in sent[1:]:
                    each.result(timeout=30)
                assert sorted(answered) == [1, 2]
        for each in sent:
            each.result(timeout=30)
    assert sorted(answered) == [0, 1, 2]


def test_each_is_answered_in_its_own_language(world) -> None:
    said = ["en", "de", "fr", "de", "en"]

    def spoken(numbers: Sequence[int]) -> list[str | None]:
        return [translation.get_language() for _number in numbers]

    def act(number: int) -> str | None:
        with translation.override(said[number]):
            return in_one_commit(spoken, number, weight=1)

    assert while_the_lock_is_held(act) == said


def test_a_batch_sent_again_while_it_waits_is_taken_once(world, at) -> None:
    sender = make_person("sender", Role.ATTENDANT)
    rack, drawing = world.place("Rack A"), world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(SENDERS)]
    places = [world.place(f"Cart {n}", kind="cart") for n in range(SENDERS)]
    same = a_scan(pieces[0].code, places[0].code, at=at)

    def act(number: int) -> list[str]:
        own = a_scan(pieces[number].code, places[number].code, at=at)
        void = a_scan("R000ZZZZ", places[number].code, at=at)
        return [result.status for result in send(sender, at, same, own, void)]

    answers = while_the_lock_is_held(act)
    assert sorted(answers) == [["repeated", "taken", "refused"]] * (SENDERS - 1) + [
        ["taken", "taken", "refused"]
    ]
    assert Movement.objects.filter(scan__isnull=False).count() == SENDERS + 1
    assert differences() == []


def test_two_heavy_acts_are_done_at_once_where_the_database_can(world) -> None:
    """On PostgreSQL one waits inside for the other; SQLite has one writer."""
    can_meet = connection.vendor == "postgresql"
    senders = 2 if can_meet else SENDERS
    inside: set[int] = set()
    most: list[int] = []
    both = threading.Barrier(2)

    def meet(numbers: Sequence[int]) -> list[int]:
        inside.update(numbers)
        if can_meet:
            both.wait(timeout=30)
        most.append(len(inside))
        if can_meet:
            both.wait(timeout=30)
        inside.difference_update(numbers)
        return [len(numbers)]

    def act(number: int) -> int:
        if number >= senders:
            return 1
        return in_one_commit(meet, number, weight=one_commit.MOST_WEIGHT)

    assert while_the_lock_is_held(act) == [1] * SENDERS
    assert most == ([2, 2] if can_meet else [1] * SENDERS)
    assert not one_commit._line
    assert not one_commit._leading
