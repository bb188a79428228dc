"""What keeps an order from being released, and what its release does."""

from __future__ import annotations

import pytest
from django.db.models import F

from tests.grinding import Grinding, a_kit, inches, let_go
from tests.services.test_owner_leave import refused
from tooling.models import (
    ChartState,
    DrawingRevision,
    OrderEvent,
    Owner,
    Piece,
    RegrindOrder,
    RegrindOrderLine,
    SetupChart,
    Work,
)
from tooling.queries.regrind_release import judge_order, judged_lines
from tooling.services import approvals, regrind_order_moves, regrind_orders
from tooling.services.regrind_release import release_for_job
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


def test_where_no_drive_diameter_is_known_the_roots_tell_the_steps(shop, engineer):
    """Roots drawn 6.000, 6.020, 6.040, 6.060, the third read 6.010: refused as the drives would be,
    and against a drawing whose roots fall there it only warns."""
    DrawingRevision.objects.update(
        root_diameter_nm=F("drive_diameter_nm"), drive_diameter_nm=None,
        least_drive_diameter_nm=None,
    )  # fmt: skip
    order = shop.ready(engineer, shop.request(engineer, *ALONE))
    problem = refused("speed_slack", let_go, shop, engineer, order)
    assert "By the roots" in str(problem)
    thirds = DrawingRevision.objects.filter(drawing__number__in=("D3t", "D3b"))
    thirds.update(root_diameter_nm=inches("6.015"))
    (judged,) = judge_order(judged_lines(order), at=shop.later(7)).sets
    drawn = [each.level for each in judged.checks if each.code == "speed_drop_drawn"]
    assert (judged.level, drawn) == ("warn", ["warn", "warn"])


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
