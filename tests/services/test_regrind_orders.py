"""Work on pieces is asked for, sent and taken back: the way of an order."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.grinding import Grinding, inches, let_go
from tests.services.test_owner_leave import refused
from tooling.errors import NotAllowed
from tooling.models import (
    ChartState,
    DueBack,
    OrderEvent,
    RegrindOrder,
    RegrindPlan,
    RegrindTarget,
    SetupChart,
    Work,
)
from tooling.queries.lead_times import lead_times
from tooling.services import regrind_orders
from tooling.services.movements import move_pieces
from tooling.services.regrind_asked import asked_lines
from tooling.services.regrind_release import release_for_job
from tooling.services.regrind_targets import OrderLineIn, Target

pytestmark = pytest.mark.django_db
THIRD = (3, "bottom", 1)
ALONE = (THIRD, (3, "top", 1))


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    return Grinding(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


def test_an_order_names_every_diameter_of_every_piece_less_the_amount(shop, engineer):
    order = shop.request(engineer)
    line = order.lines.get(piece=shop.pieces[THIRD])
    told = {each.dimension: each.target_nm for each in line.targets.all()}
    assert told == {"drive_diameter": inches("6.01"), "outside_diameter": inches("6.51")}
    assert (order.number, order.lines.count(), line.mark_to_restore) == ("G-0001", 8, True)
    assert OrderEvent.objects.get(order=order).what == "requested"


def test_one_diameter_named_takes_the_others_along(shop, engineer):
    piece = shop.piece(THIRD)
    target = Target(inches("6.000"), 0, 10_000)
    line = OrderLineIn(piece, targets={"drive_diameter": target})
    order = regrind_orders.request_order(by=engineer, at=shop.world.at, lines=[line])
    told = {t.dimension: (t.target_nm, t.minus_nm) for t in order.lines.get().targets.all()}
    assert told == {
        "drive_diameter": (inches("6.0"), 0), "outside_diameter": (inches("6.5"), 25_400),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"kinds": ()}, "no_work"),
        ({"kinds": ("sandblast",)}, "unknown_kind"),
        ({}, "no_target"),
        ({"take_off_nm": 0}, "not_positive"),
        ({"take_off_nm": inches("0.301")}, "below_least_diameter"),
        ({"targets": {"drive_diameter": inches("6.05")}}, "cut_made_larger"),
        ({"targets": {"drive_diameter": -1}}, "not_positive"),
        ({"targets": {"weight": 5}}, "unknown_dimension"),
        ({"take_off_nm": 1_000, "tolerance_nm": -1}, "negative_length"),
    ],
)
def test_work_that_cannot_be_is_refused(shop, engineer, asked, code):
    line = OrderLineIn(shop.piece(THIRD), **asked)
    call = {"by": engineer, "at": shop.world.at, "lines": [line]}
    refused(code, regrind_orders.request_order, **call)
    assert not RegrindOrder.objects.exists()


def test_a_piece_is_on_one_open_order_and_must_be_in_this_world(shop, engineer, crew):
    shop.request(engineer, THIRD)
    assert refused("on_open_order", shop.request, engineer, THIRD).values["order"] == "G-0001"
    other = OrderLineIn(shop.piece((1, "top", 1)), take_off_nm=inches("0.03"))
    twice = {"by": engineer, "at": shop.world.at, "lines": [other, other]}
    refused("on_open_order", regrind_orders.request_order, **twice)
    refused("nothing_ordered", regrind_orders.request_order, **{**twice, "lines": []})
    refused("not_a_vendor", shop.request, engineer, (2, "top", 1), vendor=shop.rack)
    lost = shop.world.place("Lost", kind="lost")
    move_pieces(by=crew, at=shop.world.at, pieces=[shop.piece((2, "top", 1))], to=lost)
    refused("piece_gone", shop.request, engineer, (2, "top", 1))


def test_who_may(shop, engineer, attendant, crew, supervisor):
    with pytest.raises(NotAllowed):
        shop.request(attendant, THIRD)
    order = shop.request(engineer, THIRD)
    with pytest.raises(NotAllowed):
        shop.send(crew, order)
    shop.ready(attendant, order)
    with pytest.raises(NotAllowed):
        let_go(shop, attendant, order)
    job = shop.world.job(shop.set, shop.mill)
    with pytest.raises(NotAllowed):
        release_for_job(by=engineer, at=shop.later(7), order=order, job=job, reason="now")


# The way of an order.


def test_the_whole_way(shop, engineer, attendant):
    order = shop.request(engineer)
    shop.send(attendant, order, due_on=shop.later(8).date())
    order.refresh_from_db()
    piece = shop.piece(THIRD)
    assert (order.state, piece.place, order.due_on) == ("out", shop.grinder, date(2026, 12, 3))
    assert {row.due_on for row in DueBack.objects.all()} == {date(2026, 12, 3)}
    shop.back(attendant, order, done_on=shop.later(4).date(), cost_cents=4_500)
    order.refresh_from_db()
    assert (order.state, shop.piece(THIRD).place) == ("back", shop.rack)
    work = Work.objects.get(piece=piece)
    kept = {each.dimension: each.before_nm for each in work.measures.all()}
    assert (work.kind, work.done_on, work.done_by, work.order_reference, work.cost_cents) == (
        "regrind", date(2026, 11, 29), "Alder Grinding", "G-0001", 4_500,
    )  # fmt: skip
    assert kept["drive_diameter"] == inches("6.04")
    shop.read(attendant, order)
    shop.marks(attendant, order)
    order = let_go(shop, engineer, order)
    assert (order.state, order.lines.filter(is_open=True).count()) == ("released", 0)
    assert SetupChart.objects.get().state == ChartState.UNPROVED
    said = OrderEvent.objects.get(order=order, what="released").said
    assert {each["code"] for each in said["pieces"]} == {"to_size"}
    refused("order_ended", let_go, shop, engineer, order)


def test_lead_times_are_learned_order_by_order(shop, engineer):
    assert lead_times() == ()
    for spot, days in (((1, "top", 1), 4), ((2, "top", 1), 9), ((3, "top", 1), 6)):
        order = shop.request(engineer, spot)
        shop.send(engineer, order)
        shop.back(engineer, order, at=shop.later(days))
    told = lead_times()[0]
    assert (told.vendor_name, told.orders, told.pieces) == ("Alder Grinding", 3, 3)
    assert (told.median_days, told.least_days, told.most_days) == (6.0, 4.0, 9.0)
    order = shop.request(engineer, (4, "top", 1))
    shop.send(engineer, order)
    order.refresh_from_db()
    assert order.due_on == (shop.world.at + timedelta(days=6)).date()


def test_pieces_come_back_one_by_one_each_named(shop, engineer, attendant):
    order = shop.request(engineer, *ALONE)
    shop.send(attendant, order)
    mine, other = (shop.pieces[spot].code for spot in ALONE)
    stranger = shop.pieces[1, "top", 1].code
    refused("not_on_order", shop.back, attendant, order, codes=[stranger])
    shop.back(attendant, order, codes=["3b"])
    order.refresh_from_db()
    assert (order.state, order.lines.filter(back_at=None).count()) == ("out", 1)
    refused("back_already", shop.back, attendant, order, codes=[mine])
    refused("still_out", let_go, shop, engineer, order)
    refused("place_needed", shop.back, attendant, order, codes=[other], to=None)
    sent = shop.world.at.date()
    early = {"codes": [other], "done_on": sent - timedelta(days=1)}
    refused("cut_before_sent", shop.back, attendant, order, **early)
    refused("in_the_future", shop.back, attendant, order, done_on=shop.later(9).date())
    refused("unknown_code", shop.back, attendant, order, codes=["nothing such"])


def test_a_piece_that_was_simply_scanned_in_is_taken_back_where_it_lies(shop, engineer, attendant):
    order = shop.request(engineer, THIRD)
    shop.send(attendant, order)
    move_pieces(by=attendant, at=shop.later(5), pieces=[shop.piece(THIRD)], to=shop.out_tray)
    shop.back(attendant, order, to=None)
    assert shop.piece(THIRD).place == shop.out_tray
    assert RegrindOrder.objects.get().state == "back"


def test_in_the_shop_nothing_moves(shop, engineer, attendant):
    order = shop.request(engineer, THIRD, vendor=None)
    shop.send(attendant, order)
    shop.back(attendant, order, to=None, at=shop.later(1))
    assert shop.piece(THIRD).place == shop.rack
    assert lead_times()[0].vendor == ""


def test_what_comes_back_as_it_was_leaves_the_order(shop, engineer, attendant):
    order = shop.request(engineer, THIRD)
    shop.send(attendant, order)
    refused("still_out", regrind_orders.cancel_order, by=engineer, at=shop.later(1), order=order,
            reason="no time")  # fmt: skip
    shop.back(attendant, order, is_done=False, reason="their machine is down")
    order.refresh_from_db()
    assert (order.state, Work.objects.count()) == ("cancelled", 0)
    shop.request(engineer, THIRD)


def test_an_order_is_changed_and_dropped_only_as_far_as_it_may(shop, engineer, attendant):
    order = shop.request(engineer, THIRD)
    extra = OrderLineIn(shop.piece((1, "top", 1)), kinds=("polish",))
    row = regrind_orders.add_line(by=engineer, at=shop.world.at, order=order, line=extra)
    regrind_orders.remove_line(by=engineer, at=shop.world.at, row=row)
    regrind_orders.edit_order(by=engineer, at=shop.world.at, order=order, price_cents=900)
    shop.send(attendant, order)
    way = {"by": engineer, "at": shop.world.at}
    refused("order_sent", regrind_orders.add_line, **way, order=order, line=extra)
    refused("order_sent", regrind_orders.edit_order, **way, order=order, vendor=None)
    line = order.lines.get()
    refused("line_sent", regrind_orders.remove_line, **way, row=line)
    less = OrderLineIn(shop.piece(THIRD), take_off_nm=inches("0.02"))
    refused("empty_text", regrind_orders.change_line, **way, row=line, line=less)
    regrind_orders.change_line(**way, row=line, line=less, reason="pass 2 stays as it is")
    assert line.targets.get(dimension="drive_diameter").target_nm == inches("6.02")
    shop.back(attendant, order)
    refused("work_done", regrind_orders.cancel_order, **way, order=order, reason="late")
    assert OrderEvent.objects.filter(order=order, what="changed").count() == 4


def test_the_cuts_of_a_plan_are_ordered_each_by_its_own_amount(shop, engineer):
    plan = RegrindPlan.objects.create(number="P-1", made_at=shop.world.at, state="solved")
    amounts = {(1, "top", 1): "0.03", (2, "top", 1): "0.02"}
    for spot, amount in amounts.items():
        plan.lines.create(piece=shop.pieces[spot], decision="cut", amount_nm=inches(amount),
                          reason="to clean up 0.2 mm at 60°")  # fmt: skip
    plan.lines.create(piece=shop.pieces[THIRD], decision="leave")
    asked = asked_lines(plan_number="p-1")
    order = regrind_orders.request_order(
        by=engineer, at=shop.world.at, lines=asked.lines, plan=asked.plan
    )
    targets = RegrindTarget.objects.filter(line__order=order, dimension="drive_diameter")
    assert [each.target_nm for each in targets.order_by("line")] == [
        inches("5.97"), inches("6.0"),
    ]  # fmt: skip
    plan.refresh_from_db()
    assert (plan.state, order.lines.first().note) == ("ordered", "to clean up 0.2 mm at 60°")
    regrind_orders.cancel_order(by=engineer, at=shop.world.at, order=order, reason="not now")
    plan.refresh_from_db()
    assert plan.state == "solved"
    empty = RegrindPlan.objects.create(number="P-2", made_at=shop.world.at)
    refused("plan_has_no_work", asked_lines, plan_number=empty.number)
    refused("unknown_plan", asked_lines, plan_number="P-9")
