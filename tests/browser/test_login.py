"""The first page that anybody sees: readable, reachable, by keyboard, in both themes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import DESK, PHONE, TABLET
from tooling.models import Person

ZOOMED: ViewportSize = {"width": 640, "height": 400}  # the tablet at 200 %
Theme = Literal["light", "dark"]


@pytest.fixture(params=[PHONE, ZOOMED, TABLET, DESK], ids=["phone", "zoomed", "tablet", "desk"])
def viewport(request: pytest.FixtureRequest) -> Any:
    return request.param


@pytest.fixture(params=["light", "dark"])
def login(
    request: pytest.FixtureRequest, browser: Browser, live_server: Any, viewport: Any
) -> Iterator[Page]:
    context = browser.new_context(
        viewport=viewport, color_scheme=request.param, base_url=live_server.url, bypass_csp=True
    )
    page = context.new_page()
    page.goto("/login/")
    yield page
    context.close()


def test_the_page_suits_every_reader_screen_and_finger(login: Page) -> None:
    assert accessibility_problems(login) == []
    assert wider_than_the_screen(login) == 0
    assert small_targets(login) == []


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
