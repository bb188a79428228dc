"""The Scan page under simulated hands: a wedge types a code in no time and ends it with Enter."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import product
from typing import Any

import pytest
from playwright.sync_api import Page, Response, Route, expect

from tests.browser.axe import SCHEMES, unfit
from tests.browser.conftest import DESK, PHONE, TABLET
from tests.world import World
from tooling.engineering.codes import check_character
from tooling.models import Movement, Person, Piece, Place, RefusedScan, SetCopy, ToolSet

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
    expect(page.locator("[data-flash]")).to_have_attribute("data-kind", re.compile("again|taken"))
    expect(page.locator("[data-rows] > li")).to_have_count(1)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    expect(page.locator("[data-waiting]").first).to_contain_text("Nothing waits")
    assert Movement.objects.filter(by__isnull=False).count() == 1


def test_of_shelves_with_one_name_it_says_which(page: Page, world: World, rack: Place) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    wedge(page, shelf.code)
    expect(context(page)).to_have_text("Shelf 1")
    expect(page.locator("[data-context-outer]")).to_have_text("Rack A")
    page.goto(f"/scan/?to={shelf.code}")
    expect(page.locator("[data-context-outer]")).to_have_text("Rack A")


def test_a_cart_scanned_at_a_shelf_is_where_things_go_next(
    open_as: Open, cast: dict[str, Person], world: World, rack: Place
) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    cart = world.place("Cart 1", kind="cart")
    page = open_as(cast["attendant"], "/scan/")
    expect(page.locator("[data-device-known]")).to_contain_text("as of just now")
    wedge(page, shelf.code)
    expect(context(page)).to_have_text("Shelf 1")
    wedge(page, cart.code)
    expect(context(page)).to_have_text("Cart 1")
    assert not Movement.objects.filter(cart=cart).exists()


def test_of_a_set_with_copies_the_one_is_chosen_by_a_tap(
    page: Page, world: World, piece: Piece, other: Place
) -> None:
    tool_set = ToolSet.objects.create(code=world.code("T"), number="1472")
    for letter in ("A", "B"):
        copy = SetCopy.objects.create(tool_set=tool_set, letter=letter, owner=piece.owner)
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, tool_set.code)
    page.locator(".problem[data-code=which_copy]").get_by_role("button", name="1472-B").click()
    expect(page.locator("[data-answer] .problem[data-code=nothing_to_move]")).to_be_visible()
    refused = RefusedScan.objects.get(error_code="nothing_to_move")
    assert refused.code_read == f"{tool_set.code}-{copy.letter}"


def test_the_last_scan_is_undone_where_it_is_told(page: Page, piece: Piece, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, piece.code)
    told = page.locator("[data-answer]")
    expect(told).to_contain_text(f"{piece.code} (12-T) is in Rack B.")
    told.get_by_role("button", name="Undo").click()
    expect(told).to_contain_text(f"{piece.code} is back in Rack A.")
    expect(first_row(page)).to_have_attribute("data-status", "undone")


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


def answering(status: int, body: str) -> Callable[[Route], None]:
    return lambda route: route.fulfill(status=status, body=body)


def heard(status: int) -> Callable[[Response], bool]:
    return lambda told: told.url.endswith("/api/v1/scans/") and told.status == status


def test_a_scan_waits_while_the_server_cannot_be_reached(
    page: Page, piece: Piece, other: Place
) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    page.route("**/api/v1/scans/", lambda route: route.fulfill(status=404, body="gone"))
    wedge(page, piece.code)
    expect(page.locator("[data-waiting]")).to_contain_text("1 waiting to be sent.")
    for status, body in ((200, "<p>Welcome, please pay</p>"), (202, '{"results": []}')):
        page.route("**/api/v1/scans/", answering(status, body))  # as a network's own page
        with page.expect_response(heard(status)):
            page.evaluate("dispatchEvent(new Event('online'))")
    assert not page.locator('[data-rows] > li[data-status="taken"]').count()
    expect(page.locator("[data-waiting]")).to_contain_text("1 waiting to be sent.")
    page.unroute("**/api/v1/scans/")
    expect(first_row(page)).to_contain_text("is in Rack B.")
    piece.refresh_from_db()
    assert piece.place == other


def test_a_scanner_that_types_anywhere_types_into_the_field(
    page: Page, piece: Piece, other: Place
) -> None:
    page.get_by_role("button", name="Enter").focus()
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    page.locator("h1").click()
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text("is in Rack B.")


def test_a_keyboard_of_another_country_is_noticed_and_nothing_taken(
    page: Page, piece: Piece, other: Place
) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, piece.code.translate(str.maketrans("1234567890", "!@#$%^&*()")))
    problem = page.locator(".problem[data-code=keyboard_layout]")
    expect(problem).to_contain_text(f"the label is probably {piece.code}")
    expect(problem).to_contain_text("set both to the same")
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    assert Movement.objects.filter(by__isnull=False).count() == 1
    assert not RefusedScan.objects.exists()


def test_a_slow_scanner_of_another_country_is_noticed_too_and_a_mark_taken(
    open_as: Open, cast: dict[str, Person], world: World, piece: Piece, other: Place
) -> None:
    """What is filled in at once comes with no keys, as a slow scanner's comes with too few."""
    french = str.maketrans("1234567890", "&é\"'(-è_çà")
    marked = world.piece(piece.drawing, piece.place, mark="")
    marked.mark = labelled("2B").translate(str.maketrans("1234567890", "!@#$%^&*()"))
    marked.save(update_fields=["mark"])
    page = open_as(cast["attendant"], f"/scan/?to={other.code}")
    expect(page.locator("[data-device-known]")).to_contain_text("as of just now")
    page.fill("#scan-field", piece.code.translate(french))
    page.keyboard.press("Enter")
    problem = page.locator(".problem[data-code=keyboard_layout]")
    expect(problem).to_contain_text(f"the label is probably {piece.code}")
    page.fill("#scan-field", marked.mark)
    page.keyboard.press("Enter")
    expect(first_row(page)).to_contain_text("is in Rack B.")
    assert Movement.objects.get(by__isnull=False).piece == marked
    assert not RefusedScan.objects.exists()


