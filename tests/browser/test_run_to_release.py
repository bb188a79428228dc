"""On the demo, from a run on its mill to rolls that may run again: the whole way in the browser."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import TABLET
from tests.demo_server import free_port, rows, running

pytestmark = pytest.mark.one_database
OFF_NM = 762_000
RUNNING = """
    SELECT k.number, j.tool_set_id, k.copy_id FROM tooling_setup s
    JOIN tooling_kit k ON k.id = s.kit_id JOIN tooling_job j ON j.id = k.job_id
    WHERE s.state = 'running'
"""
FIRST_PASS = """
    SELECT p.code FROM tooling_allotment a
    JOIN tooling_piece p ON p.id = a.piece_id JOIN tooling_drawing d ON d.id = p.drawing_id
    JOIN tooling_setposition o ON o.id = a.position_id
    JOIN tooling_setpass n ON n.id = o.set_pass_id
    WHERE a.copy_id = {copy} AND n.number = 1 AND d.kind = 'roll' ORDER BY p.code
"""


@pytest.fixture
def folder(demo_folder: Path, tmp_path: Path) -> Path:
    """The demo shop, to be changed."""
    copy = tmp_path / "shop"
    shutil.copytree(demo_folder, copy)
    return copy


@pytest.fixture
def page(browser: Browser, folder: Path) -> Iterator[Page]:
    """The engineer's tablet, logged in to a server on that shop."""
    login = json.loads((folder / "logins.json").read_text())["engineer"]
    arguments = ("serve", "--no-worker", "--port", str(free_port()))
    with running(folder, *arguments) as (_process, address):
        context = browser.new_context(viewport=TABLET, base_url=address)
        made = context.new_page()
        made.set_default_timeout(40_000)
        made.goto("/login/")
        made.fill("input[name=username]", login["user"])
        made.fill("input[name=password]", login["password"])
        made.click("main button[type=submit]")
        made.wait_for_url(lambda url: "/login/" not in url)
        yield made
        context.close()


def tap(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).first.click()


def test_from_run_to_release(page: Page, folder: Path) -> None:
    kit, tool_set, copy = rows(folder, RUNNING)[0]
    codes = [code for (code,) in rows(folder, FIRST_PASS.format(copy=copy))]
    ran_and_off_the_mill(page, kit)
    measured_worn(page, codes[0])
    number = ordered(page, codes)
    sent_and_back(page, number, codes, folder)
    read_after_the_cut(page, codes)
    released(page, number)
    state = rows(
        folder, f"SELECT DISTINCT state FROM tooling_setupchart WHERE tool_set_id = {tool_set}"
    )
    assert state == [("unproved",)]
    assert rows(folder, "SELECT count(*) FROM tooling_run WHERE source = 'typed'")[0][0] >= 1


def ran_and_off_the_mill(page: Page, kit: str) -> None:
    """What ran is written down, then the setup comes down."""
    page.goto(f"/setups/{kit}/runs/")
    page.locator("input[name=length]").fill("850")
    tap(page, "So much ran")
    expect(page.locator("main")).to_contain_text("850")
    page.goto(f"/setups/{kit}/strip-down/?all=1")
    page.get_by_role("button", name="rows are full").click()
    expect(page.get_by_text("Everything that comes off is off.")).to_be_visible()
    tap(page, "All clean and sound")
    tap(page, "Strike the setup down")
    expect(page.get_by_text("This setup is struck down.")).to_be_visible()


def measured_worn(page: Page, code: str) -> None:
    """A reading before anything is cut."""
    page.goto(f"/pieces/{code}/reading/?dimension=root_diameter")
    value = page.get_by_label("Value")
    value.fill("5.610")
    tap(page, "Keep the reading")
    page.wait_for_url(f"**/pieces/{code}/")


def ordered(page: Page, codes: list[str]) -> str:
    page.goto("/regrinds/orders/new/")
    page.get_by_label("Pieces: codes or marks").fill("\n".join(codes))
    page.get_by_label("Comes off, on diameter").fill("0.030 in")
    page.get_by_label("Who does it").select_option(index=1)
    tap(page, "Save")
    expect(page.locator("h1")).to_contain_text("Order G-")
    assert wider_than_the_screen(page) == 0
    assert accessibility_problems(page) == []
    return page.locator("h1").inner_text().split()[-1]


def sent_and_back(page: Page, number: str, codes: list[str], folder: Path) -> None:
    tap(page, "leave now")
    expect(page.locator(".sentence")).to_contain_text("out")
    rack = rows(folder, "SELECT code FROM tooling_place WHERE kind = 'shelf' LIMIT 1")[0][0]
    page.get_by_role("link", name="Take pieces back").click()
    page.get_by_label("Put to").fill(rack)
    for code in codes:
        page.locator("#scan-field").fill(code)
        page.keyboard.press("Enter")
        expect(page.get_by_text(f"{code} is back.")).to_be_visible()
    expect(page.locator("h1")).to_contain_text(number)


def read_after_the_cut(page: Page, codes: list[str]) -> None:
    """From one piece to the next by Enter, each as it was ordered."""
    page.get_by_role("link", name="Measure").first.click()
    for _code in codes:
        fields = page.locator("input[data-enter-next]")
        heading = page.locator("h1").inner_text()
        wanted = page.locator("td[data-label='From, to']").all_inner_texts()
        for field, text in zip(fields.all(), wanted, strict=True):
            least, most = text.replace(" in", "").split(" to ")
            field.fill(f"{(float(least) + float(most)) / 2:.4f} in")
        tap(page, "Keep these readings")
        expect(page.locator("h1")).not_to_have_text(heading)


def released(page: Page, number: str) -> None:
    tap(page, "These marks can be read")
    page.get_by_role("link", name="Release it").click()
    expect(page.locator(".sentence")).to_contain_text("Everything holds")
    assert small_targets(page) == []
    assert accessibility_problems(page) == []
    tap(page, "Release")
    expect(page.locator("h1")).to_contain_text(number)
    expect(page.locator(".sentence")).to_contain_text("released")
