"""A kit on real screens: the ribbon to scale, turned on a phone, filling on every open screen."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import (
    LOOKS,
    accessibility_problems,
    small_targets,
    unfit,
    wider_than_the_screen,
)
from tests.browser.conftest import DESK, PHONE, TABLET
from tests.web.kit_shop import KitShop, position, small_shop
from tests.world import World
from tooling.models import Kit, Person

Open = Callable[..., Page]
SCREENS = {"phone": PHONE, "tablet": TABLET, "desk": DESK}

SIZES = """() => [...document.querySelectorAll(".ribbon g.piece")].map((g) => {
  const box = g.querySelector(".body, .hollow").getBoundingClientRect();
  const {station, shaft, widthNm, diameterNm} = g.dataset;
  return {shaft: `${station} ${shaft}`, wide: box.width, high: box.height,
          width: Number(widthNm), diameter: Number(diameterNm)};
})"""


@pytest.fixture
def shop(transactional_db: None) -> KitShop:
    return small_shop(World(at=timezone.now()), passes=12)


@pytest.fixture
def kit(shop: KitShop, crew: Person) -> Kit:
    return shop.open(crew)


def wedge(page: Page, code: str) -> None:
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def cell(page: Page, code: str) -> Any:
    return page.locator(f'.ribbon g.piece[data-code="{code}"]')


def test_within_a_shaft_pieces_are_drawn_in_proportion(
    open_as: Open, crew: Person, kit: Kit
) -> None:
    page = open_as(crew, f"/kits/{kit.number}/")
    for screen in SCREENS.values():
        page.set_viewport_size(screen)
        is_in_proportion(page.evaluate(SIZES))


def is_in_proportion(drawn: list[Any]) -> None:
    assert len(drawn) == 48
    for name in {piece["shaft"] for piece in drawn}:
        stack = [piece for piece in drawn if piece["shaft"] == name]
        across = sum(p["wide"] for p in stack) / sum(p["width"] for p in stack)
        along = sum(p["high"] for p in stack) / sum(p["diameter"] for p in stack)
        assert across == pytest.approx(along, rel=0.02)
        for piece in stack:
            assert piece["wide"] == pytest.approx(piece["width"] * across, abs=0.5)
            assert piece["high"] == pytest.approx(piece["diameter"] * along, abs=0.5)


def test_a_scan_fills_the_ribbon_on_another_screen_within_two_seconds(
    open_as: Open, crew: Person, attendant: Person, kit: Kit, shop: KitShop
) -> None:
    here = open_as(crew, f"/kits/{kit.number}/")
    there = open_as(attendant, f"/kits/{kit.number}/", viewport=DESK)
    code = shop.pieces[(3, "top", 1)].code
    expect(cell(there, code)).to_have_attribute("data-state", "to_fetch")
    here.locator("#scan-field").focus()
    begun = time.monotonic()
    wedge(here, code)
    expect(cell(there, code)).to_have_attribute("data-state", "here")
    assert time.monotonic() - begun < 2.0
    expect(there.locator(".kit-sentence")).to_contain_text("1 of 48 pieces here")
    expect(there.locator(f'tr[data-code="{code}"]')).to_have_attribute("data-state", "here")


def test_an_undone_scan_empties_the_ribbon_again(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    page = open_as(crew, f"/kits/{kit.number}/")
    code = shop.pieces[(3, "top", 1)].code
    page.locator("#scan-field").focus()
    wedge(page, code)
    expect(cell(page, code)).to_have_attribute("data-state", "here")
    page.get_by_text("Just scanned here").click()
    page.locator("[data-rows] [data-undo]").click()
    expect(cell(page, code)).to_have_attribute("data-state", "to_fetch")


def test_a_piece_that_the_kit_does_not_want_is_refused_on_the_spot(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    stranger = shop.world.piece(shop.world.drawing("0881-01"), shop.shelf, mark="0881")
    page = open_as(crew, f"/kits/{kit.number}/")
    page.locator("#scan-field").focus()
    wedge(page, stranger.code)
    problem = page.locator(".kit-scan .problem")
    expect(problem).to_have_attribute("data-code", "wrong_position")
    expect(problem).to_contain_text("Shelf B3")
    stranger.refresh_from_db()
    assert stranger.place == shop.shelf


def test_the_place_in_the_ribbon_outlives_a_refresh(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    page = open_as(crew, f"/kits/{kit.number}/", viewport={"width": 800, "height": 800})
    page.locator("#ribbon").evaluate("list => (list.scrollLeft = 240)")
    page.locator("#scan-field").focus()
    wedge(page, shop.pieces[(1, "top", 1)].code)
    expect(page.locator(".kit-sentence")).to_contain_text("1 of 48 pieces here")
    assert page.locator("#ribbon").evaluate("list => list.scrollLeft") == 240
    expect(page.locator("#scan-field")).to_be_focused()


def test_one_key_or_tap_leads_to_the_next_trouble(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    lost = shop.world.place("Lost", kind="lost")
    for number in (2, 11):
        piece = shop.pieces[(number, "top", 1)]
        piece.place = lost
        piece.save()
    page = open_as(crew, f"/kits/{kit.number}/", viewport={"width": 800, "height": 800})
    page.keyboard.press("F8")
    expect(page.locator("#station-3")).to_be_focused()
    page.keyboard.press("F8")
    expect(page.locator("#station-12")).to_be_in_viewport(ratio=0.9)
    page.get_by_role("link", name="Next trouble").click()
    expect(page.locator("#station-3")).to_be_in_viewport(ratio=0.9)


def test_on_a_phone_the_ribbon_turns_and_three_stations_are_in_view(
    open_as: Open, crew: Person, kit: Kit
) -> None:
    page = open_as(crew, f"/kits/{kit.number}/", viewport=PHONE)
    page.locator('.strip-marks a[href="#station-5"]').click()
    rows = page.evaluate(
        """() => [...document.querySelectorAll(".ribbon > .station:not(.idle)")].map((row) => {
          const box = row.getBoundingClientRect();
          return {left: box.left, top: box.top, bottom: box.bottom};
        })"""
    )
    assert len({round(row["left"]) for row in rows}) == 1
    strip = page.locator(".strip-marks").bounding_box()
    bar = page.locator("header.bar").bounding_box()
    assert strip
    assert bar
    seen = [
        r
        for r in rows
        if r["top"] >= strip["y"] + strip["height"] - 12 and r["bottom"] <= bar["y"] + 12
    ]
    assert len(seen) >= 3


def test_on_a_wide_screen_columns_stand_side_by_side_from_the_entry(
    open_as: Open, crew: Person, kit: Kit
) -> None:
    where = """() => [...document.querySelectorAll(".ribbon > .station:not(.idle)")]
      .map((column) => column.getBoundingClientRect())
      .map((box) => ({left: box.left, width: box.width}))"""
    page = open_as(crew, f"/kits/{kit.number}/", viewport=DESK)
    columns = page.evaluate(where)
    assert [c["left"] for c in columns] == sorted(c["left"] for c in columns)
    assert min(c["width"] for c in columns) >= 56
    mill = kit.job.mill
    mill.operator_side = "left"
    mill.save()
    page.reload()
    turned = page.evaluate(where)
    assert [c["left"] for c in turned] == sorted((c["left"] for c in turned), reverse=True)


def test_the_marks_of_all_stations_stay_on_top(open_as: Open, crew: Person, kit: Kit) -> None:
    page = open_as(crew, f"/kits/{kit.number}/")
    page.locator('[id="list-9"]').scroll_into_view_if_needed()
    expect(page.locator(".strip-marks a")).to_have_count(13)
    for mark in (page.locator(".strip-marks li a").first, page.locator(".strip-marks li a").last):
        expect(mark).to_be_in_viewport(ratio=1)


def test_a_shaft_opens_large_by_keyboard_and_leads_to_the_next(
    open_as: Open, crew: Person, kit: Kit
) -> None:
    page = open_as(crew, f"/kits/{kit.number}/")
    page.locator('#station-2 a[href$="/stations/2/top/"]').focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Station 2, top")
    expect(page.locator("g.piece")).to_have_count(2)
    page.get_by_role("link", name=re.compile("2 bottom")).press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Station 2, bottom")


def test_an_alternative_is_chosen_in_one_tap(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    row = position(kit, 2, "top", 1)
    spare = shop.world.piece(row.drawing, shop.shelf, mark="spare")
    row.piece.place = shop.world.place("Lost", kind="lost")
    row.piece.save()
    page = open_as(crew, f"/kits/{kit.number}/")
    page.get_by_role("button", name=re.compile(f"Take {spare.code}")).click()
    expect(cell(page, spare.code)).to_have_attribute("data-state", "to_fetch")


def test_without_script_the_kit_is_still_filled(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    page = open_as(crew, f"/kits/{kit.number}/", java_script_enabled=False)
    code = shop.pieces[(1, "top", 1)].code
    page.locator(f'tr[data-code="{code}"] button').click()
    expect(page.locator(f'tr[data-code="{code}"]')).to_have_attribute("data-state", "here")


MARK = 'aria-label="Station'
"""The marks of stations share one row by design; each is still a finger wide enough."""
PAGES = ("", "pull-list/", "stations/2/top/", "fit/")


def test_every_page_of_a_kit_can_be_used_by_everybody(
    open_as: Open, crew: Person, kit: Kit, shop: KitShop
) -> None:
    piece = shop.pieces[(2, "top", 1)]
    piece.place = shop.world.place("Lost", kind="lost")
    piece.save()
    page = open_as(crew, "/kits/", viewport=PHONE, bypass_csp=True)
    for path in ("/kits/", "/today/", *(f"/kits/{kit.number}/{each}" for each in PAGES)):
        page.goto(path)
        assert unfit(page, *LOOKS, (DESK, "light"), besides=MARK) == [], path


@pytest.mark.parametrize(("screen", "scheme"), [("phone", "dark"), ("desk", "light")])
def test_a_job_is_changed_where_everybody_can(
    open_as: Open, engineer: Person, kit: Kit, screen: str, scheme: str
) -> None:
    page = open_as(
        engineer,
        f"/kits/{kit.number}/",
        viewport=SCREENS[screen],
        color_scheme=scheme,
        bypass_csp=True,
    )
    page.get_by_role("link", name="Change the job").click()
    page.fill("#id_strip_length", "as long as it goes")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".problem[data-code=not_a_length]")).to_be_visible()
    expect(page.locator("#id_strip_length")).to_have_value("as long as it goes")
    assert accessibility_problems(page) == []
    assert wider_than_the_screen(page) <= 0
    assert small_targets(page) == []
    page.fill("#id_strip_length", "250 m")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".undo")).to_have_text(f"Job {kit.job.number} is changed.")
