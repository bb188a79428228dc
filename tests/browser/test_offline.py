"""Scanning through whatever happens to the network, the browser, the log-in and the app: each scan
that was shown as kept reaches the ledger exactly once, or comes back with the reason."""

from __future__ import annotations

import csv
import uuid
from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.http import HttpResponse
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.line import Line
from tests.browser.phone import Phone, comes_back, first_row, go_into, log_in, ready, waiting, wedge
from tests.world import World
from tooling.engineering.codes import make_code
from tooling.models import (
    Device,
    LabelEvent,
    Movement,
    Person,
    Piece,
    PieceAlias,
    Place,
    RefusedScan,
)
from tooling.services.badges import issue_badge
from tooling.web.shared import COOKIE

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
ADD_BADGE = """async (to) => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  const id = crypto.randomUUID();
  const scan = {id, code: "0047-11", to, how: "scan", happened_at: new Date().toISOString()};
  return store.add({id, url: "/api/v1/scans/", person: "", into: "Rack B", scan})}"""
ALL_KEPT = """async () => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  return JSON.stringify([await store.every(), {...localStorage}, {...sessionStorage}])}"""
KEPT_THERE = " Kept on this device, to be sent. Into Rack B."
NONE = "Nothing waits to be sent."


@pytest.fixture
def rack(world: World) -> Place:
    return world.place("Rack B")


@pytest.fixture
def pieces(world: World) -> list[Piece]:
    drawing, there = world.drawing("D1"), world.place("Rack A")
    return [world.piece(drawing, there, mark=f"{number}-T") for number in range(1, 7)]


@pytest.fixture
def page(
    scan_as: Callable[..., Page], cast: dict[str, Person], rack: Place, pieces: list[Piece]
) -> Page:
    """The Scan page of an attendant, which has seen the server once."""
    return scan_as(cast["attendant"])


def moved() -> list[str]:
    """What was scanned and counted, in order."""
    scans = Movement.objects.filter(by__isnull=False).order_by("id")
    return [movement.piece.code for movement in scans if movement.piece]


def test_it_opens_takes_and_keeps_without_the_server_and_sends_once(
    phone: Phone, line: Line, cast: dict[str, Person], rack: Place, pieces: list[Piece]
) -> None:
    page = phone.start()
    log_in(page, line, cast["attendant"])
    line.down()
    page.reload()
    expect(page.locator("h1 + .sentence")).to_contain_text("Without the server")
    expect(page.locator("[data-device-known]")).to_contain_text("Knows 6 pieces")
    wedge(page, pieces[0].code)
    expect(page.locator("[data-answer]")).to_contain_text("D1, in Rack A (as of just now)")
    go_into(page, rack.code, "Rack B")
    wedge(page, pieces[0].code)
    expect(page.locator("[data-flash-word]")).to_have_text("Kept")
    expect(page.locator("[data-flash-said]")).to_have_text(f"{pieces[0].code} (1-T) into Rack B")
    wedge(page, "2-t")
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    phone.close()
    again = phone.start()
    again.goto("/scan/")
    expect(waiting(again)).to_have_text("2 waiting to be sent.")
    kept = again.locator('[data-rows] > li[data-status="waiting"]')
    expect(kept).to_contain_text([f"2-t{KEPT_THERE}", f"{pieces[0].code}{KEPT_THERE}"])
    assert moved() == []
    comes_back(again, line)
    expect(waiting(again)).to_have_text(NONE)
    assert moved() == [pieces[0].code, pieces[1].code]
    sequences = Movement.objects.filter(by__isnull=False).values_list("device_sequence", flat=True)
    assert sorted(each for each in sequences if each) == [1, 2]


@pytest.mark.parametrize("when", ["before", "during", "after"])
def test_a_cut_loses_nothing_and_doubles_nothing(
    page: Page, line: Line, rack: Place, pieces: list[Piece], when: str
) -> None:
    go_into(page, rack.code, "Rack B")
    line.cut_next(when)
    for piece in pieces[:3]:
        wedge(page, piece.code)
    expect(page.locator('[data-rows] > li[data-status="taken"]')).to_have_count(3)
    expect(waiting(page)).to_have_text(NONE)
    assert moved() == [piece.code for piece in pieces[:3]]
    assert not RefusedScan.objects.exists()


