"""Devices, a network that loses, repeats and reorders, and the ledger, against a plain model.

A device takes scans in order and keeps each until the server names its id. A request may be lost,
its answer may be lost, it may arrive twice or again much later; clocks are off and are set right
in between. Whatever happens: every scan that was taken waits on its device or is answered, never
both and never neither; what was delivered is in the ledger once; every piece is where the events
put it, folded by their own times; and the same id is never answered in two ways.
"""

from __future__ import annotations

import os
import uuid
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import ClassVar

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.world import World
from tooling.models import Contradiction, Movement, Person, Piece, RefusedScan
from tooling.services import scans
from tooling.services.rebuild import differences
from tooling.services.scan_moves import ScanIn

pytestmark = pytest.mark.django_db
EXAMPLES = int(os.environ.get("ROLLROOM_MODEL_EXAMPLES", "12"))
"""``bench models`` tries many more."""
STEPS = 30
SECOND = timedelta(seconds=1)
PIECES, PLACES, DEVICES = 2, 3, 3
NOWHERE = PLACES
"""A place whose code no label has: its scans are refused."""

device = st.integers(0, DEVICES - 1)


@dataclass
class Device:
    """What one device holds. ``ahead``: how far its clock is."""

    name: str
    ahead: timedelta = timedelta()
    waiting: list[ScanIn] = field(default_factory=list)
    answers: dict[uuid.UUID, str] = field(default_factory=dict)
    sent: list[list[ScanIn]] = field(default_factory=list)


@dataclass(frozen=True)
class Event:
    """What the server heard first of a scan: when it counts from, and in which order it came."""

    effective: datetime
    received: datetime
    number: int
    piece: int
    place: int


