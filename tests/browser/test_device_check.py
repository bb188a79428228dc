"""The page that makes a phone ready tries what works on the device that shows it, and says why what
does not work does not."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems
from tests.browser.phone import Phone
from tests.browser.test_scan_signals import CAMERAS
from tooling.models import Person

PLAIN = "shop.lan"
RULES = f"--host-resolver-rules=MAP {PLAIN} 127.0.0.1"
NEEDS_HTTPS = ("secure", "worker", "camera", "locks")


@pytest.fixture
def page(phone: Phone, cast: dict[str, Person]) -> Page:
    """A phone with two cameras, nobody logged in."""
    return phone.start(*CAMERAS, RULES, bypass_csp=True)


def state(page: Page, check: str, said: str) -> None:
    row = page.locator(f"[data-check={check}]")
    expect(row).to_have_attribute("data-state", said)
    for word in ("waits", "works", "lacks"):
        expect(row.locator(f"p [data-{word}]")).to_be_visible(visible=word == said)


def test_with_a_secure_address_all_works_that_the_phone_has(page: Page, live_server: Any) -> None:
    page.goto(f"{live_server.url}/shop/https/")
    for check in (*NEEDS_HTTPS, "storage"):
        state(page, check, "works")
    for check in ("torch", "vibration", "installed"):
        state(page, check, "lacks")
    page.locator("[data-try-camera]").click()
    state(page, "camera", "works")
    assert accessibility_problems(page) == []


def test_without_https_it_says_what_is_lacking_and_why(page: Page, live_server: Any) -> None:
    page.goto(f"http://{PLAIN}:{urlsplit(live_server.url).port}/shop/https/")
    for check in NEEDS_HTTPS:
        state(page, check, "lacks")
    state(page, "storage", "works")
    expect(page.locator("[data-try-camera]")).to_be_hidden()
    expect(page.locator("[data-check=worker] p [data-lacks]")).to_contain_text(
        "only with a certificate that it trusts"
    )
