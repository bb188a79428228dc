"""Counts among everything else that moves, against a plain account kept beside them.

Pieces are scanned, staged, counted, taken back, lost and found; spacers are used and counted; and
after every step each piece is in the one place that the account says, no bin is below nothing, no
piece is here for two kits, and an open count says what the account says.
"""

from __future__ import annotations

import copy
import uuid
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from tests.examples import examples
from tests.rolling import Rolling
from tests.services.counting import MINUTE, figures, kept, see
from tests.services.scanning import put
from tests.world import World
from tooling.errors import Conflict, ToolingError
from tooling.models import Count, KitPosition, Owner, OwnerReport, Person, Piece, Place, StockLine
from tooling.services import count_close, count_entries, counts, kits, stock
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
RACK, SHELF, OTHER, CART, LOST = range(5)
INSIDE = (RACK, SHELF)
which = st.integers(min_value=0, max_value=4)


@dataclass
class Mark:
    """A live mark: its id, and the line of the piece's history that it added, if it moved it."""

    entry: uuid.UUID
    moved_at: int | None = None


@dataclass
class Account:
    """What the open count should say, kept by hand."""

    expected: set[int]
    marks: dict[int, list[Mark]] = field(default_factory=dict)
    came_from: dict[int, int] = field(default_factory=dict)
    scanned: set[int] = field(default_factory=set)
    in_bin: int | None = None
    used_since: int = 0


class Floor:
    """Five pieces, of which a kit claims four and a customer owns the fifth; one bin. It stands
    before each story begins."""

    def __init__(self, by: Person, at: datetime) -> None:
        world = World(at=at)
        shop = Rolling(world)
        shelf = world.place("Shelf", kind="shelf", parent=shop.rack)
        lost = world.place("Lost", kind="lost")
        self.places: list[Place] = [shop.rack, shelf, world.place("Other"), shop.cart, lost]
        owner = Owner.objects.create(code="ACME", name="Acme")
        theirs = world.piece(world.drawing("X"), shop.rack, owner=owner)
        self.pieces: list[Piece] = [*shop.pieces.values(), theirs]
        self.line: StockLine = world.stock(world.drawing("SP", kind="spacer"), shop.rack, 6)
        kit = shop.kit(by)
        kits.set_gathering_place(by=by, at=at, kit=kit, place=shop.cart)


