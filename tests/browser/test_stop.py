"""A damaged roll is stopped in three taps and a photo, and every other screen knows at once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.trial import Hands
from tests.photographs import a_photo
from tests.rolling import Rolling
from tests.world import World
from tooling.models import Owner, OwnerReport, Person, Picture

Open = Callable[..., Page]
TURNED = 6
LOWER_LEFT = 3


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """As a phone held upright keeps it: lying, with a note to turn it, and where it was taken."""
    path = tmp_path / "IMG_0417.jpg"
    path.write_bytes(a_photo(1600, 1200, orientation=TURNED, corner=LOWER_LEFT))
    return path


def test_three_taps_and_a_photo_stop_a_damaged_roll_everywhere(
    open_as: Open, cast: dict[str, Person], world: World, photo: Path, settings: Any, tmp_path: Path
) -> None:
    settings.FILES_DIR = tmp_path / "files"
    shop = Rolling(world)
    piece = shop.pieces[1, "top", 1]
    piece.owner = Owner.objects.create(code="CUST", name="A customer")
    piece.save(update_fields=["owner"])
    kit = shop.stage(cast["crew"], shop.kit(cast["crew"], customer=piece.owner))
    tablet = open_as(cast["engineer"], f"/kits/{kit.number}/", viewport=TABLET)
    shown = tablet.locator(f'#ribbon g.piece[data-code="{piece.code}"]')
    expect(shown).to_have_attribute("data-state", "here")

    hands = Hands(open_as(cast["crew"], "/scan/", viewport=PHONE))
    page = hands.page
    hands.scan(piece.code)
    hands.tap(page.get_by_role("link", name="Stop"))
    hands.tap(page.get_by_role("button", name="chipped"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("held")
    piece.refresh_from_db()
    assert (hands.taps, piece.condition) == (2, "hold"), "held before there is a picture"
    expect(shown).to_have_attribute("data-state", "held")
    expect(tablet.locator('.problem[data-code="held"]')).to_contain_text("chipped")

    page.context.set_offline(True)
    with page.expect_file_chooser() as chooser:
        hands.tap(page.get_by_label("Take a picture"))
    chooser.value.set_files(photo)
    expect(page.locator("[data-sending]")).to_contain_text("No connection")
    page.context.set_offline(False)
    expect(page.locator(".pictures img")).to_have_count(1)
    assert hands.taps == 3
    picture = Picture.objects.get()
    assert (picture.piece, picture.incident) == (piece, OwnerReport.objects.get().incident)

    page.locator(".pictures a").click()
    large = page.locator(".picture img")
    expect(large).to_have_js_property("naturalWidth", 1200)
    expect(large).to_have_js_property("naturalHeight", 1600)


def test_a_log_in_that_ran_out_does_not_lose_the_photo(
    open_as: Open, cast: dict[str, Person], world: World, photo: Path, settings: Any, tmp_path: Path
) -> None:
    settings.FILES_DIR = tmp_path / "files"
    piece = Rolling(world).pieces[1, "top", 1]
    page = open_as(cast["crew"], f"/pieces/{piece.code}/", viewport=PHONE)
    page.context.clear_cookies()
    page.get_by_label("Take a picture").set_input_files(photo)
    expect(page.locator("[data-sending]")).to_contain_text("Log in on another tab")
    tab = page.context.new_page()
    tab.goto("/login/")
    tab.fill("input[name=username]", "crew")
    tab.fill("input[name=password]", "crew-pass-word")
    tab.click("main button[type=submit]")
    expect(page.locator(".pictures img")).to_have_count(1)
