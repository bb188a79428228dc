"""From an empty shop to a closed kit, as the people of two shops would go, in a real browser.

The sheets are no one's that the program was made with: other headings, other units, decimal
commas in one of them. Nothing is put into the database but by pages.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, TABLET
from tests.browser.trial import HARROW_BEND, TANNWERK, Hands, Trial
from tests.paper.reading import page_texts, pages, read
from tooling.models import Kit, KitPosition, Person, Piece, Place, RefusedScan, StockLine
from tooling.queries.pull_list import pull_list
from tooling.services.rebuild import differences

Open = Callable[..., Page]


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.mark.parametrize("trial", [HARROW_BEND, TANNWERK], ids=["inch", "metric"])
def test_from_an_empty_shop_to_a_complete_kit(
    open_as: Open, cast: dict[str, Person], trial: Trial
) -> None:
    bring_the_sheets(open_as(cast["engineer"], "/today/"), trial)
    labels_for_everything(open_as(cast["attendant"], "/today/", viewport=PHONE), trial)
    number = plan_and_assemble(open_as(cast["engineer"], "/today/"), trial)
    watching = open_as(cast["crew"], "/today/", viewport=TABLET)
    what_the_crew_sees(watching, number, trial)
    fetch_everything(open_as(cast["attendant"], "/today/", viewport=PHONE), watching, number, trial)
    close_it(watching, number)
    assert differences() == []


def bring_the_sheets(page: Page, trial: Trial) -> None:
    """Nothing is saved until the engineer has said what the odd columns mean."""
    expect(page.locator(".sentence")).to_have_text("The shop is empty so far.")
    page.get_by_role("link", name="Bring spreadsheets").click()
    page.locator("#files").set_input_files(trial.files)
    page.get_by_role("button", name="Look at them").click()
    expect(page.locator("#counts")).to_contain_text("from being applied")
    expect(page.get_by_role("button", name="Apply all of it")).to_have_count(0)
    assert not Piece.objects.exists()
    for sheet, label, option in trial.mapping:
        section = page.locator(f'[data-sheet="{sheet}"]')
        if section.get_attribute("open") is None:
            section.locator("summary").first.click()
        section.get_by_label(label, exact=True).select_option(label=option)
    page.get_by_role("button", name="Look again with this mapping").click()
    expect(page.locator("#import-problems")).to_have_count(0)
    page.get_by_role("button", name="Apply all of it").click()
    expect(page.locator("#counts")).to_contain_text("Applied.")
    assert (Piece.objects.count(), StockLine.objects.count()) == (trial.pieces, trial.bins)
    assert differences() == []


def labels_for_everything(page: Page, trial: Trial) -> None:
    """Every label that was never printed comes out, and another program reads it."""
    page.get_by_role("link", name=re.compile("Labels.*never printed")).click()
    expect(page.locator("#never")).to_be_visible()
    assert sheets_of(page, "pieces") == codes_of(Piece)
    assert sheets_of(page, "stock") == codes_of(StockLine)
    assert Place.objects.get(path_name=trial.cart).code in sheets_of(page, "places")
    page.goto("/labels/")
    expect(page.locator("#never option[value=pieces]")).to_have_text("pieces (0)")


def codes_of(rows: type[Piece] | type[StockLine]) -> list[str]:
    return sorted(rows._default_manager.values_list("code", flat=True))


def sheets_of(page: Page, kind: str) -> list[str]:
    page.goto("/labels/")
    page.locator(".choice label", has_text="Never printed").click()
    page.select_option("#never", kind)
    page.select_option("#size", "a4-24")
    with page.expect_response(lambda answer: "/labels/print/" in answer.url) as sent:
        page.get_by_role("button", name="Make the sheets").click()
    fetched = page.request.get(sent.value.headers["location"])
    assert fetched.headers["content-type"] == "application/pdf"
    return sorted(code for sheet in pages(fetched.body()) for code in read(sheet))


def plan_and_assemble(page: Page, trial: Trial) -> str:
    page.get_by_role("link", name="Plan a job").first.click()
    page.get_by_label("Job number").fill("A-1")
    for name, says in (("tool_set", trial.tool_set), ("mill", trial.mill)):
        option = page.locator(f"select[name={name}] option", has_text=trial_word(says)).first
        page.locator(f"select[name={name}]").select_option(option.get_attribute("value"))
    page.get_by_label("Starts").fill("2027-03-04T06:00")
    for name, value in trial.strip.items():
        page.locator(f"[name={name}]").fill(value)
    page.get_by_role("button", name="Plan it").click()
    page.get_by_role("button", name="Open a kit").click()
    page.get_by_role("button", name="Assemble the kit").click()
    expect(page.locator(".kit-sentence")).to_have_text(
        f"0 of {trial.positions} pieces here, {trial.positions} to fetch, "
        f"{trial.positions} not yet seen"
    )
    assert not KitPosition.objects.filter(is_substitute=True).exists()
    page.get_by_role("link", name="Choose the place").click()
    page.locator("#place input[name=place]").fill(trial.cart)
    page.get_by_role("button", name="Gather it there").click()
    expect(page.get_by_role("link", name="Fetch them")).to_be_visible()
    return Kit.objects.get().number


def trial_word(said: str) -> re.Pattern[str]:
    return re.compile(rf"\b{re.escape(said)}\b")


def what_the_crew_sees(page: Page, number: str, trial: Trial) -> None:
    """Is it complete, what is missing, where: one tap from Today; on paper with two."""
    hands = Hands(page)
    hands.tap(page.get_by_role("link", name="See the kit"))
    expect(page.locator(".kit-sentence")).to_contain_text(f"0 of {trial.positions} pieces here")
    expect(states(page, "to_fetch")).to_have_count(trial.positions)
    expect(page.locator("#kit-list ~ form [data-state=to_fetch]").first).to_contain_text(
        re.compile(r"to fetch", re.IGNORECASE)
    )
    assert hands.taps == 1
    page.goto("/today/")
    hands = Hands(page)
    hands.tap(page.get_by_role("link", name="See the kit"))
    hands.tap(page.get_by_role("link", name="Pull list"))
    paper = page.get_by_role("link", name="On paper").get_attribute("href") or ""
    sheet = page.request.get(paper)
    words = " ".join(page_texts(sheet.body()))
    assert number in words
    assert trial.damaged in words
    page.goto(f"/kits/{number}/")


def states(page: Page, state: str) -> Any:
    return page.locator(f'#ribbon g.piece[data-state="{state}"]')


def fetch_everything(phone: Page, watching: Page, number: str, trial: Trial) -> None:
    """Scan field, a wrong piece, a void label, an unreadable label, an undo; then complete."""
    hands = Hands(phone)
    voided = void_a_label(phone, trial.damaged)
    phone.goto("/scan/")
    where_is_it(hands, trial)
    cart = Place.objects.get(path_name=trial.cart)
    hands.enter(cart.code, trial.cart_name)
    rows = list(KitPosition.objects.select_related("piece").order_by("pk"))
    pieces = [row.piece for row in rows if row.piece is not None]
    stops = pull_list(number, at=timezone.now()).stops
    bins = [line.code for stop in stops for line in stop.lines if line.of]

    first = pieces[0]
    hands.put(first.code)
    expect(states(watching, "here")).to_have_count(1)
    phone.locator("[data-rows] > li").first.get_by_role("button", name="Undo").click()
    expect(states(watching, "here")).to_have_count(0)

    stranger = Piece.objects.get(mark=trial.stranger)
    hands.scan(stranger.code)
    refused = phone.locator(".problem[data-code=wrong_position]")
    expect(refused).to_contain_text(stranger.code)
    expect(refused).to_contain_text(trial.stranger)

    hands.scan(voided)
    successor = Piece.objects.get(mark=trial.damaged)
    expect(phone.locator(".problem[data-code=void_label]")).to_contain_text(successor.code)

    lost_label = Piece.objects.get(mark=trial.unreadable)
    hands.scan(lost_label.code[:-1] + ("2" if lost_label.code[-1] != "2" else "3"))
    misread = phone.locator(".problem[data-code=bad_check_character]")
    hands.tap(misread.get_by_role("link", name="Tick it on a list"))
    phone.fill("#find-field", trial.unreadable)
    hands.tap(phone.get_by_role("button", name="Search"))
    hands.tap(phone.get_by_role("button", name="This one").first)
    expect(states(watching, "here")).to_have_count(1)

    for piece in pieces:
        if piece.pk not in (first.pk, lost_label.pk):
            hands.put(piece.code)
    for code in bins:
        hands.scan(code)
        hands.tap(phone.locator("[data-way=take] .hand-takers button").first)
        taken = phone.locator(f'[data-rows] > li[data-code="{code}"][data-status="taken"]')
        expect(taken).to_be_attached()
    hands.scan(first.code)
    expect(states(watching, "here")).to_have_count(trial.positions)
    expect(watching.locator(".kit-sentence")).to_have_text(
        f"{trial.positions} of {trial.positions} pieces here"
    )
    assert Kit.objects.get().state == "staged"
    assert set(RefusedScan.objects.values_list("error_code", flat=True)) == {
        "wrong_position",
        "void_label",
        "bad_check_character",
    }


def void_a_label(page: Page, mark: str) -> str:
    """Found on the wrong roll: void it, and the roll gets a new code."""
    old = Piece.objects.get(mark=mark).code
    page.goto("/labels/")
    page.fill("#void-code", old)
    page.fill("#void-reason", "torn in half")
    page.get_by_role("button", name="Void it, give a new code").click()
    expect(page.locator("#codes")).not_to_have_value("")
    assert Piece.objects.get(mark=mark).code != old
    return old


def where_is_it(hands: Hands, trial: Trial) -> None:
    """Two taps at most, and a scan takes none."""
    piece = Piece.objects.select_related("place").get(mark=trial.stranger)
    hands.scan(piece.code)
    expect(hands.page.locator("[data-answer]")).to_contain_text(piece.place.name)
    assert hands.taps == 0


def close_it(page: Page, number: str) -> None:
    page.get_by_role("link", name="Close the kit").click()
    page.get_by_role("button", name="Close it").click()
    expect(page.locator(".kit-sentence")).to_contain_text(re.compile("closed", re.IGNORECASE))
    page.goto("/kits/?closed=1")
    expect(page.locator(".kit-row")).to_contain_text("A-1")
    assert Kit.objects.get(number=number).state == "closed"
