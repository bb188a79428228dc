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

from tests.examples import examples
from tests.services.scanning import a_scan, send
from tests.world import World
from tooling.models import Movement, Person, Piece, Place, StockLine
from tooling.services.rebuild import differences

MINUTE = timedelta(minutes=1)
pytestmark = pytest.mark.django_db
index = st.integers(min_value=0, max_value=3)


@dataclass
class Told:
    """One scan as the model remembers it, and what was said to put it right since: a place, or
    None for an undo. Each of these is undone or put right in its turn, so only the last can be."""

    effective: datetime
    piece: int
    said: list[int | None]
    heard: list[tuple[datetime, int]]
    scans: list[uuid.UUID]

    @property
    def stands(self) -> int | None:
        """The place that it comes to; None: it is as if it had not been. An undo takes away
        itself and what it undoes."""
        said = list(self.said)
        while said and said[-1] is None:
            del said[-2:]
        return said[-1] if said else None

    @property
    def key(self) -> tuple[datetime, datetime, int]:
        """Of one moment, what was said last holds."""
        return (self.effective, *self.heard[-1])


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
        self.told = [Told(before, n, [0], [(before, n)], []) for n in range(3)]
        self.number = 3
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
        self.told.append(Told(at, piece, [place], [self.heard()], [scan.id]))

    def heard(self) -> tuple[datetime, int]:
        self.number += 1
        return (self.now, self.number)

    @rule(which=st.integers(0, 30), link=st.integers(0, 4), place=st.none() | index)
    def put_right(self, which: int, link: int, place: int | None) -> None:
        """Undo (no place) or correct a scan, or what put it right before; once each."""
        scanned = [told for told in self.told if told.scans]
        if not scanned:
            return
        told = scanned[which % len(scanned)]
        link = link % len(told.scans)
        to = self.places[place] if place is not None else None
        row = Movement.objects.select_related("to").get(uuid=told.scans[link])
        if to is not None and to.pk == row.to_id and not row.takes_back:
            to = None  # the very place of the wrong row means an undo
        scan = a_scan(
            self.pieces[told.piece].code, to.code if to else "", at=self.now,
            corrects=told.scans[link],
        )  # fmt: skip
        result = self.send(scan)
        if link < len(told.scans) - 1:
            assert (result.status, result.code) == ("refused", "already_corrected")
            return
        assert result.status == "taken", result.message
        told.said.append(place if to is not None else None)
        told.heard.append(self.heard())
        told.scans.append(scan.id)

    def live(self, piece: int) -> list[Told]:
        return [told for told in self.told if told.piece == piece and told.stands is not None]

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
            assert where[piece.code] == self.places[last.stands or 0].pk

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
        machine, settings=settings(max_examples=examples(15), stateful_step_count=20, deadline=None)
    )


@given(
    places=st.lists(index, min_size=1, max_size=6),
    order=st.randoms(use_true_random=False),
    undone=st.sets(st.integers(0, 5)),
)
@settings(max_examples=examples(25), deadline=None)
def test_neither_the_order_of_arrival_nor_of_undoing_matters(
    attendant: Person, at: datetime, places: list[int], order: Any, undone: set[int]
) -> None:
    """A piece, and a cart, were in the n-th place in the n-th minute; the scans and the undoing of
    some, or all, of them arrive in any order but that a scan comes before its undo."""
    savepoint = transaction.savepoint()
    try:
        world = World(at=at)
        racks = [world.place(f"Place {n}") for n in range(4)]
        piece = world.piece(world.drawing("D"), racks[0])
        cart = world.place("Cart", kind="cart", parent=racks[0])
        now = at + 60 * MINUTE
        for code in (piece.code, cart.code):
            scans = [
                a_scan(code, racks[place].code, at=at + n * MINUTE)
                for n, place in enumerate(places)
            ]
            wrong = [n for n in range(len(scans)) if n in undone]
            arriving = [*range(len(scans)), *wrong]
            order.shuffle(arriving)
            came: set[int] = set()
            for n in arriving:
                now += MINUTE
                scan = scans[n] if n not in came else a_scan(code, "", at=now, corrects=scans[n].id)
                came.add(n)
                assert send(attendant, now, scan)[0].status == "taken"
        stands = [racks[0].pk, *(racks[p].pk for n, p in enumerate(places) if n not in undone)]
        assert Piece.objects.get(pk=piece.pk).place_id == stands[-1]
        assert Place.objects.get(pk=cart.pk).parent_id == stands[-1]
        assert differences() == []
    finally:
        transaction.savepoint_rollback(savepoint)
