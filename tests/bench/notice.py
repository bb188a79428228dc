"""How long until another tab shows a scan: a real server, a real browser."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
import uuid
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Page, sync_playwright
from rest_framework.authtoken.models import Token

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.browser.conftest import FLAGS
from tooling.models import Kit, KitPosition, Place
from tooling.services import kits
from tooling.services.codes import next_codes
from tooling.services.write import writing

ROOT = Path(__file__).resolve().parent.parent.parent
SCANS = 20


def notice(built: Built) -> list[Figure]:
    """Seconds from the answered scan to the changed state in an open kit page, 20 times."""
    kit = Kit.objects.get(number=built.kit_number)
    with writing():
        code = next_codes(kind="C")[0]
    cart = Place.objects.create(
        code=code, kind="cart", name="Bench cart", path=f"/{code}/", path_name="Bench cart"
    )
    kits.set_gathering_place(by=built.person, at=datetime.now(UTC), kit=kit, place=cart)
    token, _made = Token.objects.get_or_create(user=built.person)
    codes = list(
        KitPosition.objects.filter(kit=kit, piece__isnull=False).values_list(
            "piece__code", flat=True
        )[:SCANS]
    )
    port = _free_port()
    server = subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), "serve", "--no-worker", "--port", str(port)],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert server.stdout is not None
        assert any("READY" in line for line in server.stdout), "the server did not start"
        waits = sorted(_watch(f"http://127.0.0.1:{port}", built, token.key, cart.code, codes))
    finally:
        server.terminate()
        server.wait()
    p95 = waits[int(0.95 * len(waits)) - 1] if waits else float("inf")
    return [
        Figure(f"another tab sees a scan, p95 of {len(waits)}", p95, "s", 2),
        Figure("another tab sees a scan, median", waits[len(waits) // 2], "s"),
    ]


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _watch(base: str, built: Built, token: str, cart: str, codes: list[str]) -> list[float]:
    waits = []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        page = browser.new_page(base_url=base, viewport={"width": 1280, "height": 800})
        _log_in(page, built)
        page.goto(f"/kits/{built.kit_number}/")
        for code in codes:
            began = time.perf_counter()
            _scan(base, token, cart, code)
            page.wait_for_selector(
                f'g.piece[data-code="{code}"][data-state="here"]', state="attached", timeout=10_000
            )
            waits.append(time.perf_counter() - began)
        browser.close()
    return waits


def _log_in(page: Page, built: Built) -> None:
    page.goto("/login/")
    page.fill("input[name=username]", built.person.username)
    page.fill("input[name=password]", "bench-pass-word")
    page.click("main button[type=submit]")
    page.wait_for_url(lambda url: "/login/" not in url)


def _scan(base: str, token: str, cart: str, code: str) -> None:
    now = datetime.now(UTC).isoformat()
    scan = {"id": str(uuid.uuid4()), "happened_at": now, "to": cart, "code": code, "how": "scan"}
    body = json.dumps({"device": str(uuid.uuid4()), "device_now": now, "scans": [scan]}).encode()
    request = urllib.request.Request(
        f"{base}/api/v1/scans/",
        data=body,
        headers={"Authorization": f"Token {token}", "Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request) as answer:
        result = json.load(answer)["results"][0]
    assert result["status"] == "taken", result
