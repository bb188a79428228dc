"""Writes of several threads in one commit: all of them, or each by itself with its own error."""

from __future__ import annotations

import threading
from collections.abc import Callable
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
from tooling.services.write import record_change, writing

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
    def act(number: int) -> int:
        def write() -> int:
            change(world, f"Rack {number}")
            return threading.get_ident()

        return in_one_commit(write, weight=1)

    writers = while_the_lock_is_held(act)
    assert len(set(writers)) == (1 if connection.vendor == "sqlite" else SENDERS)
    assert Change.objects.filter(what="tried").count() == SENDERS


def test_what_fails_is_heard_by_its_sender_only_and_leaves_nothing(world) -> None:
    def act(number: int) -> None:
        def write() -> None:
            change(world, f"Rack {number}")
            if number == 2:
                raise ToolingError("improbable_value", "never")  # type: ignore[arg-type]
            if number == 3:
                with connection.cursor() as cursor:
                    cursor.execute("SELECT nothing FROM nowhere")

        in_one_commit(write, weight=1)

    heard = while_the_lock_is_held(act)
    assert [type(each) for each in heard[:2]] == [type(None), type(None)]
    assert isinstance(heard[2], ToolingError)
    assert isinstance(heard[3], DatabaseError)
    assert heard[4] is None
    kept = Change.objects.filter(what="tried").values_list("subject_key", flat=True)
    assert sorted(kept) == ["Rack 0", "Rack 1", "Rack 4"]


def test_heavy_acts_go_in_a_commit_of_their_own(world) -> None:
    def act(number: int) -> int:
        return in_one_commit(threading.get_ident, weight=one_commit.MOST_WEIGHT)

    assert len(set(while_the_lock_is_held(act))) == SENDERS


def test_each_is_answered_in_its_own_language(world) -> None:
    said = ["en", "de", "fr", "de", "en"]

    def act(number: int) -> str | None:
        with translation.override(said[number]):
            return in_one_commit(translation.get_language, weight=1)

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
