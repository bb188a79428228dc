"""Of an order the pieces that are back and right are released alone, where the sets stay true."""

from __future__ import annotations

import pytest

from tests.grinding import Grinding, a_kit, inches, let_go
from tests.services.test_owner_leave import refused
from tooling.models import OrderEvent, Piece, RegrindPlan, SetupChart
from tooling.queries.order_holds import held_by_orders
from tooling.queries.regrind_order_page import order_page
from tooling.queries.release_part import part_of
from tooling.services import regrind_order_moves, regrind_orders
from tooling.services.movements import move_pieces
from tooling.services.regrind_targets import OrderLineIn

pytestmark = pytest.mark.django_db
FIRST_PAIRS = tuple((n, shaft, 1) for n in (1, 2) for shaft in ("top", "bottom"))


@pytest.fixture
def shop(world):
    return Grinding(world)


@pytest.fixture
def other(shop):
    """Two rolls of another set that came to the same order: nothing to the first set."""
    world = shop.world
    drawings = {(1, s, 1): world.drawing(f"O{s}", unit="in", drive_diameter_nm=101_600_000,
                                         least_drive_diameter_nm=95_000_000)
                for s in ("top", "bottom")}  # fmt: skip
    tool_set = world.tool_set("O", drawings, unit="in")
    pieces = {spot: world.piece(each, shop.rack, unit="in") for spot, each in drawings.items()}
    world.copy(tool_set, "A", pieces)
    return {(9, spot[1], 1): piece for spot, piece in pieces.items()}


def codes(shop, *spots):
    return [shop.pieces[spot].code for spot in spots]


def partly(shop, by, order, *spots, **more):
    """Sent whole; these come back, are read and have their marks."""
    shop.send(by, order)
    shop.back(by, order, codes=codes(shop, *spots))
    shop.read(by, order, only=codes(shop, *spots))
    shop.marks(by, order, codes(shop, *spots))
    order.refresh_from_db()
    return order


def test_ten_were_ordered_and_eight_are_back_and_right(shop, other, engineer, crew):
    first = tuple(shop.pieces)
    shop.pieces |= other
    order = partly(shop, engineer, shop.request(engineer), *first)
    refused("still_out", let_go, shop, engineer, order)
    part = part_of(order_page(order.number, at=shop.later(6)), at=shop.later(6))
    assert (len(part.ready), len(part.rest), part.judged.refusals) == (8, 2, ())
    order = let_go(shop, engineer, order, codes=codes(shop, *first))
    assert (order.state, order.lines.filter(is_open=True).count()) == ("out", 2)
    assert OrderEvent.objects.filter(what="released").count() == 8
    assert SetupChart.objects.get().state == "unproved"
    kit = a_kit(shop, crew)
    move_pieces(by=crew, at=shop.later(8), pieces=[shop.piece(first[0])], to=kit.place)
    again = {"codes": codes(shop, first[0])}
    refused("line_closed", let_go, shop, engineer, order, **again)
    refused("back_already", shop.back, engineer, order, **again)
    page = order_page(order.number, at=shop.later(8))
    assert (page.came, len(page.out), page.lines[0].is_released) == (8, 2, True)
    shop.back(engineer, order)
    shop.read(engineer, order)
    shop.marks(engineer, order, [piece.code for piece in other.values()])
    assert let_go(shop, engineer, order).state == "released"


def test_a_set_that_is_only_true_as_a_whole_says_why_not(shop, engineer):
    """Two passes less 0.030, two not yet: between them the strip would be slack."""
    order = partly(shop, engineer, shop.request(engineer), *FIRST_PAIRS[2:])
    named = {"codes": codes(shop, *FIRST_PAIRS[2:])}
    part = part_of(order_page(order.number, at=shop.later(6)), at=shop.later(6))
    assert {each.code for each in part.judged.to_sign} == {"speed_slack"}
    problem = refused("speed_slack", let_go, shop, engineer, order, **named)
    assert (problem.values["asks"], order.lines.filter(is_open=False).exists()) == ("reason", False)
    order = let_go(shop, engineer, order, reason="the others follow on Monday", **named)
    assert order.lines.filter(is_open=False).count() == 2


