"""The Scan page on a phone: what it weighs, how soon it opens without the server at a quarter of
this machine's speed, what it must know, and how many of the camera's frames are read."""

from __future__ import annotations

import base64
import gzip
import json
import os
import shutil
import statistics
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.cache import cache
from django.test import Client
from playwright.sync_api import CDPSession, Page, expect, sync_playwright

from tests.bench.build import Built
from tests.bench.clock import Figure, counting, seconds
from tests.bench.kills import serving
from tests.browser.conftest import FLAGS, PHONE
from tests.browser.frames import ASKED, KINDS, SMALLEST, TWENTY, frames, traps
from tests.browser.reading import READ, READ_HERE, WAYS
from tooling.engineering.codes import CODE_LENGTH, read_code
from tooling.errors import ToolingError
from tooling.queries.scan_known import known, known_version
from tooling.web.offline import KEPT
from tooling.web.offline_files import DECODER, shell_files, shell_html

OPENINGS = 7
SLOWER = 4
FRAMES_EACH = 15
TRAPS_EACH = 8
PACKED = (".woff2", ".png")
OPENED = """new MutationObserver((_changes, watching) => {
  const line = document.querySelector("[data-waiting]");
  if (!line?.textContent || document.activeElement?.id !== "scan-field") return;
  window.openedAfter = performance.now();
  watching.disconnect();
}).observe(document, { childList: true, subtree: true, characterData: true })"""


def scan_page(built: Built) -> list[Figure]:
    """Weight, what it knows, then a real Chromium on a real server that is killed."""
    client = Client()
    client.force_login(built.person, backend="tooling.web.zone.ShopBackend")
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    figures = [*_weight(), *_known(client)]
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright's loop runs in this thread
    with serving(dict(os.environ)) as server:
        server.start()
        with _phone(f"http://127.0.0.1:{server.port}", session) as page:
            figures += [*_learning(page), *_frames(page)]
            server.kill()
            figures += _opening(page)
    return figures


def _weight() -> list[Figure]:
    page = len(gzip.compress(shell_html().encode()))
    files = sum(_packed(address.removeprefix("/static/")) for address in shell_files())
    reader = sum(_packed(name) for name in DECODER)
    return [
        Figure("Scan page and its files, compressed", (page + files) / 1000, "kB", 250),
        Figure("the camera's reader, compressed", reader / 1000, "kB"),
    ]


def _packed(name: str) -> int:
    with open(str(finders.find(name)), "rb") as file:
        content = file.read()
    return len(content) if name.endswith(PACKED) else len(gzip.compress(content))


def _known(client: Client) -> list[Figure]:
    made: list[Any] = []
    with counting() as statements:
        took = seconds(lambda: made.append(known(known_version())))
    text = json.dumps(made[0], ensure_ascii=False, separators=(",", ":")).encode()
    cache.delete(KEPT)
    whole = seconds(lambda: client.get("/scan/known/", headers={"Accept-Encoding": "gzip"}))
    body = client.get("/scan/known/", headers={"Accept-Encoding": "gzip"}).content
    again = seconds(lambda: client.get("/scan/known/"))
    pieces = sum(bundle.count("\n") + 1 for bundle in made[0]["pieces"].values())
    return [
        Figure("what a device knows: pieces", pieces, ""),
        Figure("what a device knows: read, statements", statements.count, "", 24),
        Figure("what a device knows: read", took, "s"),
        Figure("what a device knows: answered", whole, "s"),
        Figure("what a device knows: answered from what was made", again * 1000, "ms"),
        Figure("what a device knows: as text", len(text) / 1e6, "MB"),
        Figure("what a device knows: over the network", len(body) / 1e6, "MB", 3),
    ]


@contextmanager
def _phone(url: str, session: str) -> Iterator[Page]:
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        context = chromium.new_context(viewport=PHONE, base_url=url)
        cookie = {"name": settings.SESSION_COOKIE_NAME, "value": session, "url": url}
        context.add_cookies([cookie])  # type: ignore[list-item]
        page = context.new_page()
        page.set_default_timeout(120_000)
        page.add_init_script(OPENED)
        yield page
        chromium.close()


