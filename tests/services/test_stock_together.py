"""Two people at one bin at the same moment: never more taken than there is, and both are told."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from tests.services.scanning import put
from tests.world import World, make_person
from tooling.errors import ToolingError
from tooling.models import Kit, Role, StockLine
from tooling.services import stock
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db(transaction=True)


def both_at_once(acts: list[Callable[[], Any]]) -> list[Any]:
    """Each act in a thread and on a connection of its own; what each gave back."""
    gate = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        try:
            gate.wait()
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


@pytest.fixture
def world(transactional_db: None, at: datetime) -> World:
    return World(at=at)


def a_kit(world: World, number: str, spacer: Any) -> Kit:
    """A kit on a cart of its own that wants four of the spacer."""
    tool_set = world.tool_set(f"S{number}", {(1, "top", n): spacer for n in range(1, 5)})
    job = world.job(tool_set, world.mill(f"M{number}", stations=1), number=number)
    cart = world.place(f"Cart {number}", kind="cart")
    kit = Kit.objects.create(number=world.code("K"), job=job, place=cart, assembled_at=world.at)
    for position in tool_set.passes.get().positions.all():
        kit.positions.create(
            set_position=position, station_number=1, pass_number=1, shaft="top",
            order=position.order, drawing=spacer,
        )  # fmt: skip
    return kit


def test_two_who_stage_from_one_bin_get_no_more_than_there_is(world, at) -> None:
    by = [make_person(name, Role.CREW) for name in ("ann", "ben")]
    spacer = world.drawing("SP", kind="spacer")
    line = world.stock(spacer, world.place("Rack A"), 6)
    kits = [a_kit(world, number, spacer) for number in ("J1", "J2")]
    told = both_at_once(
        [lambda n=n: put(by[n], at, line.code, kits[n].number, quantity=4) for n in (0, 1)]
    )
    assert sorted(result.code for result in told) == ["", "stock_short"]
    [refused] = [result for result in told if result.code]
    assert "Only 2 of SP are in Rack A, not 4" in refused.message
    line.refresh_from_db()
    staged = [kit.positions.filter(is_staged=True).count() for kit in kits]
    assert (line.count, sorted(staged)) == (2, [0, 4])
    assert differences() == []


def test_a_bin_used_up_and_moved_at_once_never_goes_below_nothing(world, at) -> None:
    by = make_person("ann", Role.ATTENDANT)
    line = world.stock(world.drawing("SH", kind="shim"), world.place("Drawer"), 3)
    cart = world.place("Cart", kind="cart")

    def take(act: Callable[..., Any], **more: Any) -> str:
        try:
            act(by=by, at=at, line=line, quantity=2, **more)
        except ToolingError as error:
            return error.code
        return ""

    told = both_at_once([lambda: take(stock.use_up), lambda: take(stock.move, to=cart)])
    assert sorted(told) == ["", "stock_short"]
    assert StockLine.objects.get(pk=line.pk).count == 1
    assert differences() == []
