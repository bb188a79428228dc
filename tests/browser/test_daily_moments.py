"""The moments of a day, counted in taps and scans from the screen that is open."""

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
from tooling.services.rebuild import differences

Open = Callable[..., Page]


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
    expect(answer).to_contain_text(shop.rack.name)
    expect(answer).to_contain_text("sound")
    assert hands.taps <= 2


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
    expect(page.locator(".kit-sentence")).to_contain_text("0 of 4 pieces here")
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
