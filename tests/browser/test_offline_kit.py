"""Staging while the server is out of reach: the device knows what the kit chose and says how old
that is; what the kit did not choose is kept and told apart; the server has the last word."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems
from tests.browser.line import Line
from tests.browser.phone import NONE, comes_back, go_into, waiting, wedge
from tests.web.kit_shop import KitShop, small_shop
from tests.world import World
from tooling.models import Kit, Movement, Person, Piece, RefusedScan


@pytest.fixture
def shop(transactional_db: None) -> KitShop:
    return small_shop(World(at=timezone.now()), passes=2)


@pytest.fixture
def stranger(shop: KitShop) -> Piece:
    return shop.world.piece(shop.world.drawing("0881-01"), shop.shelf, mark="0881")


@pytest.fixture
def kit(shop: KitShop, crew: Person) -> Kit:
    return shop.open(crew)


@pytest.fixture
def page(scan_as: Callable[..., Page], crew: Person, kit: Kit, stranger: Piece) -> Page:
    return scan_as(crew, bypass_csp=True)


def staged(kit: Kit) -> list[str]:
    return [row.piece.code for row in Movement.objects.filter(kit=kit) if row.piece]


def test_what_the_kit_chose_and_did_not_choose_is_told_without_the_server(
    page: Page, line: Line, kit: Kit, shop: KitShop, stranger: Piece
) -> None:
    line.down()
    page.goto(f"/kits/{kit.number}/")  # all that opens now is the page that the device keeps
    assert kit.place is not None
    go_into(page, kit.number, kit.place.name)
    done, flash = page.locator(".scan-done"), page.locator("[data-flash]")
    code = shop.pieces[(2, "bottom", 1)].code
    wedge(page, code)
    expect(done).to_contain_text(f"Kit {kit.number} wants it: pass 2, bottom, 1 from the shoulder")
    expect(done).to_contain_text("(as of just now)")
    expect(flash).to_have_attribute("data-kind", "kept")
    wedge(page, stranger.mark)
    expect(done).to_contain_text(f"Kit {kit.number} did not choose it (as of just now).")
    expect(flash).to_have_attribute("data-kind", "doubt")
    expect(flash).to_be_hidden()
    assert accessibility_problems(page) == []
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    expect(page.locator("[data-device-refused] .problem")).to_have_attribute(
        "data-code", "wrong_position"
    )
    assert staged(kit) == [code]
    assert RefusedScan.objects.get().code_read == stranger.mark


def test_the_page_of_a_kit_that_lost_the_server_goes_on_and_says_the_same(
    page: Page, line: Line, kit: Kit, shop: KitShop, stranger: Piece
) -> None:
    page.goto(f"/kits/{kit.number}/")
    page.locator("#scan-field").focus()
    line.down()
    done = page.locator(".scan-done")
    wedge(page, stranger.code)
    expect(done).to_contain_text("did not choose it")
    code = shop.pieces[(1, "top", 1)].code
    wedge(page, code)
    expect(done).to_contain_text("wants it: pass 1, top")
    expect(waiting(page)).to_contain_text("2 waiting to be sent.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text("")
    assert staged(kit) == [code]


def test_a_kit_of_which_the_device_knows_nothing_is_not_judged(
    page: Page, line: Line, kit: Kit, shop: KitShop
) -> None:
    page.evaluate(FORGET, kit.number)
    line.down()
    page.reload()
    assert kit.place is not None
    go_into(page, kit.number, kit.place.name)
    wedge(page, shop.pieces[(1, "top", 1)].code)
    expect(page.locator(".scan-done")).to_contain_text("cannot be told without the server")


FORGET = """async (number) => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  const transaction = await store.begin("readwrite", ["known"]);
  transaction.objectStore("known").delete(`kit ${number}`);
  return new Promise(resolve => { transaction.oncomplete = () => resolve(null); });}"""
