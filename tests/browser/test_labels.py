"""An attendant at the label printer, in a real browser: from nothing printed to one replaced."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from itertools import product
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.axe import SCHEMES, unfit
from tests.browser.conftest import PHONE, TABLET
from tests.paper.reading import pages, read
from tests.services.scanning import put
from tests.world import MM, World
from tooling.models import LabelEvent, Person, Piece
from tooling.services import labels
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

Open = Callable[..., Page]


def pieces(world: World, count: int) -> list[Piece]:
    rack = world.place("Rack A")
    sizes: dict[str, Any] = {
        "bore_nm": 60 * MM,
        "outside_diameter_nm": 160 * MM,
        "face_width_nm": 50 * MM,
        "root_diameter_nm": 140 * MM,
    }
    drawing = world.drawing("1472-01-T1", **sizes)
    return [world.piece(drawing, rack, mark=f"1472-{n:02}") for n in range(count)]


def choose(page: Page, way: str) -> None:
    page.locator(".choice label", has_text=way).click()


def sheets_of(page: Page, act: Callable[[], None]) -> list[str]:
    """What a decoder reads on the sheets that the browser is led to after the act."""
    with page.expect_response(lambda answer: "/labels/print/" in answer.url) as sent:
        act()
    address = sent.value.headers["location"]
    fetched = page.request.get(address)  # with the cookies of the logged-in session
    assert fetched.headers["content-type"] == "application/pdf"
    return sorted(code for sheet in pages(fetched.body()) for code in read(sheet))


def test_labels_of_all_never_printed_pieces_come_out_and_read_back(
    world: World, open_as: Open, attendant: Person
) -> None:
    made = sorted(piece.code for piece in pieces(world, 30))
    page = open_as(attendant, "/labels/")
    expect(page.locator(".sentence")).to_have_text("31 things have no printed label yet.")
    choose(page, "Never printed")
    page.select_option("#never", "pieces")
    page.select_option("#size", "a4-24")
    assert sheets_of(page, lambda: page.click("text=Make the sheets")) == made
    page.goto("/labels/")
    expect(page.locator(".sentence")).to_have_text("1 thing has no printed label yet.")
    expect(page.locator("#never option[value=pieces]")).to_have_text("pieces (0)")


def test_only_the_fields_of_the_chosen_way_are_shown(
    world: World, open_as: Open, attendant: Person
) -> None:
    world.mill("M1")
    page = open_as(attendant, "/labels/")
    expect(page.locator("#never")).to_be_visible()
    expect(page.locator("#codes")).to_be_hidden()
    choose(page, "A mill")
    expect(page.locator("#mill")).to_be_visible()
    expect(page.locator("#codes")).to_be_hidden()
    choose(page, "A place or cart")
    expect(page.locator("#inside")).to_be_visible()
    expect(page.locator("#mill")).to_be_hidden()


def test_many_labels_are_made_in_the_background_and_the_page_says_when(
    world: World, open_as: Open, attendant: Person
) -> None:
    made = sorted(piece.code for piece in pieces(world, 301))
    page = open_as(attendant, "/labels/?never=pieces")
    page.select_option("#size", "a4-65")
    page.click("text=Make the sheets")
    expect(page.locator("[data-progress]")).to_contain_text("waiting for the worker")
    assert work_once(HANDLERS)
    expect(page.locator(".rule")).to_contain_text("301 labels are ready.")
    address = page.locator("a", has_text="Open the sheets").get_attribute("href")
    fetched = page.request.get(address or "")
    assert sorted(c for sheet in pages(fetched.body()) for c in read(sheet)) == made


def test_waiting_sheets_can_be_stopped(world: World, open_as: Open, attendant: Person) -> None:
    pieces(world, 301)
    page = open_as(attendant, "/labels/?never=pieces")
    page.click("text=Make the sheets")
    page.click("text=Stop this work")
    expect(page.locator(".rule")).to_contain_text("Stopped.")
    assert not LabelEvent.objects.exists()


def test_a_wrong_label_is_replaced_printed_and_scanned(
    world: World, open_as: Open, attendant: Person, at: datetime
) -> None:
    piece, other = pieces(world, 1)[0], world.place("Rack B")
    old = piece.code
    page = open_as(attendant, f"/pieces/{old}/", viewport=PHONE)
    page.click("text=Print its label")
    expect(page.locator("#void-code")).to_have_value(old)
    page.fill("#void-reason", "stuck on the wrong roll")
    page.click("text=Void it, give a new code")
    piece.refresh_from_db()
    expect(page.locator(".undo")).to_contain_text(f"{piece.code} took the place of {old}")
    expect(page.locator("#codes")).to_have_value(piece.code)
    assert sheets_of(page, lambda: page.click("text=Make the sheets")) == [piece.code]
    page.goto("/scan/")
    page.fill("#scan-field", old)
    page.press("#scan-field", "Enter")
    problem = page.locator(".problem[data-code=void_label]")
    expect(problem).to_contain_text(f"{piece.code} took its place")
    expect(problem.get_by_role("link")).to_have_text(f"Print {piece.code} again")
    page.goto(f"/scan/?to={other.code}")
    page.fill("#scan-field", old)
    page.press("#scan-field", "Enter")
    problem.get_by_role("link", name=f"Print {piece.code} again").click()
    expect(page.locator("#codes")).to_have_value(piece.code)
    assert put(attendant, at, piece.code, other.code).status == "taken"


def test_a_misread_code_is_said_in_place_and_what_was_typed_stays(
    world: World, open_as: Open, attendant: Person
) -> None:
    world.place("Rack A")
    page = open_as(attendant, "/labels/", viewport=PHONE)
    choose(page, "These codes")
    page.fill("#codes", "R0000010")
    page.click("text=Make the sheets")
    expect(page.locator(".label-choice .problem[data-code=bad_check_character]")).to_be_visible()
    expect(page.locator("#codes")).to_have_value("R0000010")


def test_the_last_print_comes_again_by_one_tap(
    world: World, open_as: Open, attendant: Person, at: datetime
) -> None:
    made = [piece.code for piece in pieces(world, 3)]
    labels.issue(by=attendant, at=at, codes=made, size="50x25")
    page = open_as(attendant, "/labels/")
    again = page.get_by_role("button", name=re.compile("^Again"))
    assert sheets_of(page, again.click) == made


def test_the_pages_suit_every_reader_screen_and_finger(
    world: World, open_as: Open, attendant: Person, at: datetime
) -> None:
    made = [piece.code for piece in pieces(world, 4)]
    world.mill("M1")
    labels.issue(by=attendant, at=at, codes=made, size="50x25")
    labels.void(by=attendant, at=at, code=made[0], reason="lost")
    page = open_as(attendant, "/labels/", viewport=PHONE, bypass_csp=True)
    for path in ("/labels/", f"/labels/where/?piece={made[1]}", "/labels/?never=pieces"):
        page.goto(path)
        assert unfit(page, *product((PHONE, TABLET), SCHEMES)) == [], path


def test_the_section_of_a_roll_scrolls_and_shows_its_zones(
    world: World, open_as: Open, viewer: Person
) -> None:
    made = pieces(world, 1)[0]
    page = open_as(viewer, f"/labels/where/?piece={made.code}", viewport=PHONE)
    expect(page.locator(".site-picture")).to_be_visible()
    expect(page.locator("[data-zone=outboard_face]")).to_contain_text("may sit here")
    page.check("text=outboard face will be ground")
    page.click("text=Show")
    expect(page.locator("[data-zone=outboard_face]")).to_contain_text("never")