class Counting(RuleBasedStateMachine):
    """What may happen on a floor."""

    by: ClassVar[Person]
    start: ClassVar[datetime]
    floor: ClassVar[Floor]

    def __init__(self) -> None:
        super().__init__()
        self.savepoint = transaction.savepoint()
        self.now = self.start
        mine = copy.deepcopy(self.floor)
        self.places, self.pieces, self.line = mine.places, mine.pieces, mine.line
        self.history = [[RACK] for _piece in self.pieces]
        self.there = 6
        self.count: Count | None = None
        self.account = Account(set())

    def teardown(self) -> None:
        assert differences() == []
        transaction.savepoint_rollback(self.savepoint)

    def tick(self) -> datetime:
        self.now += MINUTE
        return self.now

    def where(self, piece: int) -> int:
        return self.history[piece][-1]

    def outcome(self, piece: int) -> str:
        marks, account = self.account.marks.get(piece), self.account
        if marks and piece in account.expected:
            return "found"
        if marks:
            moves = [mark.moved_at for mark in marks if mark.moved_at is not None]
            came_from = account.came_from.get(moves[0]) if moves else None
            return "extra" if came_from is not None and came_from not in INSIDE else "came"
        if piece not in account.expected or self.where(piece) not in INSIDE:
            return "elsewhere"
        return "found" if piece in account.scanned else "missing"

    def told(self) -> tuple[int, int, int, int]:
        outcomes = [self.outcome(piece) for piece in range(5)]
        found, missing = outcomes.count("found"), outcomes.count("missing")
        extra, recorded = outcomes.count("extra"), self.there + self.account.used_since
        counted = self.account.in_bin
        if counted is not None:
            found += min(recorded, counted)
            missing += max(0, recorded - counted)
            extra += max(0, counted - recorded)
        return found + missing, found, missing, extra

    @rule(piece=which, place=st.integers(RACK, CART))
    def scan(self, piece: int, place: int) -> None:
        result = put(self.by, self.tick(), self.pieces[piece].code, self.places[place].code)
        if piece == 4 and place == CART:
            assert result.code == "wrong_position"  # the kit has no use for it
            return
        assert result.status == "taken", result
        self.history[piece].append(place)
        self.account.scanned.add(piece)

    @precondition(lambda self: self.count is None)
    @rule()
    def open_count(self) -> None:
        self.count = counts.open_count(by=self.by, at=self.tick(), place=self.places[RACK])
        self.account = Account({n for n in range(5) if self.where(n) in INSIDE})

    @precondition(lambda self: self.count is not None)
    @rule(piece=which, at_shelf=st.booleans())
    def see(self, piece: int, at_shelf: bool) -> None:
        assert self.count is not None
        spot = SHELF if at_shelf else RACK
        place = self.places[SHELF] if at_shelf else None
        stays = self.where(piece) in ((SHELF,) if at_shelf else INSIDE)
        marks = self.account.marks.setdefault(piece, [])
        result = see(self.by, self.tick(), self.count, self.pieces[piece], place)
        assert result.status == ("repeated" if marks and stays else "taken"), result
        if result.status == "repeated":
            return
        if stays:
            marks.append(Mark(result.id))
            return
        key = len(self.history[piece]) + 100 * piece
        self.account.came_from[key] = self.where(piece)
        self.history[piece].append(spot)
        marks.append(Mark(result.id, key))

    @precondition(lambda self: any(self.account.marks.values()) and self.count is not None)
    @rule(piece=which)
    def take_back(self, piece: int) -> None:
        marks = self.account.marks.get(piece)
        if not marks or self.count is None:
            return
        mark = marks.pop()
        count_entries.take_back(by=self.by, at=self.tick(), count=self.count, entries=[mark.entry])
        self.unmove(piece, mark)

    def unmove(self, piece: int, mark: Mark) -> None:
        """Its line of history says what the one before it says."""
        if mark.moved_at is not None:
            line = mark.moved_at - 100 * piece
            self.history[piece][line] = self.history[piece][line - 1]

    @precondition(lambda self: self.count is not None)
    @rule(at_shelf=st.booleans())
    def tick_row(self, at_shelf: bool) -> None:
        assert self.count is not None
        spot = SHELF if at_shelf else RACK
        here = [n for n in range(5) if self.outcome(n) == "missing" and self.where(n) == spot]
        act = {"by": self.by, "at": self.tick(), "count": self.count, "place": self.places[spot]}
        if not here:
            with pytest.raises(Conflict):
                count_entries.tick_row(**act)
            return
        made = {entry.piece_id: entry for entry in count_entries.tick_row(**act)}
        assert set(made) == {self.pieces[n].pk for n in here}
        for n in here:
            self.account.marks.setdefault(n, []).append(Mark(made[self.pieces[n].pk].uuid))

    @precondition(lambda self: self.count is not None)
    @rule(quantity=st.integers(0, 9))
    def count_bin(self, quantity: int) -> None:
        assert self.count is not None
        result = see(self.by, self.tick(), self.count, self.line, quantity=quantity)
        if self.account.in_bin == quantity:
            assert result.status == "repeated"
            return
        assert result.status == "taken", result
        self.account.in_bin, self.account.used_since = quantity, 0

    @rule(quantity=st.integers(1, 4))
    def use_up(self, quantity: int) -> None:
        act = {"by": self.by, "at": self.tick(), "line": self.line, "quantity": quantity}
        if quantity > self.there:
            with pytest.raises(ToolingError):
                stock.use_up(**act)
            return
        stock.use_up(**act)
        self.there -= quantity
        if self.account.in_bin is not None:
            self.account.used_since += quantity

    @precondition(lambda self: self.count is not None)
    @rule()
    def close(self) -> None:
        assert self.count is not None
        told = self.told()
        lost = [n for n in range(5) if self.outcome(n) == "missing"]
        count_close.close(by=self.by, at=self.tick(), count=self.count, otherwise="still looking")
        assert kept(self.count) == told
        assert figures(self.count) == told
        for n in lost:
            self.history[n].append(LOST)
        if self.account.in_bin is not None:
            self.there = max(0, self.account.in_bin - self.account.used_since)
        self.count, self.account = None, Account(set())

    @precondition(lambda self: self.count is not None)
    @rule()
    def drop(self) -> None:
        assert self.count is not None
        counts.drop(by=self.by, at=self.tick(), count=self.count)
        moved = [
            (mark.moved_at, piece, mark)
            for piece, marks in self.account.marks.items()
            for mark in marks
            if mark.moved_at is not None
        ]
        for _at, piece, mark in sorted(moved, key=lambda each: each[0]):
            self.unmove(piece, mark)
        self.count, self.account = None, Account(set())

    @invariant()
    def every_piece_is_in_the_one_place_that_the_account_says(self) -> None:
        where = dict(Piece.objects.values_list("pk", "place_id"))
        for n, piece in enumerate(self.pieces):
            assert where[piece.pk] == self.places[self.where(n)].pk, n

    @invariant()
    def no_bin_is_below_nothing_and_each_holds_what_the_account_says(self) -> None:
        assert StockLine.objects.get(pk=self.line.pk).count == self.there >= 0

    @invariant()
    def a_piece_is_here_for_its_kit_as_long_as_it_lies_in_the_cart(self) -> None:
        staged = dict(KitPosition.objects.filter(is_open=True).values_list("piece", "is_staged"))
        for n in range(4):
            assert staged[self.pieces[n].pk] == (self.where(n) == CART)

    @invariant()
    def the_count_says_what_the_account_says(self) -> None:
        if self.count is not None:
            assert figures(self.count) == self.told()

    @invariant()
    def the_owner_is_owed_a_report_for_as_long_as_the_piece_is_lost(self) -> None:
        missed = OwnerReport.objects.exclude(notes__what="found")
        assert missed.count() == (self.where(4) == LOST)


def test_counts_hold_together_whatever_else_happens(attendant: Person, at: datetime) -> None:
    floor = Floor(attendant, at)
    machine = type("Machine", (Counting,), {"by": attendant, "start": at, "floor": floor})
    run_state_machine_as_test(
        machine, settings=settings(max_examples=examples(15), stateful_step_count=20, deadline=None)
    )
