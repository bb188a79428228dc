"""What the Regrinds place asks of the database, however much there is; when to send what."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.regrind_shop import RegrindShop, regrind_shop, wear, work_out
from tests.world import World
from tooling.models import (
    Approval,
    OrderState,
    Owner,
    Person,
    RegrindOrder,
    RegrindOrderLine,
    Setting,
)
from tooling.queries.regrind_facts import read_facts
from tooling.queries.regrind_plan_page import plan_page
from tooling.queries.regrind_plans import copy_choices, find_plan
from tooling.queries.regrind_when import when_page
from tooling.queries.regrind_when_views import WindowView
from tooling.queries.regrinds import regrinds_page
from tooling.services import regrind_plans

COUNTS: dict[str, int] = json.loads(
    (Path(__file__).resolve().parent.parent / "query_counts.json").read_text()
)
KM = 10**12
pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(world: World) -> RegrindShop:
    return regrind_shop(world)


def asked(read: Callable[[], Any]) -> int:
    with CaptureQueriesContext(connection) as captured:
        read()
    return len(captured)


def test_the_place_asks_no_more_when_there_is_more(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    today = at.date()
    plan = regrind_plans.start_plan(by=engineer, at=at, copies=[shop.copy])
    work_out(engineer, at, plan.number)
    shop.world.job(shop.tool_set, shop.mill, number="N", length_nm=KM)
    reads: dict[str, Callable[[], Any]] = {
        "regrinds page": lambda: regrinds_page(at=at, today=today),
        "regrind plan page": lambda: plan_page(find_plan(plan.number), at=at),
        "regrind facts": lambda: read_facts([shop.copy.pk], at=at),
        "copies to plan for": copy_choices,
        "when page": lambda: when_page(at=at),
    }
    before = {name: asked(read) for name, read in reads.items()}
    for n in range(4):
        more = regrind_shop(shop.world, f"20{n}", mill=shop.mill)
        shop.world.job(more.tool_set, shop.mill, number=f"N{n}", length_nm=KM)
        other = regrind_plans.start_plan(by=engineer, at=at, copies=[more.copy, shop.copy])
        work_out(engineer, at, other.number)
    after = {name: asked(read) for name, read in reads.items()}
    assert before == after
    assert after == {name: COUNTS[name] for name in reads}


def test_an_empty_shop_has_an_empty_place(world: World, at: datetime) -> None:
    assert regrinds_page(at=at, today=at.date()).is_empty
    assert when_page(at=at).windows == ()
    assert copy_choices() == ()


def window(at: datetime, copy: str = "1472-A") -> WindowView:
    return next(each for each in when_page(at=at).windows if each.copy == copy)


def due(shop: RegrindShop) -> None:
    """One roll lasts 50 km; jobs of 40 km on days 10 and 40 from now: the second passes it."""
    wear(shop, shop.rolls[2, "top"], depth_nm=100_000, left_m=50_000.0)
    for n, day in enumerate((10, 40)):
        shop.world.job(shop.tool_set, shop.mill, number=f"D{n}", in_hours=24 * day,
                       length_nm=40 * KM)  # fmt: skip


def test_the_latest_safe_window_ends_before_the_job_that_passes_the_limit(
    shop: RegrindShop, at: datetime
) -> None:
    """D1 is gathered on 4 January; back on the 3rd, so with 14 days lead sent on 20 December."""
    due(shop)
    found = window(at)
    assert found.crosses == "D1"
    assert found.governs == shop.rolls[2, "top"].code
    assert found.deadline is not None
    assert found.chosen is not None
    assert (found.deadline - found.chosen.back).days == 1
    assert (found.chosen.back - found.chosen.out).days == 14
    assert [each.state for each in found.others] == ["too_short", "past_limit"]


def test_without_planned_work_there_is_no_date(shop: RegrindShop, at: datetime) -> None:
    wear(shop, shop.rolls[2, "top"], depth_nm=100_000, left_m=50_000.0)
    found = window(at)
    assert (found.crosses, found.chosen, found.left_m) == ("", None, 50_000.0)


def test_lead_times_come_from_own_orders_that_were_released(
    shop: RegrindShop, at: datetime
) -> None:
    for n, days in enumerate((5, 6, 7, 8, 20)):
        RegrindOrder.objects.create(
            number=f"G-{n}", state=OrderState.RELEASED, requested_at=at,
            sent_at=at - timedelta(days=days), ended_at=at,
        )  # fmt: skip
    lead = when_page(at=at).lead
    assert (lead.usual, lead.safe, lead.orders) == (7, 20, 5)


def test_owners_and_open_orders_move_the_window(shop: RegrindShop, at: datetime) -> None:
    due(shop)
    owner = Owner.objects.create(code="ORN", name="Orn")
    piece = shop.rolls[1, "top"]
    piece.owner = owner
    piece.save()
    assert window(at).owes_approval == ("Orn",)
    Approval.objects.create(owner=owner, kind="regrind", answer="given", reference="L 5",
                            dated_on=at.date(), at=at)  # fmt: skip
    assert window(at).owes_approval == ()
    order = RegrindOrder.objects.create(
        number="G-9", state=OrderState.OUT, requested_at=at, sent_at=at,
        due_on=(at + timedelta(days=50)).date(),
    )  # fmt: skip
    line = RegrindOrderLine.objects.create(order=order, piece=piece)
    assert window(at).away_until is None, "asked for, it lies here still"
    RegrindOrderLine.objects.filter(pk=line.pk).update(sent_at=at)
    found = window(at)
    assert found.away_until == order.due_on
    assert found.chosen is None


def test_the_grinder_takes_so_many_a_week(shop: RegrindShop, at: datetime) -> None:
    due(shop)
    Setting.objects.create(name="grinder_pieces_a_week", value=7)
    page = when_page(at=at)
    assert page.pieces_a_week == 7
    assert page.urgent == 1
    assert {each.state for each in window(at).options} >= {"full"}


def test_recut_against_replace_names_what_is_missing(shop: RegrindShop, at: datetime) -> None:
    choice = window(at).choice
    assert choice is not None
    assert choice.piece == shop.rolls[3, "bottom"].code
    assert choice.says == ""
    assert choice.open == ("recut_cents",)
