"""The ledger against a plain list of what happened, folded anew after every step.

Whatever is scanned, late or put right, in whatever order it arrives: every piece is in the one
place that the list says, counts are the list's sums and never below nothing.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, ClassVar

import pytest
from django.db import transaction
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.services.scanning import a_scan, send
from tests.world import World
from tooling.models import Person, Piece, Place, StockLine
from tooling.services.rebuild import differences

MINUTE = timedelta(minutes=1)
pytestmark = pytest.mark.django_db
index = st.integers(min_value=0, max_value=3)


@dataclass
class Told:
    """One row as the model remembers it."""

    effective: datetime
    received: datetime
    number: int
    piece: int
    to: int
    scan: uuid.UUID | None
    corrects: Told | None = None
    is_corrected: bool = False

    @property
    def key(self) -> tuple[datetime, datetime, int]:
        return (self.effective, self.received, self.number)


class Ledger(RuleBasedStateMachine):
    """Three pieces, four places of which two are carts, one bin with its arrivals."""

    by: ClassVar[Person]
    start: ClassVar[datetime]

    def __init__(self) -> None:
        super().__init__()
        self.savepoint = transaction.savepoint()
        self.now = self.start
        world = World(at=self.start)
        self.places = [
            world.place(f"Place {n}", kind="cart" if n >= 2 else "rack") for n in range(4)
        ]
        drawing = world.drawing("D")
        self.pieces = [world.piece(drawing, self.places[0]) for _n in range(3)]
        self.line = world.stock(world.drawing("SP", kind="spacer"), self.places[0], 6)
        self.counts = [6, 0, 0, 0]
        before = self.start - timedelta(days=1)
        self.told = [Told(before, before, n, n, 0, None) for n in range(3)]
        self.sent: list[tuple[Any, str]] = []

    def teardown(self) -> None:
        assert differences() == []
        transaction.savepoint_rollback(self.savepoint)

    def send(self, scan: Any) -> Any:
        self.now += MINUTE
        [result] = send(self.by, self.now, scan)
        self.sent.append((scan, result.status))
        return result

    @rule(piece=st.integers(0, 2), place=index, ago=st.integers(0, 10))
    def put(self, piece: int, place: int, ago: int) -> None:
        at = self.now + MINUTE - ago * MINUTE
        scan = a_scan(self.pieces[piece].code, self.places[place].code, at=at)
        assert self.send(scan).status == "taken"
        self.told.append(Told(at, self.now, len(self.told), piece, place, scan.id))

    @rule(which=st.integers(min_value=0, max_value=30))
    def put_right(self, which: int) -> None:
        scanned = [told for told in self.told if told.scan is not None]
        if not scanned:
            return
        wrong = scanned[which % len(scanned)]
        code = self.pieces[wrong.piece].code
        result = self.send(a_scan(code, "", at=self.now, corrects=wrong.scan))
        if wrong.is_corrected:
            assert (result.status, result.code) == ("refused", "already_corrected")
            return
        assert result.status == "taken", result.message
        back = wrong.corrects.to if wrong.corrects else self.before(wrong)
        wrong.is_corrected = True
        self.told.append(
            Told(wrong.effective, self.now, len(self.told), wrong.piece, back, result.id, wrong)
        )

    def before(self, wrong: Told) -> int:
        earlier = [t for t in self.live(wrong.piece) if t.key < wrong.key]
        if earlier:
            return max(earlier, key=lambda told: told.key).to
        raise AssertionError("every piece was entered before it was scanned")

    def live(self, piece: int) -> list[Told]:
        return [told for told in self.told if told.piece == piece and not told.is_corrected]

    @rule(which=st.integers(min_value=0, max_value=30))
    def send_again(self, which: int) -> None:
        if not self.sent:
            return
        scan, status = self.sent[which % len(self.sent)]
        [result] = send(self.by, self.now + MINUTE, scan)
        assert result.status == ("refused" if status == "refused" else "repeated")

    @rule(place=st.integers(1, 3), quantity=st.integers(1, 8))
    def move_stock(self, place: int, quantity: int) -> None:
        to = self.places[place].code
        result = self.send(a_scan(self.line.code, to, at=self.now, quantity=quantity))
        if quantity > self.counts[0]:
            assert result.code == "stock_short"
            return
        self.counts[0] -= quantity
        self.counts[place] += quantity

    @rule(cart=st.integers(2, 3), place=index)
    def move_cart(self, cart: int, place: int) -> None:
        mine, to = (Place.objects.get(pk=self.places[n].pk) for n in (cart, place))
        result = self.send(a_scan(mine.code, to.code, at=self.now + MINUTE))
        inside = to.path.startswith(mine.path)
        assert result.code == ("place_inside_itself" if inside else "")

    @invariant()
    def every_piece_is_in_the_one_place_that_the_list_says(self) -> None:
        where = dict(Piece.objects.values_list("code", "place_id"))
        for number, piece in enumerate(self.pieces):
            last = max(self.live(number), key=lambda told: told.key)
            assert where[piece.code] == self.places[last.to].pk

    @invariant()
    def counts_are_the_lists_sums(self) -> None:
        counts = dict(StockLine.objects.values_list("place_id", "count"))
        assert [counts.get(place.pk, 0) for place in self.places] == self.counts

    @invariant()
    def no_place_lies_inside_itself(self) -> None:
        for path in Place.objects.values_list("path", flat=True):
            codes = path.strip("/").split("/")
            assert len(codes) == len(set(codes))


def test_the_ledger_is_what_happened(attendant: Person, at: datetime) -> None:
    machine = type("Machine", (Ledger,), {"by": attendant, "start": at})
    run_state_machine_as_test(
        machine, settings=settings(max_examples=15, stateful_step_count=20, deadline=None)
    )


@given(
    places=st.lists(index, min_size=1, max_size=6),
    order=st.randoms(use_true_random=False),
    undone=st.sets(st.integers(0, 5)),
)
@settings(max_examples=20, deadline=None)
def test_the_order_of_arrival_does_not_matter(
    attendant: Person, at: datetime, places: list[int], order: Any, undone: set[int]
) -> None:
    """The n-th scan happened in the n-th minute; they arrive in any order, then some are undone."""
    savepoint = transaction.savepoint()
    try:
        world = World(at=at)
        racks = [world.place(f"Place {n}") for n in range(4)]
        piece = world.piece(world.drawing("D"), racks[0])
        batch = [
            a_scan(piece.code, racks[place].code, at=at + n * MINUTE)
            for n, place in enumerate(places)
        ]
        arriving = list(batch)
        order.shuffle(arriving)
        now = at + 60 * MINUTE
        for n, scan in enumerate(arriving):
            send(attendant, now + n * MINUTE, scan)
        wrong = [n for n in range(len(batch)) if n in undone]
        for n in wrong:
            undo = a_scan(piece.code, "", at=now, corrects=batch[n].id)
            assert send(attendant, now + 60 * MINUTE, undo)[0].status == "taken"
        stands = [racks[0].pk, *(racks[p].pk for n, p in enumerate(places) if n not in undone)]
        assert Piece.objects.get(pk=piece.pk).place_id == stands[-1]
        assert differences() == []
    finally:
        transaction.savepoint_rollback(savepoint)
