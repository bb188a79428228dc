"""The Scan page under simulated hands: a wedge types a code in no time and ends it with Enter."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import DESK, PHONE, TABLET
from tests.world import World
from tooling.models import Movement, Person, Piece, Place, RefusedScan

Open = Callable[..., Page]


@pytest.fixture
def rack(world: World) -> Place:
    return world.place("Rack A")


@pytest.fixture
def other(world: World) -> Place:
    return world.place("Rack B")


@pytest.fixture
def piece(world: World, rack: Place) -> Piece:
    return world.piece(world.drawing("D1"), rack, mark="12-T")


@pytest.fixture
def page(open_as: Open, cast: dict[str, Person], piece: Piece) -> Page:
    return open_as(cast["attendant"], "/scan/")


def wedge(page: Page, code: str) -> None:
    """A scanner knows nothing of fields: it types where the focus is."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def context(page: Page) -> Any:
    return page.locator("[data-context-name]")


def first_row(page: Page) -> Any:
    return page.locator("[data-rows] > li").first


def test_put_away_takes_two_scans_and_no_touch(page: Page, piece: Piece, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text(f"{piece.code} (12-T) is in Rack B.")
    expect(page.locator("[data-flash-word]")).to_have_text("Done")
    piece.refresh_from_db()
    assert piece.place == other
    assert Movement.objects.get(by__isnull=False).how == "scan"


def test_the_context_fills_a_third_of_the_screen(page: Page, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    box = page.locator("[data-context]").bounding_box()
    assert box is not None
    assert box["height"] >= TABLET["height"] / 3 - 1


def test_many_pieces_go_to_one_place_with_one_scan_each(
    world: World, page: Page, piece: Piece, other: Place, rack: Place
) -> None:
    more = [world.piece(piece.drawing, rack) for _n in range(5)]
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    for each in more:
        wedge(page, each.code)
    expect(page.locator('[data-rows] > li[data-status="taken"]')).to_have_count(5)
    assert Piece.objects.filter(place=other).count() == 5


def test_undo_is_one_tap(page: Page, piece: Piece, rack: Place, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, piece.code)
    first_row(page).get_by_role("button", name="Undo").click()
    expect(first_row(page)).to_have_attribute("data-status", "undone")
    piece.refresh_from_db()
    assert piece.place == rack


def test_a_misread_code_says_so_and_offers_the_list(page: Page, piece: Piece, other: Place) -> None:
    wrong = piece.code[:-1] + ("0" if piece.code[-1] != "0" else "1")
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, wrong)
    problem = page.locator(".problem[data-code=bad_check_character]")
    expect(problem).to_contain_text("misread")
    expect(page.locator("[data-flash-word]")).to_have_text("No")
    problem.get_by_role("link", name="Tick it on a list").click()
    expect(context(page)).to_have_text("Rack B")
    page.fill("#find-field", "12-T")
    page.get_by_role("button", name="Search").click()
    page.get_by_role("button", name="This one").click()
    expect(first_row(page)).to_contain_text("is in Rack B.")
    piece.refresh_from_db()
    assert piece.place == other
    assert Movement.objects.get(by__isnull=False).how == "tick"
    assert RefusedScan.objects.get().error_code == "bad_check_character"


def test_where_is_it_takes_one_scan(page: Page, piece: Piece) -> None:
    wedge(page, piece.code)
    expect(page.locator("[data-answer]")).to_contain_text("D1, sound, in Rack A")


def test_a_mark_is_typed_by_hand(page: Page, piece: Piece, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    page.locator("#scan-field").press_sequentially("12-t", delay=80)
    page.keyboard.press("Enter")
    expect(first_row(page)).to_contain_text("is in Rack B.")
    assert Movement.objects.get(by__isnull=False).how == "typed"


def test_the_same_label_twice_in_a_moment_counts_once(
    page: Page, piece: Piece, other: Place
) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    for _turn in range(2):
        wedge(page, piece.code)
    expect(page.locator("[data-rows] > li")).to_have_count(1)
    assert Movement.objects.filter(by__isnull=False).count() == 1


def test_escape_leaves_the_place(page: Page, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    page.keyboard.press("Escape")
    expect(context(page)).to_have_text("Where?")


def test_a_person_is_chosen_from_the_list_to_hand_out_to(
    world: World, open_as: Open, cast: dict[str, Person], piece: Piece
) -> None:
    crew = world.place("Setup crew", kind="person", person=cast["crew"])
    page = open_as(cast["attendant"], "/scan/")
    page.get_by_role("button", name=re.compile("Setup crew")).click()
    expect(context(page)).to_have_text("Setup crew")
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text("is in Setup crew.")
    piece.refresh_from_db()
    assert piece.place == crew


def test_a_scan_waits_while_the_server_cannot_be_reached(
    page: Page, piece: Piece, other: Place
) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    page.route("**/api/v1/scans/", lambda route: route.fulfill(status=404, body="gone"))
    wedge(page, piece.code)
    expect(page.locator("[data-waiting]")).to_contain_text("1 waiting to be sent.")
    page.unroute("**/api/v1/scans/")
    expect(first_row(page)).to_contain_text("is in Rack B.")
    piece.refresh_from_db()
    assert piece.place == other


def test_without_script_the_same_two_beats_work(
    open_as: Open, cast: dict[str, Person], piece: Piece, rack: Place, other: Place
) -> None:
    page = open_as(cast["attendant"], "/scan/", java_script_enabled=False)
    for code in (other.code, piece.code):
        page.fill("#scan-field", code)
        page.get_by_role("button", name="Enter").click()
    expect(context(page)).to_have_text("Rack B")
    expect(first_row(page)).to_contain_text("is in Rack B.")
    first_row(page).get_by_role("button", name="Undo").click()
    expect(first_row(page)).to_have_attribute("data-status", "undone")
    piece.refresh_from_db()
    assert piece.place == rack


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, TABLET, DESK], ids=["phone", "tablet", "desk"])
def test_the_page_suits_every_reader_screen_and_finger(
    open_as: Open,
    cast: dict[str, Person],
    world: World,
    piece: Piece,
    other: Place,
    viewport: Any,
    theme: Any,
) -> None:
    world.place("Setup crew", kind="person", person=cast["crew"])
    page = open_as(
        cast["attendant"], f"/scan/?to={other.code}&find=12-T",
        viewport=viewport, color_scheme=theme, bypass_csp=True,
    )  # fmt: skip
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    expect(page.locator("[data-flash]")).to_be_hidden()
    assert accessibility_problems(page) == []
    assert wider_than_the_screen(page) == 0
    assert small_targets(page) == []
