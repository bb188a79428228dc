"""A changeover of 24 stations by two people and the shift after them, counted in actions: each
scan, tap and field that somebody fills in. What goes wrong is counted apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.setting_up import SettingUp
from tests.world import World, make_person
from tooling.models import Person, Role, Setup, ShaftMount, StockLine
from tooling.services import stock
from tooling.services.movements import move_pieces
from tooling.services.rebuild import differences

STATIONS = 24
SHAFTS = ("top", "bottom")
MOST_ACTIONS = 75
"""Besides staging: begin to mount, 24 stations, the first good part."""
TROUBLES = {"wrong roll": 1, "substitute": 5, "missing spacer": 3, "handover": 3}
"""What each costs on top, by hand: a scan that is refused; a refused tap, the link, the other's
code, a reason, the button; a refused tap, the link, a reason; the link, the word, the button."""


class Hand:
    """One person beside the mill. ``actions`` are the changeover's own; what is done within
    ``trouble`` is counted under its name."""

    def __init__(self, page: Page, shop: SettingUp) -> None:
        self.page, self.shop, self.actions = page, shop, 0
        self.troubles: dict[str, int] = {}

    @contextmanager
    def trouble(self, name: str) -> Iterator[None]:
        before = self.actions
        yield
        self.troubles[name] = self.actions - before
        self.actions = before

    def click(self, where: Locator) -> None:
        where.click()
        self.actions += 1

    def fill(self, where: Locator, text: str) -> None:
        where.fill(text)
        self.actions += 1

    def rest(self) -> None:
        """The tablet is put down; its page asks for nothing."""
        self.page.goto("about:blank")

    def scan(self, code: str) -> None:
        field = self.page.locator("#scan-field")
        field.fill(code)
        field.press("Enter")
        self.actions += 1

    def tap(self, shaft: str) -> None:
        self.click(self.page.locator(f"#shaft-{shaft} .on-the-shaft"))

    def go_to(self, station: int) -> None:
        self.scan(self.shop.station(station).code)
        expect(self.page.locator("h1")).to_contain_text(f"Station {station}")

    def mount(self, station: int) -> None:
        """One scan, one tap for each shaft."""
        self.go_to(station)
        for shaft in SHAFTS:
            self.tap(shaft)
            self.sees(shaft, "mounted")

    def sees(self, shaft: str, state: str) -> None:
        expect(self.page.locator(f'#shaft-{shaft}[data-mount="{state}"]')).to_be_visible()

    def is_told(self, code: str, *said: str) -> None:
        problem = self.page.locator(f'.problem[data-code="{code}"]')
        for words in said:
            expect(problem).to_contain_text(words)


@pytest.fixture
def shop(world: World, cast: dict[str, Person]) -> SettingUp:
    """Two things go wrong before they begin: a roll went back to the rack, a spacer is gone."""
    plain = set(range(6, STATIONS))
    shop = SettingUp(world, cast["crew"], stations=STATIONS, plain=plain)
    move_pieces(by=shop.by, at=world.at, pieces=[shop.pieces[5, "top", 3]], to=shop.rack)
    line = StockLine.objects.get(place=shop.cart, drawing=shop.spacer)
    stock.move(by=shop.by, at=world.at, line=line, quantity=1, to=shop.rack)
    shop.world.piece(shop.rolls["top"], shop.rack, mark="SPARE")
    return shop


def test_two_people_and_the_next_shift_change_a_mill_over(
    shop: SettingUp, open_as: Callable[..., Page], cast: dict[str, Person]
) -> None:
    first = Hand(open_as(cast["crew"], f"/setups/{shop.kit.number}/start/"), shop)
    first.click(first.page.get_by_role("button", name="Start mounting"))
    expect(first.page.locator("h1")).to_contain_text("J1")
    mate = make_person("mate", Role.CREW)
    second = Hand(open_as(mate, f"/setups/{shop.kit.number}/"), shop)

    for station in (1, 2):
        first.mount(station)
        mark = second.page.locator(f'[data-station="{station}"] [data-mount="mounted"]')
        expect(mark).to_have_count(2)  # the other page was told by itself
    second.rest()
    _wrong_roll(first)
    _substitute(first)
    for station in range(6, 11):
        first.mount(station)
    third = _next_shift(first, shop, open_as)
    first.rest()
    second.page.goto(f"/setups/{shop.kit.number}/")
    for station in range(13, STATIONS):
        second.mount(station)
    _missing_spacer(second)
    second.rest()
    for station in (11, 12):
        third.mount(station)

    third.page.goto(f"/setups/{shop.kit.number}/")
    expect(third.page.locator(".kit-sentence")).to_contain_text("48 of 48 shafts")
    third.click(third.page.get_by_role("button", name="First good part"))
    expect(third.page.locator(".sentence-less")).to_contain_text("running")
    assert first.actions + second.actions + third.actions <= MOST_ACTIONS
    assert first.troubles | second.troubles | third.troubles == TROUBLES
    assert ShaftMount.objects.filter(checked="station").count() == 2 * STATIONS
    assert differences() == []


def _wrong_roll(hand: Hand) -> None:
    """A roll of station 4 in the hand at station 3: told, put aside, and on they go."""
    hand.go_to(3)
    with hand.trouble("wrong roll"):
        hand.scan(hand.shop.code(4, "top", 1))
        hand.is_told("wrong_pass", "4-t1", "station 4", "3-t1")
    for shaft in SHAFTS:
        hand.tap(shaft)
        hand.sees(shaft, "mounted")
    hand.mount(4)


def _substitute(hand: Hand) -> None:
    """5-t3 is not here: the tap is refused, a spare goes on with a reason."""
    hand.go_to(5)
    with hand.trouble("substitute"):
        hand.tap("top")
        hand.is_told("not_here", "5-t3", "Rack")
        page = hand.page
        top = page.locator("#shaft-top")
        hand.click(top.get_by_role("link", name="Something is not here"))
        hand.fill(page.locator("#code"), "SPARE")
        hand.fill(page.locator("#other-reason"), "5-t3 is chipped")
        hand.click(page.get_by_role("button", name="It goes on instead"))
        expect(top).to_contain_text("5-t3 is chipped")
    for shaft in SHAFTS:
        hand.tap(shaft)
        hand.sees(shaft, "mounted")


def _next_shift(hand: Hand, shop: SettingUp, open_as: Callable[..., Page]) -> Hand:
    """The first goes home with a word; who comes next reads it large, with what remains."""
    with hand.trouble("handover"):
        hand.click(hand.page.get_by_role("link", name="All stations"))
        note = hand.page.get_by_label("What the next must know")
        hand.fill(note, "Bottom of 12 wants two people.")
        hand.click(hand.page.get_by_role("button", name="Hand over"))
        expect(hand.page.locator(".handover.mine")).to_be_visible()
    nights = make_person("nights", Role.CREW)
    page = open_as(nights, f"/setups/{shop.kit.number}/")
    told = page.locator(".handover:not(.mine)")
    for words in ("Bottom of 12 wants two people.", "20 of 48 shafts", "11 top"):
        expect(told).to_contain_text(words)
    size = told.evaluate("each => parseFloat(getComputedStyle(each).fontSize)")
    assert size >= 20
    return Hand(page, shop)


def _missing_spacer(hand: Hand) -> None:
    """At the last shaft there is no spacer left: the rest goes on, with a reason."""
    hand.go_to(STATIONS)
    hand.tap("top")
    hand.sees("top", "mounted")
    page, bottom = hand.page, hand.page.locator("#shaft-bottom")
    with hand.trouble("missing spacer"):
        hand.tap("bottom")
        hand.is_told("not_here", "2: SP")
        hand.click(bottom.get_by_role("link", name="Something is not here"))
        expect(page.locator("#off-2")).to_be_checked()
        hand.fill(page.locator("#some-reason"), "spacer is lost, run without")
    hand.click(page.get_by_role("button", name="The rest is on the shaft"))
    hand.sees("bottom", "mounted")
    expect(bottom).to_contain_text("spacer is lost, run without")
    setup: Any = Setup.objects.get()
    assert setup.state == "mounting"