def _slowed(page: Page, times: int) -> CDPSession:
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": times})
    return session


def _learning(page: Page) -> list[Figure]:
    """The first visit, at a quarter of the speed: until the device has all it must know."""
    slow = _slowed(page, SLOWER)
    took = seconds(lambda: _learn(page))
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    slow.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    return [Figure("first visit until it knows all, 4 × slower", took, "s")]


def _learn(page: Page) -> None:
    page.goto("/scan/")
    expect(page.locator("[data-device-known]")).to_contain_text("as of just now", timeout=120_000)


def _opening(page: Page) -> list[Figure]:
    """The server is dead. From the tap to the field that takes scans, everything drawn."""
    _slowed(page, SLOWER)
    times = []
    for _opening in range(OPENINGS):
        page.goto("/scan/")
        expect(page.locator("h1 + .sentence")).to_contain_text("Without the server")
        times.append(page.evaluate("window.openedAfter"))
    return [
        Figure(
            "opens without the server, 4 × slower, median", statistics.median(times), "ms", 1000
        ),
        Figure("opens without the server, 4 × slower, slowest", max(times), "ms"),
    ]


def _frames(page: Page) -> list[Figure]:
    """Frames from another seed than the tests', of both sizes, and those that are to be refused."""
    figures: list[Figure] = []
    for name, stock in (("20 mm", TWENTY), ("13 mm", SMALLEST)):
        figures += _sharpness(page, name, stock)
    wrong = 0
    for frame in traps(TRAPS_EACH, seed=12):
        found, _ms = page.evaluate(READ, base64.b64encode(frame.jpeg).decode())
        wrong += bool({text for text in found if _is_label(text)} - set(frame.codes))
    figures.append(Figure(f"wrong labels in {4 * TRAPS_EACH} frames of none", wrong, "", 0))
    return [*figures, *_pace(page)]


def _sharpness(page: Page, name: str, stock: tuple[str, float]) -> list[Figure]:
    read, wrong, took = dict.fromkeys(KINDS, 0), 0, []
    for frame in frames(FRAMES_EACH, seed=11, stock=stock):
        found, ms = page.evaluate(READ, base64.b64encode(frame.jpeg).decode())
        read[frame.kind] += found == [*frame.codes]
        wrong += found not in ([], [*frame.codes])
        took.append(ms)
    asked = 100 * sum(read[kind] for kind in ASKED) / (FRAMES_EACH * len(ASKED))
    each = [Figure(f"{name}: {kind} read, of {FRAMES_EACH}", n, "") for kind, n in read.items()]
    return [
        *each,
        Figure(f"{name}: {', '.join(ASKED)} read", asked, "%", 95, at_least=True),
        Figure(f"{name}: read wrongly", wrong, "", 0),
        Figure(f"{name}: one frame, median", statistics.median(took), "ms"),
    ]


def _pace(page: Page) -> list[Figure]:
    """Whole 1080p frames on the page's own thread, which Chromium can slow: a label at once, and
    the longest looks, in which nothing is found."""
    labelled = [frame for frame in frames(1, seed=13) if frame.kind in ASKED]
    empty = [frame for frame in traps(2, seed=13) if frame.kind == "ruined"]
    figures = []
    for rate in (1, SLOWER):
        slow = _slowed(page, rate)
        looks = [("label found", labelled, [])]
        looks += [(f"none found, {way}", empty, [way]) for way in page.evaluate(WAYS)]
        for what, some, ways in looks:
            took = []
            for frame in [*some, *some]:
                picture = base64.b64encode(frame.jpeg).decode()
                took.append(page.evaluate(READ_HERE, [picture, ways])[1])
            speed = f"{rate} × slower" if rate > 1 else "own speed"
            figures.append(Figure(f"1080p, {what}, {speed}", statistics.median(took), "ms"))
        slow.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    return figures


def _is_label(text: str) -> bool:
    try:
        return len(text) == CODE_LENGTH and read_code(text).text == text
    except ToolingError:
        return False