def test_two_tabs_send_one_at_a_time_and_each_scan_once(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    other = page.context.new_page()
    other.goto("/scan/")
    ready(other)
    line.hold_posts()
    for tab, codes in ((page, pieces[:3]), (other, pieces[3:])):
        tab.bring_to_front()
        go_into(tab, rack.code, "Rack B")
        for piece in codes:
            wedge(tab, piece.code)
            expect(first_row(tab)).to_have_attribute("data-code", piece.code)
    for tab in (page, other):
        expect(waiting(tab)).to_have_text("6 waiting to be sent.")
    line.up()
    for tab in (page, other):
        expect(waiting(tab)).to_have_text(NONE)
    assert moved() == [piece.code for piece in pieces]
    assert line.most_at_once == 1
    heard = [scan for batch in line.posted for scan in batch]
    assert len(heard) == len(set(heard)) == 6


def test_a_log_in_that_ran_out_keeps_all_says_so_and_goes_on_after(
    page: Page, line: Line, rack: Place, pieces: list[Piece], cast: dict[str, Person]
) -> None:
    go_into(page, rack.code, "Rack B")
    Session.objects.all().delete()
    wedge(page, pieces[0].code)
    trouble = page.locator("[data-device-trouble]")
    expect(trouble).to_contain_text("You are logged out")
    expect(trouble).to_be_in_viewport()
    expect(page.get_by_role("link", name="Log in")).to_be_in_viewport(ratio=1)
    assert not [each for each in line.asked if each.startswith("/login/")]  # not behind one's back
    wedge(page, pieces[1].code)
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    page.get_by_role("link", name="Log in").click()
    log_in(page, line, cast["attendant"])
    expect(waiting(page)).to_have_text(NONE)
    assert moved() == [pieces[0].code, pieces[1].code]


def test_a_stale_token_is_asked_for_anew(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    line.spoil_next_token()
    wedge(page, pieces[0].code)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    assert moved() == [pieces[0].code]
    assert len(line.posted) == 2


def test_what_another_person_took_waits_for_them_or_for_a_word(
    page: Page, line: Line, rack: Place, pieces: list[Piece], cast: dict[str, Person]
) -> None:
    go_into(page, rack.code, "Rack B")
    Session.objects.all().delete()
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    log_in(page, line, cast["crew"])
    expect(page.locator("[data-device-trouble]")).to_contain_text("Somebody else took them")
    assert moved() == []
    page.get_by_role("button", name="Send them in my name").click()
    expect(waiting(page)).to_have_text(NONE)
    assert Movement.objects.get(by__isnull=False).by == cast["crew"]


def test_a_badge_says_in_whose_name_scans_are_from_now_on(
    page: Page, line: Line, world: World, rack: Place, pieces: list[Piece], cast: dict[str, Person]
) -> None:
    """On a shared tablet; without the server the badge says so and nothing of it is kept."""
    make_shared(page, line)
    badge = issue_badge(by=cast["supervisor"], at=world.at, person=cast["crew"]).text
    who = page.locator("[data-device-who]")
    expect(who).to_have_text(f"In the name of {cast['attendant'].name}.")
    line.down()
    page.reload()
    wedge(page, badge)
    expect(page.locator(".problem[data-code=no_connection]")).to_contain_text("badge needs the")
    go_into(page, rack.code, "Rack B")
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    expect(who).to_have_text(f"In the name of {cast['attendant'].name}.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    wedge(page, badge)
    expect(who).to_have_text(f"In the name of {cast['crew'].name}.")
    line.down()
    page.reload()
    expect(who).to_have_text(f"In the name of {cast['crew'].name}.")
    go_into(page, rack.code, "Rack B")
    wedge(page, pieces[1].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    taken = Movement.objects.filter(by__isnull=False).order_by("id")
    assert [(row.piece, row.by) for row in taken] == [
        (pieces[0], cast["attendant"]), (pieces[1], cast["crew"]),
    ]  # fmt: skip
    assert not RefusedScan.objects.exists()


def make_shared(page: Page, line: Line) -> None:
    tablet = Device.objects.create(id=uuid.uuid4(), name="Gate", is_shared=True)
    marked = HttpResponse()
    marked.set_signed_cookie(COOKIE, str(tablet.pk), salt=COOKIE)
    cookie = marked.cookies[COOKIE].value
    page.context.add_cookies([{"name": COOKIE, "value": cookie, "url": line.url}])


def test_the_shops_own_badge_is_told_from_a_label_and_none_of_it_is_kept(
    page: Page, line: Line, world: World, rack: Place, pieces: list[Piece], cast: dict[str, Person]
) -> None:
    """Which only the server can tell: with it, without it, before the device knew any label."""
    issue_badge(by=cast["supervisor"], at=world.at, person=cast["crew"], read="0047-11")
    go_into(page, rack.code, "Rack B")
    wedge(page, "0047-11")
    named = page.locator("[data-answer] .problem[data-code=badge_scanned]")
    expect(named).to_contain_text(f"{cast['crew'].name}'s badge")
    line.hold_posts()
    assert page.evaluate(ADD_BADGE, rack.code) == 1
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    comes_back(page, line)
    refused = page.locator("[data-device-refused] > li")
    expect(refused).to_contain_text(f"{cast['crew'].name}'s badge")
    expect(refused).to_contain_text("– into Rack B")
    line.down()
    wedge(page, pieces[1].code)
    expect(page.get_by_text("No connection")).to_be_visible()  # it knows by now that it is cut off
    wedge(page, "0047-11")
    expect(page.locator(".problem[data-code=unknown_code]")).to_be_visible()
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    assert "0047" not in page.evaluate(ALL_KEPT)
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    make_shared(page, line)
    wedge(page, "0047-11")
    who = page.locator("[data-device-who]")
    expect(who).to_have_text(f"In the name of {cast['crew'].name}.")
    assert "0047" not in page.evaluate(ALL_KEPT)
    assert not RefusedScan.objects.exists()
    assert moved() == [pieces[0].code, pieces[1].code]


def test_a_new_version_takes_over_in_mid_queue(
    page: Page, line: Line, rack: Place, pieces: list[Piece]
) -> None:
    go_into(page, rack.code, "Rack B")
    line.hold_posts()
    wedge(page, pieces[0].code)
    expect(waiting(page)).to_have_text("1 waiting to be sent.")
    line.release("0123456789abcdef")
    page.evaluate("async () => (await navigator.serviceWorker.ready).update()")
    newer = page.get_by_role("button", name="Load the newer version")
    expect(newer).to_be_visible()
    wedge(page, pieces[1].code)
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    newer.click()
    expect(waiting(page)).to_have_text("2 waiting to be sent.")
    assert page.evaluate("caches.keys()") == ["rollroom-0123456789abcdef"]
    comes_back(page, line)
    expect(waiting(page)).to_have_text(NONE)
    assert moved() == [pieces[0].code, pieces[1].code]


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
