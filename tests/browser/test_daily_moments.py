"""The moments of a day, counted in taps and scans from the screen that is open.

Where a moment has seconds, the answer must be on the screen within that time and the slack that a
machine needs which runs everything at once.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.trial import Hands
from tests.paper.reading import page_texts
from tests.rolling import Rolling
from tests.world import World
from tooling.models import Kit, Person, Piece, Place
from tooling.services import kits
from tooling.services.movements import move_pieces
from tooling.services.rebuild import differences

Open = Callable[..., Page]
SLACK = 4
"""Times as long as beside a server of one's own."""


def within(seconds: float) -> float:
    """A moment's limit as a browser waits for it, in milliseconds."""
    return seconds * SLACK * 1000


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def shop(world: World) -> Rolling:
    return Rolling(world)


@pytest.fixture
def home(world: World) -> Place:
    return world.place("Rack C / 2")


@pytest.fixture
def scanning(open_as: Open, cast: dict[str, Person], shop: Rolling, home: Place) -> Hands:
    return Hands(open_as(cast["attendant"], "/scan/", viewport=PHONE))


def test_where_is_it_takes_one_scan_or_two_taps(
    open_as: Open, cast: dict[str, Person], shop: Rolling
) -> None:
    hands = Hands(open_as(cast["attendant"], "/today/", viewport=PHONE))
    hands.tap(hands.page.get_by_label("Where is it?"))
    hands.page.keyboard.type(shop.pieces[1, "top", 1].mark)
    hands.tap(hands.page.get_by_role("button", name="Find"))
    answer = hands.page.locator("main")
    expect(answer).to_contain_text(shop.rack.name, timeout=within(5))
    expect(answer).to_contain_text("sound")
    assert hands.taps <= 2


def test_where_does_it_belong_takes_one_scan_and_one_tap_puts_it_there(
    world: World, cast: dict[str, Person], scanning: Hands, shop: Rolling
) -> None:
    piece = shop.pieces[1, "top", 1]
    move_pieces(by=cast["attendant"], at=world.at, pieces=[piece], to=shop.cart)

    def ask() -> None:
        scanning.scan(piece.code)
        card = scanning.page.locator("[data-answer] .scan-belongs")
        expect(card).to_contain_text(shop.rack.name, timeout=within(5))
        scanning.tap(scanning.page.locator("[data-answer]").get_by_text("Put there"))
        row = scanning.page.locator(f'[data-rows] > li[data-code="{piece.code}"]').first
        expect(row).to_have_attribute("data-status", "taken")

    assert scanning.counted(ask) == (1, 1)
    piece.refresh_from_db()
    assert piece.place == shop.rack


def test_one_piece_is_put_away_with_two_scans(scanning: Hands, shop: Rolling, home: Place) -> None:
    piece = shop.pieces[1, "top", 1]

    def put_away() -> None:
        scanning.enter(home.code, home.name)
        scanning.put(piece.code)

    assert scanning.counted(put_away) == (0, 2)
    piece.refresh_from_db()
    assert piece.place == home


def test_forty_pieces_go_to_one_rack_with_forty_one_scans(
    world: World, scanning: Hands, shop: Rolling, home: Place
) -> None:
    drawing = shop.drawings[1, "top", 1]
    codes = [world.piece(drawing, shop.cart).code for _n in range(40)]

    def put_away() -> None:
        scanning.enter(home.code, home.name)
        for code in codes:
            scanning.scan(code)
        expect(
            scanning.page.locator(f'[data-rows] > li[data-code="{codes[-1]}"][data-status="taken"]')
        ).to_be_attached()

    assert scanning.counted(put_away) == (0, 41)
    assert Piece.objects.filter(place=home).count() == 40
    assert differences() == []


def test_a_whole_cart_comes_home_with_two_scans(
    world: World, scanning: Hands, shop: Rolling, home: Place
) -> None:
    rolls = [world.piece(shop.drawings[1, "top", 1], shop.cart) for _n in range(3)]

    def park() -> None:
        scanning.enter(home.code, home.name)
        scanning.put(shop.cart.code)

    assert scanning.counted(park) == (0, 2)
    shop.cart.refresh_from_db()
    assert shop.cart.parent == home
    for roll in rolls:
        roll.refresh_from_db()
        assert roll.place == shop.cart


