"""What a device keeps, knows and says while the server is out of reach: through a flat battery, a
full store, a refusal, a question that only what it knows can answer."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.line import Line
from tests.browser.phone import (
    NONE,
    Phone,
    comes_back,
    first_row,
    go_into,
    log_in,
    moved,
    waiting,
    wedge,
)
from tests.world import World
from tooling.engineering.codes import make_code
from tooling.models import (
    LabelEvent,
    Person,
    Piece,
    PieceAlias,
    Place,
    RefusedScan,
)

FILL = """async () => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  for (let n = 0; ; n += 1) {
    const bytes = crypto.getRandomValues(new Uint8Array(n % 2 ? 2_000 : 60_000));
    const kept = store.learn([[`zz ${n}`, bytes]], {anew: false});
    const full = await kept.then(() => "", error => error.name);
    if (full && n % 2) return full;
  }}"""
ADD = """async () => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  const row = {id: "x", url: "/", person: "", scan: {code: "R".repeat(9_000)}};
  return store.add(row).then(() => "kept", error => error.name)}"""
ADD_NONSENSE = """async (code) => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  const id = crypto.randomUUID();
  const scan = {id, code, to: "", how: "nonsense", happened_at: new Date().toISOString()};
  return store.add({id, url: "/api/v1/scans/", person: "", scan})}"""


@pytest.fixture
def page(
    scan_as: Callable[..., Page], cast: dict[str, Person], rack: Place, pieces: list[Piece]
) -> Page:
    """The Scan page of an attendant, which has seen the server once."""
    return scan_as(cast["attendant"])


def test_a_browser_killed_with_the_server_down_still_has_what_it_took(
    phone: Phone, line: Line, cast: dict[str, Person], rack: Place, pieces: list[Piece]
) -> None:
    page = phone.start_to_kill()
    log_in(page, line, cast["attendant"])
    go_into(page, rack.code, "Rack B")
    line.down()
    for piece in pieces[:4]:
        wedge(page, piece.code)
    expect(waiting(page)).to_have_text("4 waiting to be sent.")
    phone.kill()
    again = phone.start_to_kill()
    again.goto(f"{line.url}/scan/")
    expect(waiting(again)).to_have_text("4 waiting to be sent.")
    line.up()
    log_in(again, line, cast["attendant"])  # a browser may lose its newest cookies with its life
    expect(waiting(again)).to_have_text(NONE)
    assert moved() == [piece.code for piece in pieces[:4]]


def test_a_full_device_says_so_before_it_takes_a_scan(
    phone: Phone, line: Line, cast: dict[str, Person], rack: Place, pieces: list[Piece]
) -> None:
    page = phone.start()
    quota = page.context.new_cdp_session(page)
    quota.send("Storage.overrideQuotaForOrigin", {"origin": line.url, "quotaSize": 3_000_000})
    log_in(page, line, cast["attendant"])
    go_into(page, rack.code, "Rack B")
    assert page.evaluate(FILL) == "QuotaExceededError"
    taken = page.locator('[data-rows] > li[data-status="taken"]')
    page.reload()
    full = page.locator("[data-device-full]")
    expect(full).to_contain_text("no scan is taken until there is")
    expect(full).to_be_visible()
    go_into(page, rack.code, "Rack B")
    wedge(page, pieces[0].code)
    problem = page.locator("[data-answer] .problem[data-code=device_full]")
    expect(problem).to_contain_text("Not taken")
    expect(page.locator("[data-flash-word]")).to_have_text("No")
    assert page.evaluate(ADD) == "QuotaExceededError"
    expect(waiting(page)).to_have_text(NONE)
    assert moved() == []
    quota.send("Storage.overrideQuotaForOrigin", {"origin": line.url})
    wedge(page, pieces[0].code)
    expect(taken).to_have_count(1)
    expect(full).to_be_hidden()


def test_a_refused_scan_comes_back_with_the_reason_until_it_was_read(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    line.down()
    strange = make_code("R", 34**5)
    assert strange is not None
    wedge(page, strange)
    expect(page.locator("[data-flash-word]")).to_have_text("Kept")
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    refused = page.locator("[data-device-refused] > li")
    expect(refused).to_have_count(1)
    expect(refused.locator(".problem[data-code=unknown_code]")).to_contain_text(strange)
    expect(refused).to_contain_text("Check it, or search")
    assert moved() == [pieces[0].code]
    page.reload()
    expect(refused).to_have_count(1)
    refused.get_by_role("button", name="I have read it").click()
    expect(refused).to_have_count(0)
    page.reload()
    expect(waiting(page)).to_have_text(NONE)
    expect(refused).to_have_count(0)


def test_a_scan_that_the_server_cannot_read_stops_no_other_and_is_told(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    line.hold_posts()
    assert page.evaluate(ADD_NONSENSE, pieces[1].code) == 1
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    assert moved() == [pieces[0].code]
    told = page.locator("[data-device-refused] > li")
    expect(told).to_contain_text("nonsense")
    told.get_by_role("button", name="I have read it").click()
    expect(waiting(page)).to_have_text(NONE)
    expect(told).to_have_count(0)


def test_what_waits_is_undone_in_its_turn(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    line.down()
    wedge(page, pieces[0].code)
    first_row(page).get_by_role("button", name="Undo").click()
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    expect(page.locator("[data-flash-word]")).to_have_text("Undone")
    expect(first_row(page)).to_have_attribute("data-status", "undone")
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    pieces[0].refresh_from_db()
    assert pieces[0].place.name == "Rack A"
    assert not RefusedScan.objects.exists()


def test_the_list_of_taken_scans_is_saved_as_a_file(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    wedge(page, pieces[0].code)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    line.down()
    wedge(page, pieces[1].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    page.locator("summary", has_text="This device").click()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the list (CSV)").click()
    text = Path(saved.value.path()).read_text("utf-8-sig")
    rows = list(csv.DictReader(text.splitlines()))
    assert [(row["sequence"], row["code"], row["to"], row["status"]) for row in rows] == [
        ("1", pieces[0].code, rack.code, "taken"),
        ("2", pieces[1].code, rack.code, "waiting"),
    ]


def test_old_numbers_and_labels_are_known_without_the_server(
    scan_as: Callable[..., Page], line: Line, world: World, cast: dict[str, Person], rack: Place,
    pieces: list[Piece],
) -> None:  # fmt: skip
    PieceAlias.objects.create(piece=pieces[2], text="Old 7")
    PieceAlias.objects.create(piece=pieces[3], text="R00000ZZ")  # another system's label
    gone = [code for n in range(6) if (code := make_code("R", 34**4 + n))]
    for old, new in ((gone[0], gone[1]), (gone[1], pieces[0].code)):
        LabelEvent.objects.create(at=world.at, code=old, what="void")
        LabelEvent.objects.create(at=world.at, code=new, what="reissue", replaces=old)
    page = scan_as(cast["attendant"])
    line.down()
    page.reload()
    for typed, piece in (("OLD 7", pieces[2]), ("r00000zz", pieces[3])):
        wedge(page, typed)
        expect(page.locator("[data-answer] .scan-card")).to_contain_text(piece.code)
    go_into(page, rack.code, "Rack B")
    wedge(page, gone[0])
    problem = page.locator(".problem[data-code=void_label]")
    expect(problem).to_contain_text(f"{pieces[0].code} took its place")
    expect(problem).to_be_in_viewport(ratio=1)
    wedge(page, "old 7")
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    assert moved() == [pieces[2].code]


def test_what_is_certainly_wrong_is_not_taken_without_the_server(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    line.down()
    wedge(page, pieces[5].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    expect(page.get_by_text("No connection")).to_be_visible()  # it knows by now that it is cut off
    code = pieces[0].code
    wedge(page, code[:-1] + ("0" if code[-1] != "0" else "1"))
    expect(page.locator(".problem[data-code=bad_check_character]")).to_contain_text("misread")
    wedge(page, "99-Q")
    expect(page.locator(".problem[data-code=unknown_code]")).to_contain_text("99-Q")
    expect(waiting(page)).to_have_text("1 waiting to be sent.")


def test_the_page_suits_everybody_without_the_server(
    scan_as: Callable[..., Page], line: Line, cast: dict[str, Person], rack: Place,
    pieces: list[Piece],
) -> None:  # fmt: skip
    page = scan_as(cast["attendant"], color_scheme="dark", bypass_csp=True)
    line.down()
    page.reload()
    go_into(page, rack.code, "Rack B")
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    expect(page.locator("[data-flash]")).to_be_hidden()
    assert accessibility_problems(page) == []
    assert wider_than_the_screen(page) == 0
    assert small_targets(page) == []