class ShopFloor(RuleBasedStateMachine):
    """Three devices, two pieces, three places and one that does not exist."""

    by: ClassVar[Person]
    start: ClassVar[datetime]

    def __init__(self) -> None:
        super().__init__()
        self.savepoint = transaction.savepoint()
        self.now = self.start
        world = World(at=self.start)
        self.places = [world.place(f"Place {n}") for n in range(PLACES)]
        drawing = world.drawing("D")
        self.pieces = [world.piece(drawing, self.places[0]) for _n in range(PIECES)]
        before = self.start - timedelta(days=1)
        self.events = [Event(before, before, n, n, 0) for n in range(PIECES)]
        self.devices = [Device(f"device {n}") for n in range(DEVICES)]
        self.taken: dict[uuid.UUID, tuple[int, int]] = {}
        self.heard: set[uuid.UUID] = set()

    def teardown(self) -> None:
        for number in range(DEVICES):
            while self.devices[number].waiting:
                self.send(number=number, size=50, arrives=1, is_answered=True)
        self.nothing_is_lost_and_nothing_is_there_twice()
        assert all(not each.waiting for each in self.devices)
        assert Contradiction.objects.filter(first=None, refused=None).count() == 0
        assert differences() == []
        transaction.savepoint_rollback(self.savepoint)

    @rule(number=device, piece=st.integers(0, PIECES - 1), place=st.integers(0, NOWHERE))
    def scan(self, number: int, piece: int, place: int) -> None:
        """Taken on the device, at its own clock; shown as taken from here on."""
        self.now += SECOND
        mine = self.devices[number]
        to = self.places[place].code if place < PLACES else "no such place"
        taken = ScanIn(
            id=uuid.uuid4(), happened_at=self.now + mine.ahead, to=to,
            code=self.pieces[piece].code, sequence=len(mine.sent),
        )  # fmt: skip
        mine.waiting.append(taken)
        self.taken[taken.id] = (piece, place)

    @rule(seconds=st.sampled_from([1, 90, 3_600, 86_400]))
    def wait(self, seconds: int) -> None:
        self.now += seconds * SECOND

    @rule(number=device, days=st.sampled_from([0, 0, 1, -1, 366, -366]))
    def set_clock(self, number: int, days: int) -> None:
        """Also while scans wait: what the device then says of its clock is not what held."""
        self.devices[number].ahead = timedelta(days=days)

    @rule(
        number=device, size=st.integers(1, 5), arrives=st.sampled_from([0, 1, 1, 1, 2]),
        is_answered=st.booleans(),
    )  # fmt: skip
    def send(self, number: int, size: int, arrives: int, is_answered: bool) -> None:
        """The oldest that wait, in one request that arrives so often."""
        mine = self.devices[number]
        batch = mine.waiting[:size]
        if not batch:
            return
        mine.sent.append(batch)
        results: list[scans.ScanResult] = []
        for _time in range(arrives):
            results = self.deliver(mine, batch)
        if is_answered and results:
            self.hear(mine, results)

    @rule(number=device, which=st.integers(0, 50), to=device)
    def arrive_again(self, number: int, which: int, to: int) -> None:
        """A request of long ago, from this device or from one that took over its list."""
        sent = self.devices[number].sent
        if sent:
            results = self.deliver(self.devices[to], sent[which % len(sent)])
            self.hear(self.devices[number], results)

    def deliver(self, sender: Device, batch: list[ScanIn]) -> list[scans.ScanResult]:
        self.now += SECOND
        results = scans.record_batch(
            by=self.by, at=self.now, device=sender.name, device_now=self.now + sender.ahead,
            scans=batch,
        )  # fmt: skip
        assert [each.id for each in results] == [each.id for each in batch]
        for taken, result in zip(batch, results, strict=True):
            piece, place = self.taken[taken.id]
            is_first = taken.id not in self.heard
            said = "refused" if place == NOWHERE else "taken" if is_first else "repeated"
            assert (result.status, result.code != "") == (said, said == "refused")
            if is_first:
                self.heard.add(taken.id)
                self.note(taken, sender, piece, place)
        return results

    def note(self, taken: ScanIn, sender: Device, piece: int, place: int) -> None:
        if place == NOWHERE:
            return
        effective = min(taken.happened_at - sender.ahead, self.now)
        kept = Movement.objects.values_list("effective_at", "clock_is_off").get(scan=taken.id)
        assert kept == (effective, sender.ahead != timedelta())
        number = len(self.events)
        self.events.append(Event(effective, self.now, number, piece, place))

    def hear(self, mine: Device, results: list[scans.ScanResult]) -> None:
        """The answer arrives: what it names waits no longer."""
        for result in results:
            said = "refused" if result.status == "refused" else "taken"
            assert mine.answers.setdefault(result.id, said) == said
        mine.waiting = [each for each in mine.waiting if each.id not in mine.answers]

    @invariant()
    def nothing_is_lost_and_nothing_is_there_twice(self) -> None:
        rows = Movement.objects.filter(scan__isnull=False).values_list("scan", flat=True)
        refused = RefusedScan.objects.values_list("scan", flat=True)
        there = Counter([*rows, *refused])
        assert set(there) == self.heard
        assert set(there.values()) <= {1}
        waiting = Counter(each.id for mine in self.devices for each in mine.waiting)
        answered = {key for mine in self.devices for key in mine.answers}
        assert set(waiting) | answered == set(self.taken)
        assert not set(waiting) & answered
        assert answered <= self.heard

    @invariant()
    def every_piece_is_where_the_events_put_it(self) -> None:
        where = dict(Piece.objects.values_list("pk", "place_id"))
        for number, piece in enumerate(self.pieces):
            mine = [each for each in self.events if each.piece == number]
            last = max(mine, key=lambda each: (each.effective, each.received, each.number))
            assert where[piece.pk] == self.places[last.place].pk


def test_whatever_the_network_does_each_scan_counts_once(attendant: Person, at: datetime) -> None:
    machine = type("Machine", (ShopFloor,), {"by": attendant, "start": at})
    run_state_machine_as_test(
        machine,
        settings=settings(max_examples=EXAMPLES, stateful_step_count=STEPS, deadline=None),
    )
