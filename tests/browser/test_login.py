"""The first page that anybody sees: readable, reachable, by keyboard, in both themes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.browser.axe import SCHEMES, unfit
from tests.browser.conftest import DESK, PHONE, TABLET
from tooling.models import Person

ZOOMED: ViewportSize = {"width": 640, "height": 400}  # the tablet at 200 %


@pytest.fixture
def login(browser: Browser, live_server: Any) -> Iterator[Page]:
    context = browser.new_context(viewport=PHONE, base_url=live_server.url, bypass_csp=True)
    page = context.new_page()
    page.goto("/login/")
    yield page
    context.close()


def test_the_page_suits_every_reader_screen_and_finger(login: Page) -> None:
    looks = product((PHONE, ZOOMED, TABLET, DESK), SCHEMES)
    assert unfit(login, *looks) == []


def test_a_wrong_password_is_said_beside_the_form(
    browser: Browser, live_server: Any, cast: dict[str, Person]
) -> None:
    context = browser.new_context(viewport=PHONE, base_url=live_server.url)
    page = context.new_page()
    page.goto("/login/")
    expect(page.locator("input[name=username]")).to_be_focused()
    page.keyboard.type("crew")
    page.keyboard.press("Tab")
    page.keyboard.type("wrong")
    page.keyboard.press("Enter")
    expect(page.locator("form .problem[data-code=invalid_login]")).to_be_visible()
    context.close()
