"""Wear in a real browser: what will not last, a heavier strip, one piece's chart and table, what to
measure next, and a kit that says so."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import unfit
from tests.browser.conftest import PHONE
from tests.web.test_wear import Shop
from tests.world import World
from tooling.models import Job, Person, Place
from tooling.services import kit_assembly, kits

Open = Callable[..., Page]


@pytest.fixture
def shop(world: World, engineer: Person) -> Shop:
    return Shop(world, engineer)


def pieces_of(page: Page) -> list[str | None]:
    rows = page.locator("tr[data-piece]")
    return [rows.nth(n).get_attribute("data-piece") for n in range(rows.count())]


def test_a_heavier_strip_reorders_the_list_and_a_piece_shows_its_chart(
    shop: Shop, engineer: Person, crew: Person, open_as: Open
) -> None:
    """By its own job the second has less left; in one strip for both the first has."""
    shop.wear(crew, shop.pieces[0], um=22)
    shop.wear(crew, shop.pieces[1], um=24)
    first, second = (piece.code for piece in shop.pieces)
    page = open_as(engineer, "/wear/")
    assert pieces_of(page) == [second, first]
    page.get_by_label("Reckoned in strip").select_option("stainless")
    page.wait_for_url(re.compile("class=stainless"))
    assert pieces_of(page) == [first, second]
    page.get_by_label("Show", exact=True).select_option("read")
    page.wait_for_url(re.compile("only=read"))
    assert pieces_of(page), "what to measure next"
    page.locator(f'tr[data-piece="{first}"] a.row-link').press("Enter")
    chart = page.locator(".only-wide svg.wear-chart")
    expect(chart.locator("[data-reading]")).to_have_count(3)
    bars = chart.locator("[data-off] line.wear-u:first-child")
    assert all(bars.nth(n).bounding_box()["height"] > 6 for n in range(3)), "seen by eye"  # type: ignore[index]
    expect(chart).to_have_attribute("role", "img")
    table = page.get_by_text("As a table")
    table.press("Enter")
    expect(page.locator("table", has_text="Readings").first.locator("tbody tr")).to_have_count(3)


def test_a_row_on_a_phone_is_a_few_lines_and_the_rest_behind_its_page(
    shop: Shop, engineer: Person, crew: Person, open_as: Open
) -> None:
    shop.wear(crew, shop.pieces[0], um=22)
    shop.wear(crew, shop.pieces[1], um=70)
    page = open_as(engineer, "/wear/", viewport={"width": 360, "height": 740})
    rows = page.locator("tr[data-piece]")
    for row, piece in zip(rows.all(), (shop.pieces[1], shop.pieces[0]), strict=True):
        box, link = row.bounding_box(), row.locator("a.row-link").bounding_box()
        assert box
        assert link
        assert (box["height"] < 130, link["height"] >= 48) == (True, True)
        expect(row).to_contain_text(piece.code)
        for shown in (".of-point", ".until", ".sure-left"):
            expect(row.locator(shown)).to_be_visible()
        expect(row.get_by_text("its own readings")).to_be_hidden()
    expect(rows.first.get_by_text("limit likely passed")).to_be_visible()
    expect(rows.first.locator(".even")).to_be_hidden()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.set_viewport_size({"width": 1280, "height": 800})
    expect(rows.first.get_by_text("its own readings")).to_be_visible()
    expect(rows.first.locator(".even")).to_be_visible()


def test_a_kit_says_what_may_not_last(
    shop: Shop, world: World, engineer: Person, crew: Person, open_as: Open
) -> None:
    shop.wear(crew, shop.pieces[1], um=38)
    kit = kits.open_kit(by=engineer, at=shop.now, job=Job.objects.get(number="J-heavy"))
    kits.set_gathering_place(by=crew, at=shop.now, kit=kit, place=Place.objects.get(name="Rack"))
    kit_assembly.assemble(by=crew, at=shop.now, kit=kit, copy=None)
    page = open_as(crew, f"/kits/{kit.number}/", viewport=PHONE)
    expect(page.locator("main")).to_contain_text("may not last")
    page = open_as(engineer, "/wear/")
    expect(page.locator(".sentence")).to_contain_text("will not last")
    page.goto(f"/wear/{shop.pieces[1].code}/")
    expect(page.get_by_text("Planned work uses up what is sure")).to_be_visible()


def test_nothing_scrolls_sideways_and_axe_finds_nothing(
    shop: Shop, engineer: Person, crew: Person, open_as: Open
) -> None:
    shop.wear(crew, shop.pieces[0])
    page = open_as(engineer, "/wear/", viewport=PHONE, bypass_csp=True)
    for path in ("/wear/", f"/wear/{shop.pieces[0].code}/", "/wear/life/", "/wear/pools/"):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        assert unfit(page) == [], path
