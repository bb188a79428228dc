"""A real browser on a real server: Debian's Chromium driven over the network."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    ViewportSize,
    expect,
    sync_playwright,
)

from tests.browser.line import Line
from tests.browser.phone import Phone, ready
from tests.browser.screens import DESK, FLAGS, PHONE, TABLET
from tests.world import World, make_person
from tooling.models import Person, Piece, Place, Role

__all__ = ["DESK", "FLAGS", "PHONE", "TABLET"]

expect.set_options(timeout=40_000)  # a busy machine is slow, not wrong
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright's loop runs in the tests' own thread


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder drives a browser."""
    for item in items:
        if "tests/browser/" in item.nodeid:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = shutil.which("chromium")
    assert path, "Chromium is missing: python3 manage.py test installs it"
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=path, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def world(transactional_db: None, at: Any) -> World:
    """The same builders, in a database that the live server sees."""
    return World(at=at)


@pytest.fixture
def cast(transactional_db: None) -> dict[str, Person]:
    return {role.value: make_person(role.value, role) for role in Role}


def _log_in(context: BrowserContext, person: Person, address: str) -> None:
    """With the cookie of somebody logged in; ``test_login.py`` logs in by the page."""
    client = Client()
    client.force_login(person, backend="tooling.web.zone.ShopBackend")
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": address}])


@pytest.fixture
def open_as(browser: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """``open_as(person, "/scan/", viewport=PHONE)``: a page of that person's own, logged in.

    Any error on the console fails the test: the content policy would complain there.
    """
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def _open(
        person: Person, path: str = "/", *, viewport: ViewportSize = TABLET, **context: Any
    ) -> Page:
        context = {"service_workers": "block", **context}  # ``scan_as`` has real ones
        made = browser.new_context(viewport=viewport, base_url=live_server.url, **context)
        contexts.append(made)
        _log_in(made, person, live_server.url)
        page = made.new_page()
        page.set_default_timeout(40_000)
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(path)
        begins_in = page.locator("[autofocus]")
        if begins_in.count():
            expect(begins_in.first).to_be_focused()
        return page

    yield _open
    for made in contexts:
        made.close()
    expected = ("status of 4", "Response Status Error Code 4", "ERR_INTERNET_DISCONNECTED")
    unexpected = [text for text in complaints if not any(said in text for said in expected)]
    assert not unexpected, unexpected


@pytest.fixture
def rack(world: World) -> Place:
    """Where things go."""
    return world.place("Rack B")


@pytest.fixture
def pieces(world: World) -> list[Piece]:
    """Six, in Rack A: ``1-T`` to ``6-T``."""
    drawing, there = world.drawing("D1"), world.place("Rack A")
    return [world.piece(drawing, there, mark=f"{number}-T") for number in range(1, 7)]


@pytest.fixture
def line(live_server: Any) -> Iterator[Line]:
    """The line to the server, to be cut."""
    made = Line(live_server.url)
    yield made
    made.close()


@pytest.fixture
def phone(browser: Browser, line: Line, tmp_path: Path) -> Iterator[Phone]:
    """A browser of its own at the end of the line, to be closed, opened again, killed."""
    made = Phone(browser, line, tmp_path / "profile")
    yield made
    made.close()


@pytest.fixture
def scan_as(browser: Browser, line: Line) -> Iterator[Callable[..., Page]]:
    """``scan_as(person)``: the Scan page at the end of the line, in a profile that keeps what a
    browser keeps (its service worker, its stores); it has seen the server once."""
    contexts: list[BrowserContext] = []

    def _scan(person: Person, **options: Any) -> Page:
        made = browser.new_context(viewport=PHONE, base_url=line.url, **options)
        contexts.append(made)
        _log_in(made, person, line.url)
        page = made.new_page()
        page.set_default_timeout(60_000)  # a busy machine is slow, not wrong
        page.goto("/scan/")
        ready(page)
        return page

    yield _scan
    for made in contexts:
        made.close()
