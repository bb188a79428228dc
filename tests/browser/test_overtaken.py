"""Answers that come late, come in another order than they were asked for, or do not come at all:
no scan goes to a wrong place, no tap is lost, and what the page shows is made good."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime

import pytest
from django.utils import timezone
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import PHONE
from tests.browser.trial import Hands
from tests.rolling import Rolling
from tests.services.counting import Rack
from tests.world import World
from tooling.models import Count, CountEntry, Person, Piece
from tooling.services.counts import drop
from tooling.services.movements import move_pieces

Open = Callable[..., Page]


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


class Held:
    """Requests that the network keeps until they are let go, or loses."""

    def __init__(self, page: Page, pattern: str | re.Pattern[str]) -> None:
        self.routes: list[Route] = []
        self.then: Callable[[Route], None] = self.routes.append
        page.route(pattern, lambda route: self.then(route))

    def go(self) -> None:
        self.end(lambda route: route.continue_())

    def lose(self) -> None:
        self.end(lambda route: route.abort("internetdisconnected"))

    def end(self, how: Callable[[Route], None]) -> None:
        self.then = how
        while self.routes:
            how(self.routes.pop(0))


def test_a_piece_scanned_before_its_place_was_known_goes_there_and_not_where_the_last_went(
    world: World, open_as: Open, cast: dict[str, Person]
) -> None:
    first, second = world.place("Rack A"), world.place("Rack B")
    piece = world.piece(world.drawing("D1"), first, mark="12-T")
    hands = Hands(open_as(cast["attendant"], "/scan/"))
    hands.enter(first.code, first.name)
    held = Held(hands.page, "**/scan/read/*")
    hands.scan(second.code)
    hands.scan(piece.code)
    held.go()
    expect(hands.page.locator("[data-rows] > li").first).to_contain_text("is in Rack B")
    assert Piece.objects.get(pk=piece.pk).place == second


def test_what_follows_a_place_that_was_not_read_is_named_and_goes_nowhere(
    world: World, open_as: Open, cast: dict[str, Person]
) -> None:
    first, second = world.place("Rack A"), world.place("Rack B")
    piece = world.piece(world.drawing("D1"), second, mark="12-T")
    page = open_as(cast["attendant"], "/today/")
    page.route("**/scan/known/*", lambda route: route.fulfill(status=408))  # no place learnt
    page.goto("/scan/")
    hands = Hands(page)
    hands.enter(first.code, first.name)
    held = Held(hands.page, "**/scan/read/*")
    hands.scan(second.code)
    hands.scan(piece.code)
    held.lose()
    problem = hands.page.locator('.problem[data-code="no_connection"]')
    expect(problem).to_contain_text(f"Not taken, as nobody knows where: {piece.code}")
    held.go()
    hands.enter(second.code, second.name)
    hands.put(piece.code)
    assert Piece.objects.get(pk=piece.pk).place == second


def test_the_walk_makes_good_what_it_missed_and_opens_at_its_top(
    world: World, open_as: Open, cast: dict[str, Person], at: datetime
) -> None:
    shop = Rolling(world)
    rolls = list(shop.pieces.values())
    far = world.place("Rack Far", walking_order=9)
    Piece.objects.filter(pk=rolls[0].pk).update(home=far)
    move_pieces(by=cast["attendant"], at=at, pieces=rolls, to=shop.cart)
    path = f"/scan/put-away/{shop.cart.code}/"
    hands = Hands(open_as(cast["attendant"], path, viewport=PHONE))
    page = hands.page
    expect(page.locator("#scan-field")).to_be_focused()
    assert page.evaluate("window.scrollY") == 0
    walk = Held(page, "**/walk/*")
    walk.end(lambda route: route.fulfill(status=204))  # too early: nothing new yet
    hands.enter(shop.rack.code, shop.rack.name)
    for roll in rolls[1:]:
        hands.put(roll.code)
    expect(page.locator("#walk-next .walk-name")).to_have_text(shop.rack.name)
    walk.go()
    expect(page.locator("#walk-next .walk-name")).to_have_text("Rack Far")
    move_pieces(by=cast["attendant"], at=timezone.now(), pieces=rolls[:1], to=far)
    expect(page.locator("#walk-next .walk-name")).to_have_text("Done")


def test_the_rows_shown_are_of_the_place_entered_last(
    world: World, open_as: Open, cast: dict[str, Person]
) -> None:
    rack = Rack(world)
    ann = open_as(cast["attendant"], "/pieces/counts/")
    ann.locator(f"button[name=place][value={rack.rack.code}]").click()
    expect(ann.locator("[data-context-name]")).to_have_text("Rack A")
    hands = Hands(ann)
    rows = Held(ann, re.compile(r"/live/\?at="))
    for shelf in (rack.shelf, rack.row):
        hands.enter(shelf.code, shelf.name)
    rows.go()
    asks = re.compile(f"at={rack.row.code}$")
    expect(ann.locator("#count-live")).to_have_attribute("hx-get", asks)


def test_a_tap_is_not_lost_to_a_poll_that_was_under_way(
    world: World, open_as: Open, cast: dict[str, Person]
) -> None:
    rack = Rack(world)
    ann = open_as(cast["attendant"], "/pieces/counts/")
    ann.locator(f"button[name=place][value={rack.rack.code}]").click()
    expect(ann.locator("[data-context-name]")).to_have_text("Rack A")
    ben = Hands(open_as(cast["crew"], "/today/"))
    ben.page.get_by_role("link", name="being counted").click()
    expect(ben.page.locator("[data-context-name]")).to_have_text("Rack A")
    live = Held(ann, "**/live/*")
    with ann.expect_request("**/live/*"):
        ben.scan(rack.pieces[0].code)
    expect(ben.page.locator("[data-answer]")).to_contain_text("found in")
    with ann.expect_response(lambda answer: "/row/" in answer.url):
        ann.locator(f"#row-{rack.row.code}").click()
        live.go()
    expect(ann.locator(f"#row-{rack.row.code}")).to_have_count(0)
    assert set(CountEntry.objects.values_list("by__username", flat=True)) >= {"attendant", "crew"}


def test_a_refused_tap_says_why_on_a_page_that_polls(
    world: World, open_as: Open, cast: dict[str, Person]
) -> None:
    rack = Rack(world)
    ann = open_as(cast["attendant"], "/pieces/counts/")
    ann.locator(f"button[name=place][value={rack.rack.code}]").click()
    expect(ann.locator("[data-context-name]")).to_have_text("Rack A")
    Held(ann, "**/live/*")
    drop(by=cast["supervisor"], at=timezone.now(), count=Count.objects.get())
    ann.locator(f"#row-{rack.row.code}").click()
    expect(ann.locator("#problems .problem")).to_be_visible()
