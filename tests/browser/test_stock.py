"""At a bin with a phone in one hand: scan it, take what the kit wants, count it, take it back."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import PHONE
from tests.browser.trial import Hands
from tests.world import MM, World
from tooling.models import Kit, Person, StockLine
from tooling.services.rebuild import differences

Open = Callable[..., Page]


def test_a_bin_is_taken_from_counted_and_put_right(
    world: World, cast: dict[str, Person], open_as: Open
) -> None:
    spacer = world.drawing("SP-10", kind="spacer", bore_nm=60 * MM, face_width_nm=10 * MM)
    line = world.stock(spacer, world.place("Drawer 5", kind="bin"), 20, least_count=30)
    tool_set = world.tool_set("S", {(1, "top", n): spacer for n in range(1, 7)})
    job = world.job(tool_set, world.mill(), number="J-7")
    cart = world.place("Cart 1", kind="cart")
    kit = Kit.objects.create(number=world.code("K"), job=job, place=cart, assembled_at=world.at)
    for position in tool_set.passes.get().positions.all():
        kit.positions.create(
            set_position=position, station_number=1, pass_number=1, shaft="top",
            order=position.order, drawing=spacer,
        )  # fmt: skip

    phone = open_as(cast["attendant"], "/scan/", viewport=PHONE, bypass_csp=True)
    hands = Hands(phone)
    expect(phone.locator("#scan-field")).to_be_focused()
    hands.scan(line.code)
    offered = phone.locator("[data-way=take] .hand-takers button").first
    expect(offered).to_contain_text("6")
    expect(offered).to_contain_text("job J-7")
    assert accessibility_problems(phone) == []
    assert wider_than_the_screen(phone) == 0
    hands.tap(offered)
    last = phone.locator("[data-rows] > li").first
    expect(last).to_contain_text("6 of SP-10: from Drawer 5 to Cart 1. 14 are in it now.")
    assert (hands.scans, hands.taps) == (1, 1)
    assert kit.positions.filter(is_staged=True).count() == 6

    hands.scan(line.code)
    phone.locator(".hand-ways label", has_text="Count").click()
    counting = phone.locator("[data-way=count]")
    expect(counting.locator("[data-number]")).to_have_value("14")
    for key in "13":
        counting.locator(f"[data-key='{key}']").click()
    expect(counting.locator("[data-number]")).to_have_value("13")
    counting.get_by_role("button", name="So many are there").click()
    expect(last).to_contain_text("13 are in it now")
    last.get_by_role("button", name="Undo").click()
    expect(last).to_have_attribute("data-status", "undone")
    assert StockLine.objects.get(pk=line.pk).count == 14

    for address in (f"/pieces/stock/{line.code}/", "/pieces/stock/make-or-buy/"):
        phone.goto(address)
        assert accessibility_problems(phone) == []
        assert wider_than_the_screen(phone) == 0
        assert small_targets(phone) == []
    phone.locator(".need-forms summary").first.click()
    card, field = phone.locator("tr[data-drawing]"), phone.locator(".need-forms [name=quantity]")
    card_box, field_box = card.first.bounding_box(), field.first.bounding_box()
    assert card_box
    assert field_box
    assert field_box["x"] + field_box["width"] <= card_box["x"] + card_box["width"]
    assert differences() == []
