"""A shop's own sheets, in its own words and units, from the upload to the applied import."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.conftest import DESK, PHONE
from tooling.models import DrawingRevision, ImportMapping, Owner, Person, Piece

DRAWINGS = """Zeichnungs-Nr;Ausführung;Loch;Breite;Aussen
W-100-1;Rolle;63,5;41,275;165,1
W-100-2;Rolle;63,5;38,1;171,45
"""
"""German words, semicolons, decimal commas, and no unit anywhere."""

ROLLS = """Tool tag,Etched,Print no,Who owns it,Bore dia act (in)
T-1,A-1-T,P-1,ACORN,2 1/2
T-2,A-1-B,P-1,ACORN,2.5003
T-3,A-2-T,P-9,ACORN,2.5
"""
"""An inch shop's list; the print of its last row is nowhere."""


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Path) -> None:
    settings.FILES_DIR = tmp_path / "files"


def bring(page: Page, folder: Path, **sheets: str) -> None:
    paths = []
    for name, text in sheets.items():
        path = folder / f"{name}.csv"
        path.write_text(text)
        paths.append(path)
    page.set_input_files("#files", paths)
    page.click("text=Look at them")
    page.wait_for_url("**/shop/spreadsheets/*/")


def choose(page: Page, heading: str, field: str) -> None:
    page.get_by_label(f"What {heading} stands for", exact=True).select_option(label=field)


def look_again(page: Page) -> None:
    page.click("text=Look again with this mapping")
    expect(page.locator("#counts")).to_be_visible()


def suits_everybody(page: Page) -> None:
    assert accessibility_problems(page) == []
    assert wider_than_the_screen(page) == 0
    assert small_targets(page) == []


def test_a_sheet_in_other_words_is_matched_by_hand_kept_and_applied(
    open_as: Callable[..., Page], cast: dict[str, Person], tmp_path: Path
) -> None:
    page = open_as(cast["engineer"], "/shop/spreadsheets/", viewport=PHONE, bypass_csp=True)
    bring(page, tmp_path, werkzeuge=DRAWINGS)
    expect(page.locator(".problem[data-code=unclear_sheet]")).to_be_visible()

    page.get_by_label("This sheet holds").select_option(label="Drawings")
    look_again(page)
    choose(page, "Zeichnungs-Nr", "Drawing")
    choose(page, "Loch", "Bore")
    choose(page, "Breite", "Face width")
    choose(page, "Aussen", "Outside diameter")
    page.get_by_label("Kind (needed, no column gives it)").select_option(label="roll")
    look_again(page)
    expect(page.locator(".problem[data-code=unit_missing]")).to_have_count(3)
    suits_everybody(page)

    for heading in ("Loch", "Breite", "Aussen"):
        page.get_by_label(f"Unit of {heading}").select_option(label="mm")
    page.get_by_label("Decimals are written with").select_option(label="a comma")
    page.get_by_label("Keep this mapping for the next time, as").fill("Werkzeuge")
    look_again(page)
    expect(page.locator("#counts")).to_contain_text("2 new, 0 changed, 0 the same")
    assert not DrawingRevision.objects.exists()
    suits_everybody(page)

    page.click("text=Apply all of it")
    expect(page.locator("#counts")).to_contain_text("Applied. Rows: 2 new")
    found = DrawingRevision.objects.get(drawing__number="W-100-1")
    # 63.5 mm = 2.5 in, 41.275 mm = 1 5/8 in, 165.1 mm = 6.5 in
    assert (found.bore_nm, found.face_width_nm) == (63_500_000, 41_275_000)
    assert found.outside_diameter_nm == 165_100_000
    assert ImportMapping.objects.get().name == "Werkzeuge"

    page.goto("/shop/spreadsheets/")
    page.get_by_label("With a kept mapping").select_option(label="Werkzeuge")
    bring(page, tmp_path, neu=DRAWINGS.replace("171,45", "171,0"))
    expect(page.locator("#counts")).to_contain_text("0 new, 1 changed, 1 the same")
    expect(page.locator("#preview")).to_contain_text("Outside diameter: 171.45 mm → 171 mm")


