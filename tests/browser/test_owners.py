"""An owner's tooling under simulated hands: shown in three taps, looked over piece by piece."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import LOOKS, small_targets, unfit
from tests.browser.conftest import PHONE
from tests.browser.trial import Hands
from tests.photographs import a_png
from tests.rolling import Rolling
from tests.world import World
from tooling.models import Movement, Owner, OwnerMarkCheck, Person, Piece
from tooling.services import approvals, owner_reports, pictures

Open = Callable[..., Page]
LONG = "Quillmoor Racking and Shelving Systems of the Far North, Limited by Guarantee"


@pytest.fixture
def at() -> datetime:
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def owner(world: World, cast: dict[str, Person], settings: Any, tmp_path: Any) -> Owner:
    """A customer with a long name, all of a set, a picture, a question and a report."""
    settings.FILES_DIR = tmp_path
    shop, at, crew = Rolling(world), world.at, cast["attendant"]
    world.job(shop.set, shop.mill)
    owner = Owner.objects.create(code="QUIL", name=LONG, contact="x" * 120)
    Piece.objects.update(owner=owner, value_cents=123_456_789)
    world.stock(world.drawing("SP-1", kind="spacer"), shop.rack, 9, owner=owner)
    rolls = list(Piece.objects.select_related("owner").order_by("code"))
    photo = SimpleUploadedFile("a.png", a_png())
    pictures.keep(by=crew, at=at, upload=photo, piece=rolls[0])
    approvals.record_approval(
        by=crew, at=at, owner=owner, kind="regrind", answer="asked", pieces=rolls,
        dated_on=at.date(), reference=LONG,
    )  # fmt: skip
    owner_reports.report(by=crew, at=at, piece=rolls[1], kind="damage", what_happened=LONG * 3)
    then = at - timedelta(days=800)
    Movement.objects.create(
        piece=rolls[0], to=shop.rack, how="import", happened_at=then, received_at=then,
        effective_at=then,
    )  # fmt: skip
    return owner


def test_show_me_my_tooling_takes_three_taps(
    owner: Owner, cast: dict[str, Person], open_as: Open
) -> None:
    hands = Hands(open_as(cast["attendant"], "/today/", viewport=PHONE, bypass_csp=True))
    page = hands.page
    hands.tap(page.get_by_role("link", name="Whose tooling lies here"))
    hands.tap(page.get_by_role("link", name=LONG))
    expect(page.locator(".sentence time")).to_be_visible()
    expect(page.locator(".register img")).to_have_count(1)
    expect(page.locator(".register tbody tr")).to_have_count(4)
    with page.expect_request(lambda asked: "register.pdf" in asked.url) as paper:
        hands.tap(page.get_by_role("button", name="Print, A4"))
    assert (hands.taps, "paper=a4" in paper.value.url) == (3, True)


def test_a_walk_with_a_phone_takes_one_tap_for_each_piece(
    owner: Owner, cast: dict[str, Person], open_as: Open
) -> None:
    page = open_as(cast["crew"], "/shop/owners/QUIL/marks/", viewport=PHONE, bypass_csp=True)
    hands = Hands(page)
    rows = page.locator(".mark-rows li")
    for number, word in enumerate(("Marked", "No mark", "Marked", "Marked")):
        hands.tap(rows.nth(number).get_by_role("button", name=word))
        expect(rows.nth(number).locator(".chosen")).to_contain_text(word)
    assert hands.taps == 4
    looks = OwnerMarkCheck.objects.order_by("pk").values_list("is_there", flat=True)
    assert list(looks) == [True, False, True, True]
    assert small_targets(page, least=72) == []
    page.reload()
    expect(rows).to_have_count(1)


PAGES = ["/shop/owners/", "/shop/owners/QUIL/", "/shop/owners/waiting/", "/shop/owners/reports/",
         "/shop/owners/reports/1/", "/shop/owners/QUIL/marks/", "/shop/owners/insured/",
         "/shop/owners/dormant/", "/shop/owners/QUIL/ask/", "/shop/owners/QUIL/pieces/",
         "/shop/owners/reports/new/"]  # fmt: skip


def test_everybody_can_use_the_pages_of_owners(
    owner: Owner, cast: dict[str, Person], open_as: Open
) -> None:
    page = open_as(cast["engineer"], PAGES[0], viewport=PHONE, bypass_csp=True)
    for path in PAGES:
        page.goto(path.replace("reports/1/", f"reports/{owner.reports.get().pk}/"))
        assert unfit(page, *(LOOKS if path in PAGES[:2] else LOOKS[:1])) == [], path