def test_what_arrives_from_other_keyboards_is_told_from_misreadings(page: Page) -> None:
    """The label of each comes from MOD 37-2 as python-stdnum computes it."""
    layouts = {
        "german letters": ("Z1Y", "YZ", "ZY"),
        "french": ("1A", "QAZW&é\"'(-è_çà", "AQWZ1234567890"),
        "shift held": ("34", "!@#$%^&*()", "1234567890"),
    }
    for name, (number, typed, meant) in layouts.items():
        code = labelled(number)
        arrived = code.translate(str.maketrans(meant, typed))
        assert arrived != code
        assert page.evaluate(OTHER_LAYOUT, arrived) == code, name
    for plain in (labelled("1A"), "R000001X", "12-T", "1472-09-S1", ""):
        assert page.evaluate(OTHER_LAYOUT, plain) == ""


def test_a_badge_is_never_taken_for_a_scan(page: Page, other: Place) -> None:
    wedge(page, other.code)
    expect(context(page)).to_have_text("Rack B")
    wedge(page, "BADGE-7Q2M4X9Z")
    expect(page.locator(".problem[data-code=not_a_shared_tablet]")).to_be_visible()
    assert page.evaluate(KEPT) == []
    assert not RefusedScan.objects.exists()


KEPT = """() => import("/static/rollroom/scan-store.js").then(
  async ({ theStore }) => (await theStore()).every())"""
OTHER_LAYOUT = """(text) => import("/static/rollroom/scan-codes.js").then(
  ({ otherLayout }) => otherLayout(text))"""


def labelled(number: str) -> str:
    """The roll's label with this number, as it is issued."""
    payload = "R" + number.rjust(6, "0")
    return payload + check_character(payload)


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


def test_the_page_suits_every_reader_screen_and_finger(
    open_as: Open, cast: dict[str, Person], world: World, piece: Piece, other: Place
) -> None:
    world.place("Setup crew", kind="person", person=cast["crew"])
    page = open_as(
        cast["attendant"], f"/scan/?to={other.code}&find=12-T", viewport=PHONE, bypass_csp=True
    )
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    expect(page.locator("[data-flash]")).to_be_hidden()
    looks = product((PHONE, TABLET, DESK), SCHEMES)
    assert unfit(page, *looks) == []
