"""A phone with its own profile on disk, in an attendant's hands: closed, opened again, killed."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from tests.browser.line import Line
from tests.browser.screens import FLAGS, PHONE
from tooling.models import Movement, Person

NONE = "Nothing waits to be sent."
LISTENS = re.compile(r"DevTools listening on (ws://\S+)")


class Phone:
    """``open()`` gives the Scan page; what the browser keeps lives in ``profile``."""

    def __init__(self, browser: Browser, line: Line, profile: Path) -> None:
        self.chromium = browser.browser_type
        self.line = line
        self.profile = profile
        self.context: BrowserContext | None = None
        self.process: subprocess.Popen[str] | None = None

    def start(self, *more: str, **options: Any) -> Page:
        """A browser on this profile; its first page."""
        self.context = self.chromium.launch_persistent_context(
            str(self.profile), executable_path=shutil.which("chromium"), args=[*FLAGS, *more],
            viewport=PHONE, base_url=self.line.url, **options,
        )  # fmt: skip
        page = self.context.pages[0]
        page.set_default_timeout(60_000)  # a busy machine is slow, not wrong
        return page

    def start_to_kill(self) -> Page:
        """The same as a process of its own, which ``kill`` ends as a flat battery does."""
        command = [str(shutil.which("chromium")), *FLAGS, "--remote-debugging-port=0",
                   f"--user-data-dir={self.profile}", "about:blank"]  # fmt: skip
        self.process = subprocess.Popen(
            command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True,
            start_new_session=True,
        )  # fmt: skip
        assert self.process.stderr is not None
        address = next(found[1] for each in self.process.stderr if (found := LISTENS.search(each)))
        browser = self.chromium.connect_over_cdp(address)
        page = browser.contexts[0].pages[0]
        page.set_default_timeout(60_000)  # a busy machine is slow, not wrong
        return page

    def kill(self) -> None:
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            if self.process.stderr is not None:
                self.process.stderr.close()
            self.process = None
            (self.profile / "SingletonLock").unlink(missing_ok=True)

    def close(self) -> None:
        if self.context is not None:
            self.context.close()
            self.context = None
        self.kill()


def log_in(page: Page, line: Line, person: Person) -> None:
    """From the log-in page to the Scan page, ready for the server to go."""
    page.goto(f"{line.url}/login/?next=/scan/")
    if "/login/" in page.url:
        page.fill("input[name=username]", person.username)
        page.fill("input[name=password]", f"{person.username}-pass-word")
        page.click("main button[type=submit]")
    ready(page)


def comes_back(page: Page, line: Line) -> None:
    """The network is there again, and the browser tells its page so."""
    line.up()
    page.evaluate("dispatchEvent(new Event('online'))")


def ready(page: Page) -> None:
    """The service worker has the page, and the device knows the labels."""
    expect(page.locator("#scan-field")).to_be_focused()
    expect(page.locator("[data-device-known]")).to_contain_text("as of just now")
    page.evaluate(
        "() => navigator.serviceWorker.controller || new Promise(resolve => "
        "navigator.serviceWorker.addEventListener('controllerchange', resolve, {once: true}))"
    )


def wedge(page: Page, code: str) -> None:
    """A scanner knows nothing of fields: it types where the focus is."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def go_into(page: Page, code: str, name: str) -> None:
    wedge(page, code)
    expect(page.locator("[data-context-name]")).to_have_text(name)


def waiting(page: Page) -> Locator:
    return page.locator("[data-waiting]")


def first_row(page: Page) -> Locator:
    return page.locator("[data-rows] > li").first


def moved() -> list[str]:
    """What was scanned and counted, in order."""
    scans = Movement.objects.filter(by__isnull=False).order_by("id")
    return [movement.piece.code for movement in scans if movement.piece]
