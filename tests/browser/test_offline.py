"""Scanning through whatever happens to the network, the browser, the log-in and the app: each scan
that was shown as kept reaches the ledger exactly once, or comes back with the reason."""

from __future__ import annotations

import uuid
from collections.abc import Callable

import pytest
from django.contrib.sessions.models import Session
from django.http import HttpResponse
from playwright.sync_api import Page, expect

from tests.browser.line import Line
from tests.browser.phone import (
    NONE,
    Phone,
    comes_back,
    first_row,
    go_into,
    log_in,
    moved,
    ready,
    waiting,
    wedge,
)
from tests.world import World
from tooling.models import (
    Device,
    Movement,
    Person,
    Piece,
    Place,
    RefusedScan,
)
from tooling.services.badges import issue_badge
from tooling.web.shared import COOKIE

ADD_BADGE = """async (to) => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  const id = crypto.randomUUID();
  const scan = {id, code: "0047-11", to, how: "scan", happened_at: new Date().toISOString()};
  return store.add({id, url: "/api/v1/scans/", person: "", into: "Rack B", scan})}"""
ALL_KEPT = """async () => {
  const store = await (await import("/static/rollroom/scan-store.js")).theStore();
  return JSON.stringify([await store.every(), {...localStorage}, {...sessionStorage}])}"""
KEPT_THERE = " Kept on this device, to be sent. Into Rack B."


@pytest.fixture
def page(
    scan_as: Callable[..., Page], cast: dict[str, Person], rack: Place, pieces: list[Piece]
) -> Page:
    """The Scan page of an attendant, which has seen the server once."""
    return scan_as(cast["attendant"])


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
