"""Work on pieces: asked for, sent, taken back, measured, released; what is on order is held."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.grinding import Grinding, inches
from tests.services.scanning import put
from tests.services.test_owner_leave import refused
from tooling.errors import NotAllowed
from tooling.models import (
    ChartState,
    DueBack,
    Kit,
    OrderEvent,
    Owner,
    Piece,
    RegrindOrder,
    RegrindOrderLine,
    RegrindPlan,
    RegrindTarget,
    SetPosition,
    Setting,
    Setup,
    SetupChart,
    Station,
    Work,
)
from tooling.queries.cuts_left import cuts_left
from tooling.queries.kits import kit_page
from tooling.queries.lead_times import lead_times
from tooling.queries.regrind_order_page import order_page
from tooling.queries.regrind_orders import order_lists
from tooling.queries.regrind_release import judge_order, judged_lines
from tooling.queries.release_pieces import to_be_read
from tooling.services import approvals, kits, regrind_order_moves, regrind_orders
from tooling.services.movements import move_pieces
from tooling.services.regrind_asked import asked_lines
from tooling.services.regrind_release import release, release_for_job
from tooling.services.regrind_targets import OrderLineIn, Target

pytestmark = pytest.mark.django_db
COUNTS = json.loads((Path(__file__).parent.parent / "query_counts.json").read_text())
THIRD = (3, "bottom", 1)
ALONE = (THIRD, (3, "top", 1))


@pytest.fixture
def shop(world):
    return Grinding(world)


def let_go(shop, by, order, **more):
    return release(by=by, at=shop.later(7), order=order, **more)


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
    move_piece(by=crew, at=shop.world.at, piece=shop.piece((2, "top", 1)), to=lost)
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
    move_piece(by=attendant, at=shop.later(5), piece=shop.piece(THIRD), to=shop.out_tray)
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


# Held from the request to the release.


def move_piece(*, piece, **where):
    move_pieces(pieces=[piece], **where)


def a_kit(shop, crew, **fields):
    kit = kits.open_kit(
        by=crew, at=shop.world.at, job=shop.world.job(shop.set, shop.mill, **fields)
    )
    kit = kits.assemble(by=crew, at=shop.world.at, kit=kit)
    cart = shop.world.place(f"Cart {kit.number}", kind="cart")
    kits.set_gathering_place(by=crew, at=shop.world.at, kit=kit, place=cart)
    return Kit.objects.get(pk=kit.pk)


def test_what_is_on_order_may_be_reserved_but_not_staged(shop, engineer, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    assert kit.positions.get(piece=shop.pieces[THIRD]).is_open
    move = {"by": crew, "at": shop.world.at, "piece": shop.piece(THIRD), "to": kit.place}
    assert refused("piece_held", move_piece, **move).values["order"] == order.number
    station = shop.mill.stations.get(number=3).place
    refused("piece_held", move_piece, **{**move, "to": station})
    shop.ready(engineer, order)
    refused("piece_held", move_piece, **move)


def test_a_plate_on_which_a_setup_is_built_takes_nothing_that_is_on_order(shop, engineer, crew):
    kit = a_kit(shop, crew)
    plate = shop.world.place("Raft 1", kind="plate")
    Setup.objects.create(kit=kit, mill=shop.mill, plate=plate, started_at=shop.world.at)
    shop.request(engineer, THIRD)
    move = {"by": crew, "at": shop.world.at, "piece": shop.piece(THIRD), "to": plate}
    refused("piece_held", move_piece, **move)
    move_piece(**{**move, "piece": shop.piece((1, "top", 1))})
    assert kit.positions.filter(is_staged=True).count() == 1


def test_a_running_setup_keeps_its_rolls_until_the_order_is_sent(shop, engineer, crew):
    kit = a_kit(shop, crew)
    move_piece(by=crew, at=shop.world.at, piece=shop.piece(THIRD), to=kit.place)
    shop.request(engineer, THIRD)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.world.at).positions}
    assert told[shop.pieces[THIRD].code].state == "here"
    station = shop.mill.stations.get(number=3).place
    move_piece(by=crew, at=shop.world.at, piece=shop.piece(THIRD), to=station)
    assert kit.positions.get(piece=shop.pieces[THIRD]).holds_piece


def test_released_for_one_job_it_is_held_for_every_other(shop, engineer, supervisor, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    way = {"by": supervisor, "at": shop.later(6), "order": order, "job": kit.job}
    refused("empty_text", release_for_job, **way, reason=" ")
    refused("nothing_back", release_for_job, **way, reason="first coil only")
    shop.send(engineer, order)
    shop.back(engineer, order)
    release_for_job(**way, reason="first coil only")
    move_piece(by=crew, at=shop.later(6), piece=shop.piece(THIRD), to=kit.place)
    assert kit.positions.get(piece=shop.pieces[THIRD]).holds_piece
    move_piece(by=crew, at=shop.later(7), piece=shop.piece(THIRD), to=shop.rack)
    kits.close(by=crew, at=shop.later(7), kit=kit, reason="called off")
    later = a_kit(shop, crew, number="J2", in_hours=400)
    move = {"by": crew, "at": shop.later(8), "piece": shop.piece(THIRD), "to": later.place}
    refused("piece_held", move_piece, **move)
    event = OrderEvent.objects.get(what="for_job")
    assert (event.job, event.reason, event.piece) == (
        kit.job,
        "first coil only",
        shop.pieces[THIRD],
    )
    assert {each["code"] for each in event.said["pieces"]} >= {"unread_after_cut", "mark_missing"}


def test_what_lies_with_a_kit_goes_to_no_grinder(shop, engineer, crew):
    kit = a_kit(shop, crew)
    move_pieces(by=crew, at=shop.world.at, pieces=[shop.piece(THIRD)], to=kit.place)
    order = shop.request(engineer, THIRD)
    assert refused("piece_taken", shop.send, engineer, order).values["kit"] == kit.number


# What keeps it from being released.


def test_an_owner_who_was_not_asked_keeps_it_here(shop, engineer, attendant):
    orn = Owner.objects.create(code="ORN", name="Orn & Sons")
    Piece.objects.filter(pk=shop.pieces[THIRD].pk).update(owner=orn)
    for vendor in (shop.grinder, None):
        order = shop.request(engineer, THIRD, vendor=vendor)
        refused("owner_approval_missing", shop.send, attendant, order)
        regrind_orders.cancel_order(by=engineer, at=shop.world.at, order=order, reason="waits")
    say = {"by": attendant, "at": shop.world.at, "owner": orn, "kind": "regrind",
           "pieces": [shop.piece(THIRD)]}  # fmt: skip
    approvals.record_approval(**say, answer="given", dated_on=shop.world.at.date(), reference="7")
    order = shop.ready(attendant, shop.request(engineer, THIRD))
    approvals.record_approval(**say, answer="withdrawn", dated_on=shop.world.at.date(),
                              reference="8")  # fmt: skip
    refused("owner_approval_missing", let_go, shop, engineer, order)


def test_a_reading_from_before_the_cut_says_nothing_of_it(shop, engineer):
    order = shop.request(engineer, THIRD, vendor=None)
    shop.send(engineer, order)
    shop.read(engineer, order, at=shop.later(1))
    shop.back(engineer, order, to=None, done_on=shop.later(5).date())
    shop.marks(engineer, order)
    refused("unread_after_cut", let_go, shop, engineer, order)
    shop.read(engineer, order, at=shop.later(5))
    refused("speed_slack", let_go, shop, engineer, order)


def test_the_mark_must_be_back(shop, engineer):
    order = shop.request(engineer)
    shop.send(engineer, order)
    seen = {"by": engineer, "at": shop.later(6), "order": order,
            "codes": [shop.pieces[THIRD].code]}  # fmt: skip
    refused("not_back", regrind_order_moves.see_mark, **seen)
    shop.back(engineer, order)
    shop.read(engineer, order)
    refused("mark_missing", let_go, shop, engineer, order)
    shop.marks(engineer, order)
    regrind_order_moves.see_mark(**seen, is_there=False)
    refused("mark_missing", let_go, shop, engineer, order)
    regrind_order_moves.see_mark(**seen)
    assert let_go(shop, engineer, order).state == "released"


def test_a_diameter_off_its_target_is_not_released_until_the_target_says_so(shop, engineer):
    order = shop.request(engineer)
    shop.send(engineer, order)
    shop.back(engineer, order)
    piece = shop.piece(THIRD)
    shop.read(engineer, order, {f"{piece.code} drive_diameter": inches("6.0085")})
    shop.marks(engineer, order)
    assert refused("diameter_off", let_go, shop, engineer, order).values["piece"] == piece.code
    line = order.lines.get(piece=piece)
    told = OrderLineIn(piece, targets={"drive_diameter": inches("6.0085"),
                                       "outside_diameter": inches("6.51")})  # fmt: skip
    regrind_orders.change_line(by=engineer, at=shop.later(6), row=line, line=told,
                               reason="a little deep; the step to pass 2 is kept")  # fmt: skip
    assert let_go(shop, engineer, order).state == "released"


def test_below_its_least_it_is_never_released_for_anything(shop, engineer, supervisor, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    shop.send(engineer, order)
    shop.back(engineer, order)
    piece = shop.piece(THIRD)
    shop.read(engineer, order, {f"{piece.code} drive_diameter": inches("5.7")})
    shop.marks(engineer, order)
    refused("below_least_diameter", let_go, shop, engineer, order)
    way = {"by": supervisor, "at": shop.later(7), "order": order, "job": kit.job, "reason": "go"}
    refused("below_least_diameter", release_for_job, **way)


def test_one_pass_cut_alone_leaves_the_strip_slack(shop, engineer):
    """6.000, 6.020, 6.010, 6.060: refused, unless an engineer signs a reason."""
    order = shop.ready(engineer, shop.request(engineer, *ALONE))
    problem = refused("speed_slack", let_go, shop, engineer, order)
    assert problem.values["asks"] == "reason"
    assert SetupChart.objects.get().state == ChartState.PROVED
    assert let_go(shop, engineer, order, reason="last coil of this profile").state == "released"
    assert OrderEvent.objects.get(what="released").reason == "last coil of this profile"


def test_all_cut_alike_keep_step(shop, engineer):
    assert let_go(shop, engineer, shop.ready(engineer, shop.request(engineer))).state == "released"


def test_an_order_seen_before_it_was_changed_is_looked_at_again(shop, engineer):
    order = shop.ready(engineer, shop.request(engineer))
    refused("order_changed", let_go, shop, engineer, order, version=order.version - 1)
    assert let_go(shop, engineer, order, version=order.version).state == "released"


def test_nothing_sent_is_nothing_to_release(shop, engineer):
    refused("not_sent", let_go, shop, engineer, shop.request(engineer))


def test_plated_it_is_measured_over_the_chrome(shop, engineer):
    line = {"kinds": ("strip", "regrind", "plate")}
    order = shop.request(engineer, line=line)
    shop.send(engineer, order)
    shop.back(engineer, order)
    assert shop.piece(THIRD).over_chrome
    shop.read(engineer, order)
    shop.marks(engineer, order)
    refused("unread_over_chrome", let_go, shop, engineer, order)
    shop.read(engineer, order, over_chrome=True)
    assert let_go(shop, engineer, order).state == "released"
    kinds = Work.objects.filter(piece=shop.pieces[THIRD]).order_by("pk")
    assert list(kinds.values_list("kind", flat=True)) == ["strip", "regrind", "plate"]


def test_polished_it_needs_no_reading_and_proves_what_it_proved(shop, engineer):
    piece = shop.pieces[THIRD]
    Piece.objects.filter(pk=piece.pk).update(condition="marked")
    line = OrderLineIn(shop.piece(THIRD), kinds=("polish",))
    order = regrind_orders.request_order(by=engineer, at=shop.world.at, lines=[line])
    shop.send(engineer, order)
    shop.back(engineer, order, to=None)
    assert let_go(shop, engineer, order).state == "released"
    assert (SetupChart.objects.get().state, shop.piece(THIRD).condition) == ("proved", "clean")


def test_a_release_of_which_nothing_is_written_down_did_not_happen(shop, engineer, monkeypatch):
    order = shop.ready(engineer, shop.request(engineer))

    def broken(**fields):
        raise RuntimeError("no history")

    monkeypatch.setattr(OrderEvent.objects, "create", broken)
    with pytest.raises(RuntimeError):
        let_go(shop, engineer, order)
    assert RegrindOrder.objects.get().state == "back"
    assert RegrindOrderLine.objects.filter(is_open=True).count() == 8


def test_an_order_keeps_the_equal_cut_of_a_ratio_in_view(world, engineer):
    """9.000 on 6.000 at 1.5, each less 0.030: 8.970 / 5.970 is 0.17 % off. It warns."""
    shop = Grinding(world, tops=(9.0, 9.03, 9.06, 9.09), ratio="1.5")
    order = shop.request(engineer, (1, "top", 1), (1, "bottom", 1))
    judged = judge_order(judged_lines(order), at=world.at)
    told = [each for each in judged.sets[0].checks if each.code == "ratio_off"]
    assert [(each.level, each.pass_number) for each in told] == [("warn", 1)]
    assert "0.168 %" in told[0].said


def test_targets_say_what_becomes_of_the_set_before_anything_is_cut(shop, engineer):
    order = shop.request(engineer, *ALONE)
    judged = judge_order(judged_lines(order), at=shop.world.at)
    one = judged.sets[0]
    assert (one.set_number, one.who, one.mill_number, one.level) == ("S", "A", "M", "no")
    slack = [each for each in one.bad if each.code == "speed_slack"]
    assert [each.said.startswith("Pass 2 to 3") for each in slack] == [True, True]
    row = one.rows[2]
    assert (row.bottom_before_nm, row.bottom_nm, row.bottom_is_ordered) == (
        inches("6.04"), inches("6.01"), True,
    )  # fmt: skip


def test_centres_below_the_mills_stop_are_refused_however_good_the_reason(shop, engineer):
    Station.objects.filter(mill=shop.mill).update(vertical_least_nm=inches("6.06"))
    order = shop.ready(engineer, shop.request(engineer))
    problem = refused("centres_below_stop", let_go, shop, engineer, order, reason="try it")
    assert "asks" not in problem.values


def test_every_set_that_uses_a_piece_is_judged_and_its_chart_unproved(shop, engineer, crew):
    """A shared roll, another set with a chart of its own, and a kit that borrows a spare."""
    world = shop.world
    other = world.tool_set("T", {(1, "bottom", 1): shop.drawings[THIRD]}, unit="in")
    world.copy(other, "A", {(1, "bottom", 1): shop.pieces[THIRD]})
    mill = world.mill("N", unit="in")
    SetupChart.objects.filter(pk=world.chart(other, mill).pk).update(state="proved")
    kit = a_kit(shop, crew)
    before = kit.version
    order = shop.request(engineer)
    judged = judge_order(judged_lines(order), at=world.at)
    assert sorted((each.set_number, each.mill_number) for each in judged.sets) == [
        ("S", "M"), ("T", "N"),
    ]  # fmt: skip
    let_go(shop, engineer, shop.ready(engineer, order))
    assert set(SetupChart.objects.values_list("state", flat=True)) == {"unproved"}
    assert Kit.objects.get(pk=kit.pk).version > before


def test_a_kit_that_borrows_an_ordered_piece_is_judged_by_itself(shop, engineer, crew):
    spare = shop.world.piece(shop.drawings[THIRD], shop.rack, mark="3B", unit="in")
    Piece.objects.filter(pk=shop.pieces[THIRD].pk).update(condition="cracked")
    kit = a_kit(shop, crew)
    assert kit.positions.filter(piece=spare).exists()
    line = OrderLineIn(spare, take_off_nm=inches("0.03"))
    order = regrind_orders.request_order(by=engineer, at=shop.world.at, lines=[line])
    judged = judge_order(judged_lines(order), at=shop.world.at)
    assert [(each.kit, each.who) for each in judged.sets] == [(kit.number, "")]


def test_a_faced_roll_names_what_its_fills_are_to_gain(shop, engineer):
    SetPosition.objects.filter(set_pass__number=3, shaft="bottom").update(carries_guide_point=True)
    faced = OrderLineIn(
        shop.piece(THIRD), kinds=("face",),
        targets={"face_width": inches("1.99"), "guide_offset": inches("0.996")},
    )  # fmt: skip
    order = regrind_orders.request_order(by=engineer, at=shop.world.at, lines=[faced])
    judged = judge_order(judged_lines(order), at=shop.world.at)
    told = judged.fills[0]
    assert (told.pass_number, told.shaft, told.is_exact) == (3, "bottom", True)
    assert (told.inboard_nm, told.outboard_nm) == (inches("0.004"), inches("0.006"))
    assert to_be_read(order.lines.get()) == ("face_width", "guide_offset")


@pytest.mark.parametrize("count", [0, 1, 250])
def test_orders_ask_no_more_of_many_pieces_than_of_one(shop, engineer, count):
    pieces = [
        shop.world.piece(shop.drawings[THIRD], shop.rack, unit="in") for _each in range(count)
    ]
    lines = [OrderLineIn(piece, take_off_nm=inches("0.03")) for piece in pieces]
    today = shop.world.at.date()
    asked = {"orders for work": queries_of(lambda: order_lists(today=today))}
    if lines:
        order = regrind_orders.request_order(by=engineer, at=shop.world.at, lines=lines)
        shop.send(engineer, order)
        shop.back(engineer, order, to=None)
        asked |= {
            "judging an order": queries_of(
                lambda: judge_order(judged_lines(order), at=shop.world.at)
            ),
            "order for work": queries_of(lambda: order_page(order.number, at=shop.world.at)),
            "lead times": queries_of(lead_times),
        }
    assert {name: n for name, n in asked.items() if n > COUNTS[name]} == {}


@pytest.mark.parametrize("spots", [(THIRD,), ()], ids=["one roll", "the whole set"])
def test_orders_ask_as_much_for_a_whole_set_as_for_one_roll_of_it(shop, engineer, crew, spots):
    a_kit(shop, crew)
    order = shop.request(engineer, *spots)
    shop.send(engineer, order)
    shop.back(engineer, order)
    asked = {
        "judging an order": queries_of(lambda: judge_order(judged_lines(order), at=shop.later(6))),
        "order for work": queries_of(lambda: order_page(order.number, at=shop.later(6))),
        "lead times": queries_of(lead_times),
    }
    assert {name: n for name, n in asked.items() if n != COUNTS[name]} == {}


def queries_of(read):
    with CaptureQueriesContext(connection) as asked:
        read()
    return len(asked)


@pytest.mark.parametrize(
    ("now", "least", "stock", "left"),
    [("6.000", "5.700", "0.030", 10), ("8.0", "7.5", "0.03", 16), ("8.0", "7.5", "0.04", 12),
     ("5.7", "5.7", "0.03", 0), ("5.69", "5.7", "0.03", 0)],
)  # fmt: skip
def test_cuts_left_are_counted_in_whole_numbers(shop, engineer, now, least, stock, left):
    piece = shop.piece(THIRD)
    piece.made_drive_diameter_nm = inches(now)
    piece.revision.least_drive_diameter_nm = inches(least)
    Setting.objects.create(name="usual_stock_per_cut", value=inches(stock))
    assert cuts_left([piece])[piece.pk].cuts == left


def test_kits_say_which_order_holds_a_piece_and_offer_another(shop, engineer, crew):
    order = shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.world.at).positions}
    held = told[shop.pieces[THIRD].code]
    assert (held.state, order.number in held.reason) == ("held", True)
    shop.send(engineer, order)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.world.at).positions}
    assert told[shop.pieces[THIRD].code].state == "out"
    shop.back(engineer, order)
    told = {view.piece: view for view in kit_page(kit.number, at=shop.later(6)).positions}
    assert "not released yet" in told[shop.pieces[THIRD].code].reason


def test_a_whole_set_put_to_a_kit_leaves_what_is_on_order(shop, engineer, crew):
    shop.request(engineer, THIRD)
    kit = a_kit(shop, crew)
    told = put(crew, shop.world.at, shop.set.code, kit.place.code)
    assert "(3B), held" in told.message
    assert kit.positions.filter(is_staged=True).count() == 7


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
