"""Two people on one count, each with a screen of their own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import PHONE, TABLET
from tests.services.counting import Rack
from tests.world import World
from tooling.models import Count, Person, Piece, StockLine

Open = Callable[..., Page]


def wedge(page: Page, code: str) -> None:
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def shows(page: Page, **figures: int) -> None:
    """The figures on this screen, however long the other's mark takes to arrive."""
    for name, value in figures.items():
        expect(page.locator(f"[data-figure={name}] dd")).to_have_text(str(value))


def said(page: Page) -> Any:
    return page.locator("[data-answer]")


def test_two_people_count_a_rack_and_see_each_other_s_marks(
    world: World, open_as: Open, cast: dict[str, Person]
) -> None:
    rack = Rack(world)
    stray = world.piece(rack.drawing, rack.other, mark="X")
    ann = open_as(cast["attendant"], "/pieces/counts/", viewport=PHONE, bypass_csp=True)
    ann.locator(f"button[name=place][value={rack.rack.code}]").click()
    expect(ann.locator("[data-context-name]")).to_have_text("Rack A")
    shows(ann, expected=6, found=0, missing=6)
    ben = open_as(cast["crew"], "/today/", viewport=TABLET, color_scheme="dark", bypass_csp=True)
    ben.get_by_role("link", name="being counted").click()

    wedge(ann, rack.shelf.code)
    expect(ann.locator("[data-context-name]")).to_have_text("Shelf 1")
    for piece in rack.pieces[:2]:
        wedge(ann, piece.code)
        expect(said(ann)).to_contain_text(f"{piece.code} ({piece.mark}): found in")
    shows(ben, found=2, missing=4)
    expect(ben.locator(f"li[data-code={rack.pieces[0].code}]")).to_contain_text("Attendant")

    wedge(ben, rack.pieces[0].code)
    expect(said(ben)).to_contain_text("Attendant counted")
    expect(ben.locator("[data-flash-word]")).to_have_text("Already")
    ben.locator(f"#row-{rack.row.code}").click()
    shows(ann, found=4, missing=2)
    wedge(ben, stray.code)
    expect(said(ben)).to_contain_text("was expected in Rack B")
    shows(ann, extra=1)
    expect(ann.locator("[data-flash]")).to_be_hidden()

    wedge(ann, rack.bin.code)
    for figure in "12":
        ann.locator(f"[data-key='{figure}']").click()
    ann.get_by_role("button", name="OK").click()
    expect(said(ann)).to_contain_text("12 SP in bin")
    shows(ben, expected=16, found=14, extra=3)
    ben.locator(".count-last li", has_text="X, Rack A").get_by_role("button", name="Undo").click()
    shows(ann, extra=2)
    assert Piece.objects.get(pk=stray.pk).place == rack.other
    for page in (ann, ben):
        expect(page.locator("[data-flash]")).to_be_hidden()
        assert accessibility_problems(page) == []
        assert wider_than_the_screen(page) == 0
        assert small_targets(page) == []

    ann.get_by_role("link", name="Close the count").click()
    expect(ann.locator(".count-missing")).to_have_count(2)
    ann.fill(f"#reason-{rack.pieces[2].code}", "lent to the next hall")
    assert accessibility_problems(ann) == []
    assert wider_than_the_screen(ann) == 0
    ann.get_by_role("button", name="Close: 2 are lost").click()
    expect(ann.locator("table [data-code]").first).to_contain_text("lent to the next hall")
    assert accessibility_problems(ann) == []
    expect(ben.get_by_text("of what was expected was found")).to_be_visible()
    count = Count.objects.get()
    assert (count.expected, count.found, count.missing, count.extra) == (16, 14, 2, 2)
    assert StockLine.objects.get(pk=rack.bin.pk).count == 12