def test_what_is_not_right_is_not_released_by_naming_it(shop, engineer):
    order = shop.request(engineer)
    shop.send(engineer, order)
    shop.back(engineer, order, codes=codes(shop, *FIRST_PAIRS))
    assert part_of(order_page(order.number, at=shop.later(6)), at=shop.later(6)) is None
    named = {"codes": codes(shop, FIRST_PAIRS[0])}
    refused("unread_after_cut", let_go, shop, engineer, order, **named)
    refused("still_out", let_go, shop, engineer, order, codes=codes(shop, (4, "top", 1)))
    refused("not_on_order", let_go, shop, engineer, order, codes=["R000000X"])
    assert Piece.objects.filter(order_lines__is_open=True).count() == 8


def test_what_is_left_of_it_may_come_back_as_it_was(shop, engineer):
    """Or be dropped: the order ends as released, and its plan stays ordered."""
    plan = RegrindPlan.objects.create(number="P-1", made_at=shop.world.at, state="solved")
    order = partly(shop, engineer, shop.request(engineer, plan=plan), *FIRST_PAIRS)
    let_go(shop, engineer, order, reason="try it", codes=codes(shop, *FIRST_PAIRS))
    refused("still_out", regrind_orders.cancel_order, by=engineer, at=shop.later(8), order=order,
            reason="no time")  # fmt: skip
    shop.back(engineer, order, is_done=False, at=shop.later(8), reason="their machine is down")
    order.refresh_from_db()
    plan.refresh_from_db()
    assert (order.state, plan.state) == ("released", "ordered")
    assert not Piece.objects.filter(order_lines__is_open=True).exists()


def test_a_rest_that_was_never_sent_waits_to_be_sent(shop, other, engineer):
    """Of ten the set's eight go, come back and are released: nothing is out."""
    first = tuple(shop.pieces)
    shop.pieces |= other
    order = shop.request(engineer)
    shop.send(engineer, order, codes=codes(shop, *first), due_on=shop.later(5).date())
    said = held_by_orders(piece.pk for piece in other.values())
    assert {hold.state for hold in said.values()} == {"requested"}
    shop.back(engineer, order, codes=codes(shop, *first))
    order.refresh_from_db()
    assert (order.state, order.back_at) == ("back", None)
    shop.read(engineer, order, only=codes(shop, *first))
    shop.marks(engineer, order, codes(shop, *first))
    order = let_go(shop, engineer, order, codes=codes(shop, *first))
    assert (order.state, order.back_at, order.due_on) == ("requested", None, None)
    page = order_page(order.number, at=shop.later(8))
    assert [(group.name, len(group.lines)) for group in page.groups] == [
        ("to_send", 2), ("released", 8)]  # fmt: skip
    refused("order_sent", regrind_orders.edit_order, by=engineer, at=shop.later(8), order=order,
            vendor=None)  # fmt: skip
    order = regrind_order_moves.send(by=engineer, at=shop.later(9), order=order)
    assert (order.state, order.due_on > shop.later(9).date()) == ("out", True)


def test_an_order_is_back_once_what_was_never_sent_is_off_it(shop, engineer):
    order = shop.request(engineer)
    shop.send(engineer, order, codes=codes(shop, *FIRST_PAIRS))
    shop.back(engineer, order, codes=codes(shop, *FIRST_PAIRS))
    for row in order.lines.filter(sent_at=None):
        regrind_orders.remove_line(by=engineer, at=shop.later(6), row=row)
    order.refresh_from_db()
    assert (order.state, order.back_at) == ("back", shop.later(6))


def test_other_targets_ask_for_a_reason_of_what_was_sent_alone(shop, engineer):
    order = shop.request(engineer)
    shop.send(engineer, order, codes=codes(shop, *FIRST_PAIRS))
    wanted = {"by": engineer, "at": shop.later(1)}
    for spot, is_sent in ((FIRST_PAIRS[0], True), ((4, "top", 1), False)):
        line = OrderLineIn(shop.piece(spot), take_off_nm=inches(0.040))
        row = order.lines.get(piece=line.piece)
        if is_sent:
            refused("empty_text", regrind_orders.change_line, **wanted, row=row, line=line)
        else:
            assert regrind_orders.change_line(**wanted, row=row, line=line) == row