def test_a_whole_set_comes_home_with_two_scans(scanning: Hands, shop: Rolling, home: Place) -> None:
    def put_away() -> None:
        scanning.enter(home.code, home.name)
        scanning.put(shop.set.code)

    assert scanning.counted(put_away) == (0, 2)
    codes = [piece.code for piece in shop.pieces.values()]
    assert Piece.objects.filter(code__in=codes, place=home).count() == len(codes)


def test_a_set_scanned_home_hangs_each_piece_on_its_peg_and_one_tap_undoes_it(
    world: World, cast: dict[str, Person], scanning: Hands, shop: Rolling
) -> None:
    rolls = list(shop.pieces.values())
    pegs = [world.place(f"Peg {n}", kind="peg", parent=shop.rack) for n in range(len(rolls))]
    for roll, peg in zip(rolls, pegs, strict=True):
        Piece.objects.filter(pk=roll.pk).update(home=peg)
    move_pieces(by=cast["attendant"], at=world.at, pieces=rolls, to=shop.cart)

    def put_away() -> None:
        scanning.enter(shop.rack.code, shop.rack.name)
        scanning.put(shop.set.code)

    def undo() -> None:
        row = scanning.page.locator("[data-rows] > li").first
        scanning.tap(row.get_by_role("button", name="Undo"))
        expect(row).to_have_attribute("data-status", "undone")

    assert scanning.counted(put_away) == (0, 2)
    assert Piece.objects.filter(place__kind="peg").count() == len(rolls)
    assert scanning.counted(undo) == (1, 0)
    assert Piece.objects.filter(place=shop.cart).count() == len(rolls)


def test_a_plate_comes_home_with_two_scans(
    world: World, scanning: Hands, shop: Rolling, home: Place
) -> None:
    plate = world.place("Plate 1", kind="plate")
    world.piece(shop.drawings[1, "top", 1], plate)

    def park() -> None:
        scanning.enter(home.code, home.name)
        scanning.put(plate.code)

    assert scanning.counted(park) == (0, 2)
    plate.refresh_from_db()
    assert plate.parent == home


@pytest.fixture
def kit(shop: Rolling, cast: dict[str, Person], at: datetime) -> Kit:
    """One piece short: the roll of pass 2 on top was lost."""
    shop.pieces[2, "top", 1].condition = "cracked"
    shop.pieces[2, "top", 1].save()
    kit = shop.kit(cast["crew"])
    return kits.set_gathering_place(by=cast["crew"], at=at, kit=kit, place=shop.cart)


def test_is_the_kit_complete_and_what_is_amiss_is_one_tap_from_today(
    open_as: Open, cast: dict[str, Person], kit: Kit
) -> None:
    hands = Hands(open_as(cast["crew"], "/today/", viewport=TABLET))
    hands.tap(hands.page.get_by_role("link", name="See the kit"))
    page = hands.page
    sentence = page.locator(".kit-sentence")
    expect(sentence).to_contain_text("0 of 4 pieces here", timeout=within(3))
    expect(page.locator('.problem[data-code="worn"]')).to_contain_text("Station 2")
    expect(page.locator('#ribbon g.piece[data-state="worn"]')).to_have_count(1)
    assert hands.taps == 1


def test_the_pull_list_on_paper_is_two_taps_from_the_kit(
    open_as: Open, cast: dict[str, Person], kit: Kit, shop: Rolling
) -> None:
    hands = Hands(open_as(cast["crew"], f"/kits/{kit.number}/", viewport=TABLET))
    hands.tap(hands.page.get_by_role("link", name="Pull list"))
    with hands.page.expect_response(lambda answer: answer.url.endswith(".pdf")) as sent:
        hands.tap(hands.page.get_by_role("link", name="On paper"))
    assert sent.value.headers["content-type"] == "application/pdf"
    assert hands.taps == 2
    sheet = hands.page.request.get(f"/kits/{kit.number}/pull-list.pdf")
    words = " ".join(page_texts(sheet.body()))
    for spot in ((1, "top", 1), (1, "bottom", 1), (2, "bottom", 1)):
        assert shop.pieces[spot].code in words
