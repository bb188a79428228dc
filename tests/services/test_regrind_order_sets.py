"""What an order does to every set that uses its pieces, and what it asks of the database."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.grinding import Grinding, a_kit, inches, let_go
from tests.services.test_owner_leave import refused
from tooling.models import (
    Kit,
    Piece,
    SetPosition,
    Setting,
    SetupChart,
    Station,
)
from tooling.queries.cuts_left import cuts_left
from tooling.queries.lead_times import lead_times
from tooling.queries.regrind_order_page import order_page
from tooling.queries.regrind_orders import order_lists
from tooling.queries.regrind_release import judge_order, judged_lines
from tooling.queries.release_pieces import to_be_read
from tooling.services import regrind_orders
from tooling.services.regrind_targets import OrderLineIn

pytestmark = pytest.mark.django_db
THIRD = (3, "bottom", 1)
ALONE = (THIRD, (3, "top", 1))


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    return Grinding(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


COUNTS = json.loads((Path(__file__).parent.parent / "query_counts.json").read_text())


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
