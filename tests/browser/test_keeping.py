"""Handing out and the walk with a cart, under simulated hands."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import PHONE, TABLET
from tests.browser.trial import Hands
from tests.rolling import Rolling
from tests.world import World
from tooling.models import Person, Piece, StockLine
from tooling.queries.loans import loans
from tooling.services.movements import move_pieces

Open = Callable[..., Page]


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def shop(world: World) -> Rolling:
    return Rolling(world)


def fits(page: Page) -> None:
    """What everybody can use, on this screen."""
    assert accessibility_problems(page) == []
    assert small_targets(page) == []
    assert wider_than_the_screen(page) == 0


def test_what_leaves_is_scanned_onto_a_list_and_goes_with_one_tap(
    world: World, open_as: Open, cast: dict[str, Person], shop: Rolling, at: datetime
) -> None:
    grinder = world.place("Grinder West", kind="grinder")
    rolls = list(shop.pieces.values())[:3]
    hands = Hands(open_as(cast["attendant"], "/scan/", viewport=PHONE))
    page = hands.page
    hands.scan(grinder.code)
    expect(page.locator("#going")).to_be_attached()
    for roll in rolls:
        hands.scan(roll.code)
    expect(page.locator("#going li")).to_have_count(3)
    assert loans(at=at) == []
    fits(page)
    hands.tap(page.get_by_role("button", name="They leave now"))
    expect(page.get_by_role("link", name="Print the slip")).to_be_visible()
    assert len(loans(at=at)) == 3
    assert (hands.taps, hands.scans) == (1, 4)
    fits(page)
    hands.tap(page.get_by_role("button", name="Undo"))
    expect(page.locator("main")).to_contain_text("Nothing is out.")


def test_to_a_person_things_go_at_once_and_of_a_bin_as_many_as_said(
    world: World, open_as: Open, cast: dict[str, Person], shop: Rolling, at: datetime
) -> None:
    pat = world.place("Pat Novak", kind="person")
    line = world.stock(world.drawing("SP-40", kind="spacer"), shop.rack, 12)
    roll = shop.pieces[1, "top", 1]
    hands = Hands(open_as(cast["attendant"], "/scan/", viewport=PHONE))
    page = hands.page
    hands.enter(pat.code, pat.name)
    due = page.get_by_label("Due back")
    expect(due).not_to_have_value("")
    due.fill("2030-01-01")
    expect(page.locator("#scan-field")).to_be_focused()
    hands.put(roll.code)
    hands.scan(line.code)
    number = page.get_by_label("How many?")
    expect(number).to_have_value("12")
    expect(number).to_be_focused()
    hands.scan(roll.code)
    expect(page.locator("[data-flash-said]")).to_contain_text("Write the number first")
    page.keyboard.type("4")
    fits(page)
    page.keyboard.press("Enter")
    row = page.locator(f'[data-rows] > li[data-code="{line.code}"][data-status="taken"]')
    expect(row).to_be_attached()
    assert StockLine.objects.get(pk=line.pk).count == 8
    assert {str(loan.due_on) for loan in loans(at=at)} == {"2030-01-01"}


def test_the_walk_shows_the_next_place_and_tells_a_wrong_one(
    world: World, open_as: Open, cast: dict[str, Person], shop: Rolling, at: datetime
) -> None:
    far = world.place("Rack Far", walking_order=9)
    rolls = list(shop.pieces.values())
    for roll in rolls[:2]:
        Piece.objects.filter(pk=roll.pk).update(home=far)
    move_pieces(by=cast["attendant"], at=at, pieces=rolls, to=shop.cart)
    hands = Hands(open_as(cast["attendant"], f"/scan/put-away/{shop.cart.code}/", viewport=TABLET))
    page = hands.page
    top = page.locator("#walk-next .walk-name")
    expect(top).to_have_text(shop.rack.name)
    fits(page)
    hands.enter(shop.rack.code, shop.rack.name)
    hands.scan(rolls[0].code)
    problem = page.locator('.problem[data-code="wrong_home"]')
    expect(problem).to_contain_text("belongs in Rack Far")
    expect(problem.get_by_role("link", name="Show it")).to_be_visible()
    for roll in rolls[2:]:
        hands.put(roll.code)
    expect(top).to_have_text("Rack Far")
    hands.tap(page.get_by_role("button", name="All 2 put away here"))
    expect(top).to_have_text("Done")
    assert Piece.objects.filter(place=far).count() == 2
    assert Piece.objects.filter(place=shop.rack).count() == 2
    hands.tap(page.get_by_role("button", name="Undo"))
    expect(top).to_have_text("Rack Far")
