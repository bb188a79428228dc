"""Planning a regrind in a real browser: begun, polled, settled by keyboard; phone and tablet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import unfit
from tests.browser.conftest import PHONE
from tests.regrind_shop import RegrindShop, regrind_shop, wear, work_out
from tests.world import World
from tooling.models import Person
from tooling.services import regrind_plans
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

Open = Callable[..., Page]


@pytest.fixture
def at() -> Any:
    return timezone.now()


@pytest.fixture
def shop(world: World) -> RegrindShop:
    made = regrind_shop(world)
    wear(made, made.rolls[2, "top"], depth_nm=100_000, left_m=50_000.0, angle=80.0)
    for n, day in enumerate((10, 40)):
        made.world.job(made.tool_set, made.mill, number=f"D{n}", in_hours=24 * day,
                       length_nm=40 * 10**12)  # fmt: skip
    return made


def test_a_plan_is_begun_worked_out_and_a_piece_settled(
    shop: RegrindShop, cast: dict[str, Person], open_as: Open
) -> None:
    page = open_as(cast["engineer"], "/regrinds/plans/new/")
    page.get_by_label("1472-A Set 1472").check()
    page.locator("main button.first").press("Enter")
    expect(page.locator("#plan-running")).to_be_visible()
    assert work_once(HANDLERS)
    row = page.locator(f'[data-piece="{shop.rolls[3, "bottom"].code}"]')
    expect(row).to_have_attribute("data-kind", "cut")
    row.get_by_text("Settle it").press("Enter")
    row.locator("select").select_option("leave")
    row.get_by_role("button", name="Work it out so").press("Enter")
    expect(page.locator("#plan-running")).to_be_visible()
    assert work_once(HANDLERS)
    expect(page.locator('[data-requirement="pinned_leave"]')).to_be_visible()


def test_nothing_scrolls_sideways_and_axe_finds_nothing(
    shop: RegrindShop, cast: dict[str, Person], open_as: Open, at: Any
) -> None:
    by = cast["engineer"]
    plan = regrind_plans.start_plan(by=by, at=at, copies=[shop.copy])
    work_out(by, at, plan.number)
    work_once(HANDLERS)
    page = open_as(by, "/regrinds/", viewport=PHONE, bypass_csp=True)
    for path in ("/regrinds/", "/regrinds/when/", f"/regrinds/plans/{plan.number}/"):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        assert unfit(page) == [], path