def test_an_inch_shop_mends_the_one_bad_row_and_brings_it_again(
    open_as: Callable[..., Page], cast: dict[str, Person], tmp_path: Path
) -> None:
    page = open_as(cast["engineer"], "/shop/spreadsheets/", viewport=PHONE)
    owners = "Abbr,Company,Ours\nHOME,Birch Lane Forming,yes\nACORN,Acorn Decking,no\n"
    prints = "Print no,Type,Bore dia (in),OD (in)\nP-1,forming roll,2 1/2,7.25\n"
    bring(page, tmp_path, owners=owners, prints=prints, rolls=ROLLS)
    rolls = page.locator("details[data-sheet=rolls]")
    rolls.locator("summary").first.click()
    choose(page, "Etched", "Mark")
    choose(page, "Tool tag", "Old number")
    choose(page, "Who owns it", "Owner")
    choose(page, "Bore dia act (in)", "Bore now")
    look_again(page)
    problem = page.locator(".problem[data-code=unknown_drawing]")
    expect(problem).to_have_count(1)
    expect(problem).to_contain_text("row 4")
    expect(problem).to_contain_text("There is no drawing “P-9”.")
    expect(page.get_by_text("Apply all of it")).to_have_count(0)
    assert not Owner.objects.exists()

    page.click("text=Put away")
    mended = ROLLS.replace("P-9", "P-1")
    bring(page, tmp_path, owners=owners, prints=prints, rolls=mended)
    page.locator("details[data-sheet=rolls] summary").first.click()
    choose(page, "Etched", "Mark")
    choose(page, "Tool tag", "Old number")
    choose(page, "Who owns it", "Owner")
    choose(page, "Bore dia act (in)", "Bore now")
    look_again(page)
    page.click("text=Apply all of it")
    expect(page.locator("#counts")).to_contain_text("Applied. Rows: 6 new")
    page.goto("/shop/spreadsheets/")
    expect(page.get_by_text("applied", exact=True)).to_be_visible()
    expect(page.get_by_text("dropped", exact=True)).to_be_visible()


UGLY = """Walzenbuch;Halle 2;Süd
Druck;Gravur;Geprüft
P-1 rev B;A-1;03/04/2025
;A-2;05/04/2025
P-2 rev A;A-3;03/05/2025
"""
"""A title as wide as the table, one thing in two, blank for as above, dates that read two ways."""


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_an_ugly_sheet_is_read_by_choices_that_show_what_they_do(
    open_as: Callable[..., Page], cast: dict[str, Person], tmp_path: Path, viewport: Any
) -> None:
    page = open_as(cast["engineer"], "/shop/spreadsheets/", viewport=viewport, bypass_csp=True)
    owners = "Abbr,Company,Ours\nHOME,Birch Lane Forming,yes\n"
    prints = "Print no,Rev,Type,Bore mm\nP-1,B,forming roll,60\nP-2,A,forming roll,60\n"
    bring(page, tmp_path, owners=owners, prints=prints, walzen=UGLY)
    table = page.locator("details[data-sheet=walzen]")
    expect(table.locator(".read-table")).to_contain_text("P-1 rev B")
    table.get_by_label("The headings stand in").select_option(
        label="row 2: Druck · Gravur · Geprüft"
    )
    table.get_by_label("This sheet holds").select_option(label="Pieces")
    look_again(page)
    choose(page, "Gravur", "Mark")
    choose(page, "Geprüft", "Measured")
    table.get_by_label("What each cell of Druck holds").select_option(value="{word} rev {word}")
    look_again(page)
    expect(table.locator(".examples")).to_contain_text("P-1 rev B → P-1 | B")
    for part in ("Druck ›1", "Druck ›2"):
        page.get_by_label(f"Blank cells of {part}").select_option(label="mean the same as above")
    expect(page.locator(".problem[data-code=ambiguous_date]").first).to_be_visible()
    suits_everybody(page)

    bar = page.locator(".mapping-bar button")
    order = table.get_by_label("Dates are written")
    order.scroll_into_view_if_needed()
    order.select_option(label="day, month, year")
    expect(bar).to_be_in_viewport()
    look_again(page)
    expect(page.locator("#import-problems")).to_have_count(0)
    table.locator("summary").first.click()
    expect(table.locator(".read-table .above")).to_have_count(2)
    expect(table.locator(".read-table")).to_contain_text("5 April 2025")
    page.click("text=Apply all of it")
    expect(page.locator("#counts")).to_contain_text("Applied. Rows: 6 new")
    pieces = Piece.objects.order_by("mark").select_related("drawing", "revision")
    assert [(p.mark, p.drawing.number, p.revision.revision) for p in pieces] == [
        ("A-1", "P-1", "B"), ("A-2", "P-1", "B"), ("A-3", "P-2", "A"),
    ]  # fmt: skip
