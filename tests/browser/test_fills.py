"""A spacer that is missing at the mill: another stack, that shaft alone, counted in taps."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from itertools import product

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import SCHEMES, unfit
from tests.browser.conftest import PHONE
from tests.browser.trial import Hands
from tests.filling import Filling
from tests.world import World
from tooling.models import Person
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

Open = Callable[..., Page]
SLACK = 4
"""Times as long as beside a server of one's own."""


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


def test_a_missing_spacer_takes_four_taps_and_changes_one_shaft(
    open_as: Open, cast: dict[str, Person], world: World
) -> None:
    shop = Filling(
        world, cast["crew"], stations=14, lengths={20: 56, 40: 8, 80: 8, 100: 56}
    )  # fmt: skip
    shop.fill()
    before = shop.stacks()
    hands = Hands(open_as(cast["crew"], f"/kits/{shop.kit.number}/", viewport=PHONE))
    row = shop.rows(14, "top")[1]

    def find_another() -> None:
        hands.tap(hands.page.locator("nav.strip-marks a[href='#station-14']"))
        hands.tap(hands.page.locator("#station-14 a[href*='/14/top/']"))
        spacer = hands.page.locator("#p-2")
        hands.tap(spacer.get_by_role("button", name="Not there"))
        expect(hands.page.locator("#fill [data-progress]")).to_be_visible()
        assert work_once(HANDLERS)
        done = hands.page.locator("#what-fills-it[data-fill-state='filled']")
        expect(done).to_be_visible(timeout=15 * SLACK * 1000)
        expect(hands.page.locator("#fill [data-progress]")).to_have_count(0)

    taps, _scans = hands.counted(find_another)
    assert taps <= 4
    after = shop.stacks()
    assert [key for key in before if before[key] != after[key]] == [(14, "top")]
    assert not shop.kit.positions.filter(pk=row.pk).exists()


def test_pages_of_stacks_are_for_everybody(
    open_as: Open, cast: dict[str, Person], world: World
) -> None:
    shop = Filling(world, cast["crew"], stations=2, lengths={20: 4, 100: 8})
    shop.make_in_steps_of(20)
    shop.fill()
    page = open_as(cast["crew"], "/kits/", viewport=PHONE, bypass_csp=True)
    for each in ("", "fill/", "fill/make-list/", "stations/1/top/", "stations/2/bottom/"):
        page.goto(f"/kits/{shop.kit.number}/{each}")
        looks = product((PHONE,), SCHEMES)
        assert unfit(page, *looks, besides='aria-label="Station') == [], each
