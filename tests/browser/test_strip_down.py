"""A setup comes down in the browser: the taps counted, a gap, a flagged roll, and the way back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import PHONE
from tests.browser.trial import Hands
from tests.services.mounted import mounted
from tests.world import World
from tooling.models import Condition, KitState, Person, Piece, Setup, SetupState

Open = Callable[..., Page]


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock; the shafts were mounted an hour ago."""
    return timezone.now() - timedelta(hours=1)


def fits(page: Page) -> None:
    """What everybody can use, on this screen."""
    assert accessibility_problems(page) == []
    assert small_targets(page, least=72) == []
    assert wider_than_the_screen(page) == 0


def test_a_whole_setup_comes_down_in_ten_taps(
    world: World, cast: dict[str, Person], open_as: Open
) -> None:
    """Twenty-four stations, one roll cracked, one peg empty."""
    stood = mounted(world, cast["crew"], passes=24)
    gap, bad = stood.shop.pieces[5, "top", 1], stood.shop.pieces[9, "bottom", 1]
    address = f"/setups/{stood.kit.number}/strip-down/"
    hands = Hands(open_as(cast["crew"], address, viewport=PHONE, bypass_csp=True))
    page, button = hands.page, hands.page.get_by_role
    fits(page)
    hands.tap(page.locator("summary", has_text="Flag a roll"))
    page.get_by_label("Which").select_option(bad.code)
    hands.tap(button("button", name="cracked"))
    expect(page.get_by_text("is held. Scan it")).to_be_visible()
    row = page.locator(f"#row-{stood.stations[4]}")
    hands.tap(row.locator("summary"))
    hands.tap(row.locator("label", has_text=gap.code))
    hands.tap(row.get_by_role("button", name="Row full"))
    expect(page.locator("#not-home ~ ul")).to_contain_text(gap.code)
    hands.tap(button("button", name="All 23 rows are full"))
    expect(page.get_by_text("Everything that comes off is off.")).to_be_visible()
    hands.tap(button("button", name="All clean and sound"))
    expect(page.get_by_text("Looked over by")).to_be_visible()
    hands.tap(button("button", name="They are in their bins"))
    expect(page.get_by_text("No spacer lies loose")).to_be_visible()
    hands.tap(button("button", name="Strike the setup down"))
    expect(page.get_by_text("This setup is struck down.")).to_be_visible()
    for named in (gap, bad):
        expect(page.locator("#not-home ~ ul")).to_contain_text(named.code)
    assert (hands.taps, hands.scans) == (9, 0)
    fits(page)
    setup = Setup.objects.select_related("kit").get()
    assert (setup.state, setup.kit.state) == (SetupState.STRUCK, KitState.CLOSED)
    assert Piece.objects.get(pk=bad.pk).condition == Condition.HOLD
    cart = stood.shop.cart
    assert Piece.objects.filter(place__path__startswith=cart.path).count() == 46


def test_a_row_taken_back_is_on_again_and_times_are_tapped(
    world: World, cast: dict[str, Person], open_as: Open
) -> None:
    stood = mounted(world, cast["crew"], passes=2)
    page = open_as(cast["crew"], f"/setups/{stood.kit.number}/strip-down/")
    page.locator(f"#row-{stood.stations[0]}").get_by_role("button").click()
    expect(page.locator(".peg-rows > li")).to_have_count(1)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".peg-rows > li")).to_have_count(2)
    page = open_as(
        cast["crew"], f"/setups/{stood.kit.number}/times/", viewport=PHONE, bypass_csp=True
    )
    page.get_by_role("button", name="last good part of the job before").click()
    expect(page.get_by_role("button", name="mill cleared")).to_be_visible()
    page.get_by_role("button", name="waited for strip").click()
    expect(page.locator(".time-rows").last).to_contain_text("10 min")
    fits(page)


def test_mills_and_what_changes_are_readable_by_everybody(
    world: World, cast: dict[str, Person], open_as: Open
) -> None:
    stood = mounted(world, cast["crew"], passes=3)
    drawing = world.drawing("N-1")
    other = world.tool_set("N", {(1, "top", 1): drawing})
    world.copy(other, "A", {(1, "top", 1): world.piece(drawing, stood.shop.shelf)})
    world.chart(other, stood.shop.mill)
    world.job(other, stood.shop.mill, number="24-1200", in_hours=90)
    page = open_as(cast["engineer"], "/mills/", bypass_csp=True)
    for address in ("/mills/", "/mills/M1/", "/mills/M1/care/", "/changeovers/?mill=M1"):
        page.goto(address)
        assert accessibility_problems(page) == [], address
        assert wider_than_the_screen(page) == 0, address
