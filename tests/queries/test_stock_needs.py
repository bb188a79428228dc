"""What to make or buy: fewer than are to be kept, or than jobs want at the same time."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.rolling import Rolling
from tests.world import MM
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Drawing, DrawingRevision, Owner, Purchase, SetPosition, StockLine
from tooling.models.sets import SetVariant
from tooling.queries.stock_needs import stock_needs
from tooling.services import kits, stock
from tooling.services.stock_orders import order_counted

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world):
    """A set that calls for four spacers beside its rolls."""
    shop = Rolling(world)
    shop.spacer = world.drawing("SP", kind="spacer", face_width_nm=10 * MM)
    for order in range(2, 6):
        SetPosition.objects.create(
            set_pass=shop.set.passes.get(number=1), shaft="top", order=order, drawing=shop.spacer
        )
    return shop


def need(at, drawing="SP"):
    return next((each for each in stock_needs(at=at) if each.drawing == drawing), None)


def test_enough_is_no_need_and_below_the_least_is(shop, at) -> None:
    line = shop.world.stock(shop.spacer, shop.rack, 6, least_count=6)
    assert stock_needs(at=at) == ()
    StockLine.objects.filter(pk=line.pk).update(least_count=9)
    found = need(at)
    assert (found.have, found.least, found.wanted, found.short_by) == (6, 9, 0, 3)
    [every] = stock_needs(at=at, everything=True)
    assert every == found


def test_two_bins_of_a_drawing_are_one_need(shop, at) -> None:
    shop.world.stock(shop.spacer, shop.rack, 2, least_count=3)
    other = shop.world.stock(shop.spacer, shop.world.place("Rack 2"), 3, least_count=4)
    found = need(at)
    assert (found.have, found.least, found.short_by) == (5, 7, 2)
    assert other.code in [each.code for each in found.bins]


def test_kits_at_the_same_time_want_together_and_one_after_the_other_do_not(shop, crew, at) -> None:
    shop.world.stock(shop.spacer, shop.rack, 6)
    shop.kit(crew, number="J1", in_hours=24)
    shop.kit(crew, number="J2", in_hours=200)
    assert need(at) is None
    third = shop.kit(crew, number="J3", in_hours=26)
    found = need(at)
    assert (found.wanted, found.short_by, found.jobs) == (8, 2, ("J1", "J3"))
    assert found.wanted_at == third.job.gathers_at


def test_what_is_with_a_kit_is_still_had(shop, crew, attendant, at) -> None:
    line = shop.world.stock(shop.spacer, shop.rack, 6, least_count=6)
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    stock.move(by=attendant, at=at, line=line, quantity=4, to=shop.cart)
    assert need(at) is None
    [every] = stock_needs(at=at, everything=True)
    assert (every.have, every.with_kits) == (6, 4)
    stock.use_up(by=attendant, at=at, line=StockLine.objects.get(place=shop.cart), quantity=1)
    assert need(at).short_by == 1


def test_a_job_that_has_no_kit_yet_wants_what_its_set_calls_for(shop, at) -> None:
    shop.world.stock(shop.spacer, shop.rack, 3)
    shop.world.job(shop.set, shop.mill, number="J9", in_hours=300)
    assert (need(at).wanted, need(at).short_by) == (4, 1)
    assert need(at + timedelta(days=30)) is None


def test_a_variants_own_positions_stand_in_for_the_general_ones(shop, at) -> None:
    other = shop.world.drawing("SP-W", kind="spacer")
    shop.world.stock(other, shop.rack, 0)
    shop.world.stock(shop.spacer, shop.rack, 4)
    wide = SetVariant.objects.create(tool_set=shop.set, name="wide")
    SetPosition.objects.create(
        set_pass=shop.set.passes.get(number=1), shaft="top", order=2, drawing=other, variant=wide
    )
    shop.world.job(shop.set, shop.mill, number="J9", in_hours=300, variant=wide)
    assert (need(at, "SP-W").wanted, need(at, "SP-W").short_by) == (1, 1)
    assert need(at) is None


def test_held_broken_and_lost_ones_are_not_had(shop, at) -> None:
    shop.world.stock(shop.spacer, shop.rack, 2, least_count=3)
    shop.world.stock(shop.spacer, shop.rack, 9, condition="hold")
    shop.world.stock(shop.spacer, shop.world.place("Gone", kind="lost"), 9)
    assert (need(at).have, need(at).short_by) == (2, 1)


def test_a_customers_own_cover_its_own_jobs_only(shop, crew, at) -> None:
    quill = Owner.objects.create(code="QUIL", name="Quill")
    shop.world.stock(shop.spacer, shop.rack, 4, owner=quill)
    shop.kit(crew, number="J1", in_hours=24, customer=quill)
    assert need(at) is None
    shop.kit(crew, number="J2", in_hours=26)
    assert need(at).short_by == 4


def test_what_is_ordered_is_taken_off_and_comes_with_its_day(shop, engineer, at) -> None:
    shop.world.stock(shop.spacer, shop.rack, 2, least_count=10)
    fields = {
        "drawing": shop.spacer, "quantity": 5, "number": "PO-1", "vendor": "Turner & Co",
        "ordered_on": at.date(), "due_on": date(2026, 12, 20),
    }  # fmt: skip
    order_counted(by=engineer, at=at, **fields)
    found = need(at)
    assert (found.short_by, found.ordered, found.to_get) == (8, 5, 3)
    assert found.due_on == date(2026, 12, 20)
    order_counted(by=engineer, at=at, **{**fields, "quantity": 3})
    assert Purchase.objects.get().lines.count() == 2
    assert (need(at).ordered, need(at).to_get) == (8, 0)


def test_only_who_orders_tooling_orders_and_a_drawing_needs_a_revision(
    shop, attendant, engineer, at
) -> None:
    said = {"quantity": 5, "number": "PO-1", "vendor": "Turner", "ordered_on": at.date()}
    with pytest.raises(NotAllowed):
        order_counted(by=attendant, at=at, drawing=shop.spacer, **said)
    bare = Drawing.objects.create(number="SP-0", kind="spacer")
    with pytest.raises(ToolingError) as caught:
        order_counted(by=engineer, at=at, drawing=bare, **said)
    assert caught.value.code == "unknown_revision"
    assert not Purchase.objects.exists()


@pytest.mark.parametrize("count", [0, 1, 250])
def test_the_list_asks_no_more_when_there_is_more(shop, at, count) -> None:
    drawings = Drawing.objects.bulk_create(
        Drawing(number=f"SH-{n:03d}", kind="shim") for n in range(count)
    )
    DrawingRevision.objects.bulk_create(
        DrawingRevision(drawing=each, revision="A", face_width_nm=50_000) for each in drawings
    )
    StockLine.objects.bulk_create(
        StockLine(
            code=f"BX{n:06d}", drawing=each, place=shop.rack, owner=shop.world.shop, least_count=2
        )
        for n, each in enumerate(drawings)
    )
    with CaptureQueriesContext(connection) as asked:
        assert len(stock_needs(at=at)) == count
    assert len(asked) <= 7
