"""New tooling is received and measured to print without a mouse; its pages suit a phone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import PHONE, TABLET
from tests.rolling import Rolling
from tests.world import MM, World
from tooling.models import Inspection, Person, Piece, Purchase, Receipt
from tooling.services import drawings, purchases, receiving, sets
from tooling.services.purchases import LineIn
from tooling.services.rebuild import differences

Open = Callable[..., Page]
ROLL = {"bore_nm": 60 * MM, "bore_class": "H7", "face_width_nm": 40 * MM}


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def order(world: World, cast: dict[str, Person], settings: Any, tmp_path: Path) -> Purchase:
    settings.FILES_DIR = tmp_path
    revision = world.drawing("R-1", **ROLL).revisions.get()
    today = timezone.localdate()
    return purchases.create_purchase(
        by=cast["engineer"], at=world.at, number="4711", vendor="Halden Tool", owner=world.shop,
        ordered_on=today - timedelta(days=30), due_on=today - timedelta(days=1),
        lines=[LineIn(revision, 2, mark="R-1-T1")],
    )  # fmt: skip


def test_a_piece_is_received_and_measured_without_a_mouse(
    open_as: Open, cast: dict[str, Person], world: World, order: Purchase
) -> None:
    world.place("Rack A")
    page = open_as(cast["attendant"], "/pieces/orders/4711/lines/1/receive/", viewport=TABLET)
    page.get_by_label("Where it goes").focus()
    page.keyboard.type("Rack A")
    page.keyboard.press("Enter")
    measure = page.get_by_role("link", name="Measure it to print")
    expect(measure).to_be_visible()
    measure.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("Bore")).to_be_focused()
    page.keyboard.type("60.05")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Face width")).to_be_focused()
    expect(page.locator("#outcome-bore [data-within=no]")).to_contain_text("+0.05 mm")
    page.keyboard.type("40.01")
    page.keyboard.press("Enter")
    expect(page.locator("[data-code=not_to_print]")).to_be_visible()
    expect(page.get_by_label("Bore")).to_be_focused()
    page.keyboard.press("Control+A")
    page.keyboard.type("60.012")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("accepted")
    piece = Piece.objects.get()
    assert (piece.now_bore_nm, Inspection.objects.get().verdict) == (60_012_000, "accepted")
    assert differences() == []


def test_the_pages_of_new_old_and_line_tooling_suit_a_phone(
    open_as: Open, cast: dict[str, Person], world: World, order: Purchase
) -> None:
    way = {"by": cast["engineer"], "at": world.at}
    receiving.receive_piece(**way, line=order.lines.get(), place=world.place("Rack A"))
    shop = Rolling(world)
    old = shop.drawings[1, "top", 1]
    drawings.new_revision(**way, drawing=old, revision="B", old_pieces="rework", note="relief")
    blade = world.drawing("CB-01", kind="line_tooling")
    sets.save_position(
        **way, set_pass=shop.set.passes.get(number=1), shaft="line", order=1, drawing=blade,
        where="cut-off press",
    )  # fmt: skip
    kit = shop.kit(cast["crew"])
    receipt = Receipt.objects.get().pk
    own = (
        "/pieces/orders/", "/pieces/orders/4711/", "/pieces/orders/4711/lines/1/receive/",
        f"/pieces/orders/receipts/{receipt}/", f"/pieces/orders/receipts/{receipt}/inspect/",
        f"/kits/{kit.number}/stations/1/line/",
    )  # fmt: skip
    shared = (f"/sets/drawings/{old.number}/", f"/kits/{kit.number}/")
    page = open_as(cast["engineer"], own[0], viewport=PHONE, bypass_csp=True)
    for url in (*own, *shared):
        page.goto(url)
        assert accessibility_problems(page) == [], url
        assert wider_than_the_screen(page) == 0, url
        if url in own:
            assert small_targets(page) == [], url
