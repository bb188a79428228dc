"""Kits that share counts, whatever people do: nobody is told of more than there is at any time,
no count goes below nothing, and what is kept agrees with history."""

from __future__ import annotations

import copy
from collections import Counter
from datetime import datetime, timedelta
from typing import Any, ClassVar

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.examples import examples
from tests.services.scanning import a_scan, send
from tests.world import World
from tooling.errors import ToolingError
from tooling.models import Job, Kit, KitState, Movement, Owner, Person, StockLine
from tooling.queries.bindings import Binding
from tooling.queries.kits import kit_page
from tooling.services import corrections, kits, stock
from tooling.services.rebuild import differences
from tooling.services.stock_home import put_counts_back

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
WANTED = 3
kit_number = st.integers(0, 2)
TOLD = ("here", "to_fetch")


class Floor:
    """Three kits of three spacers each that overlap in part, two bins of the shop's, one of the
    customer's whose job the first is. It stands before each story begins."""

    def __init__(self, by: Person, at: datetime) -> None:
        world = World(at=at)
        spacer = world.drawing("SP", kind="spacer")
        tool_set = world.tool_set("S", {(1, "top", n): spacer for n in range(1, WANTED + 1)})
        customer = Owner.objects.create(code="QUIL", name="Quill")
        racks = [world.place(f"Rack {n}", walking_order=n) for n in range(3)]
        owners = (world.shop, world.shop, customer)
        self.bins = [
            world.stock(spacer, rack, 2, owner=owner)
            for rack, owner in zip(racks, owners, strict=True)
        ]
        self.carts = [world.place(f"Cart {n}", kind="cart") for n in range(3)]
        mill = world.mill()
        self.kits = []
        for n, begins in enumerate((0, 6, 14)):
            job = world.job(
                tool_set, mill, number=f"J{n}", in_hours=begins + 2, hours=6,
                gathers_at=at + begins * HOUR, customer=customer if n == 0 else None,
            )  # fmt: skip
            kit = kits.open_kit(by=by, at=at, job=job, place=self.carts[n])
            self.kits.append(kits.assemble(by=by, at=at, kit=kit))


class Pools(RuleBasedStateMachine):
    """What may happen on a floor."""

    by: ClassVar[Person]
    start: ClassVar[datetime]
    floor: ClassVar[Floor]

    def __init__(self) -> None:
        super().__init__()
        self.savepoint = transaction.savepoint()
        self.now = self.start
        mine = copy.deepcopy(self.floor)
        self.bins, self.carts, self.kits = mine.bins, mine.carts, mine.kits

    def teardown(self) -> None:
        assert differences() == []
        transaction.savepoint_rollback(self.savepoint)

    @rule(kit=kit_number, which=st.integers(0, 2), quantity=st.integers(1, 4))
    def stage(self, kit: int, which: int, quantity: int) -> None:
        line = StockLine.objects.get(pk=self.bins[which].pk)
        scan = a_scan(line.code, self.carts[kit].code, at=self.now, quantity=quantity)
        [result] = send(self.by, self.now, scan)
        if result.code == "stock_short":
            assert f"Only {line.count} of SP" in result.message

    @rule(kit=kit_number)
    def put_back(self, kit: int) -> None:
        self.may(put_counts_back, source=self.carts[kit])

    @rule(
        which=st.integers(0, 2),
        quantity=st.integers(1, 3),
        act=st.sampled_from(["make", "scrap", "use_up"]),
    )
    def change(self, which: int, quantity: int, act: str) -> None:
        if act == "make" or which < 2:
            self.may(getattr(stock, act), line=self.bins[which], quantity=quantity)

    @rule(which=st.integers(0, 30))
    def undo(self, which: int) -> None:
        rows = list(Movement.objects.filter(stock__isnull=False, by=self.by).order_by("pk"))
        if rows:
            self.may(corrections.undo, movement=rows[which % len(rows)])

    @rule(kit=kit_number, hours=st.integers(-4, 8))
    def gather_at(self, kit: int, hours: int) -> None:
        job = Job.objects.get(pk=self.kits[kit].job_id)
        Job.objects.filter(pk=job.pk).update(
            gathers_at=min(self.start + (hours + 6 * kit) * HOUR, job.starts_at)
        )

    @rule(hours=st.integers(1, 5))
    def wait(self, hours: int) -> None:
        self.now += hours * HOUR

    @rule(kit=kit_number)
    def close_or_open(self, kit: int) -> None:
        mine = Kit.objects.get(pk=self.kits[kit].pk)
        if mine.state == KitState.CLOSED:
            opened = self.may(kits.open_kit, job=mine.job, place=self.carts[kit])
            if opened is not None:
                self.kits[kit] = kits.assemble(by=self.by, at=self.now, kit=opened)
        else:
            self.may(kits.close, kit=mine, reason="off")

    def may(self, act: Any, **said: Any) -> Any:
        """Do it; what is refused leaves all as it was."""
        try:
            with transaction.atomic():
                return act(by=self.by, at=self.now, **said)
        except ToolingError:
            return None

    @invariant()
    def nobody_is_told_of_more_than_there_is(self) -> None:
        open_kits = Kit.objects.exclude(state=KitState.CLOSED).select_related("job")
        told, of_own = {}, {}
        for kit in open_kits:
            views = kit_page(kit.number, at=self.now).positions
            states = Counter(str(view.state) for view in views)
            told[Binding.of(kit.job)] = sum(states[state] for state in TOLD)
            of_own[kit.job.number] = kit.job.customer_id is not None
        lines = StockLine.objects.select_related("owner")
        shops = sum(line.count for line in lines if line.owner.is_shop)
        everything = sum(line.count for line in lines)
        for hour in range(30):
            moment = max(self.now, self.start) + hour * HOUR
            bound = {b: n for b, n in told.items() if b.begins <= moment < b.ends}
            assert sum(bound.values()) <= everything
            assert sum(n for b, n in bound.items() if not of_own[b.job]) <= shops

    @invariant()
    def no_count_is_below_nothing(self) -> None:
        assert not StockLine.objects.filter(count__lt=0).exists()


def test_pools_hold_over_time(supervisor: Person, at: datetime) -> None:
    floor = Floor(supervisor, at)
    machine = type("Machine", (Pools,), {"by": supervisor, "start": at, "floor": floor})
    run_state_machine_as_test(
        machine, settings=settings(max_examples=examples(8), stateful_step_count=10, deadline=None)
    )
