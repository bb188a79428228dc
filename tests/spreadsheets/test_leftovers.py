"""Totals, remarks and headings that come again are told apart from records."""

from __future__ import annotations

import pytest
from openpyxl import Workbook

from tests.spreadsheets.messy import saved
from tests.spreadsheets.workbooks import csv_sheet, first_sheet
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.leftovers import find_leftovers

HEAD = "Item;Loc;Qty;Note\n"


def left(text: str) -> list[tuple[int, str]]:
    return [(each.row, each.why) for each in find_leftovers(csv_sheet(HEAD + text)).rows]


@pytest.mark.parametrize(
    "line",
    ["Total;;12;", "TOTAL:;;12;", ";Sum;12;", "Grand total;;12;", "Summe;;12;", "Σ;;12;",
     "Subtotal rack A;;12;", "Totals;;;"],
)  # fmt: skip
def test_a_row_that_adds_others_up_is_no_record(line: str) -> None:
    expected = [] if line.startswith("Subtotal rack") else [(3, "total")]
    assert left("S-1;A;12;\n" + line + "\n") == expected


@pytest.mark.parametrize("line", ["Totalseal;A;1;", "S-1;Sumatra;1;", "S-2;A;1;total loss"])
def test_a_record_with_such_a_word_in_it_stays_a_record(line: str) -> None:
    assert left("S-1;A;12;\n" + line + "\n") == []


def test_headings_that_come_again_and_their_title_are_no_records() -> None:
    text = "S-1;A;1;\n\nRack B;;;\nItem;Loc;Qty;Note\nS-2;B;2;\n"
    assert left(text) == [(4, "title"), (5, "heading")]


@pytest.mark.parametrize(
    ("end", "found"),
    [
        ("\nCounted by the night shift;;;\n", [(4, "footer")]),
        ("Counted by the night shift;;;\n", [(3, "footer")]),
        ("S-2;;;\n", []),
        ("\nend;;;\n", [(4, "footer")]),
    ],
)
def test_a_remark_under_the_table_is_no_record(end: str, found: list[tuple[int, str]]) -> None:
    assert left("S-1;A;1;\n" + end) == found


def test_lone_cells_between_records_may_name_those_below() -> None:
    sheet = csv_sheet(HEAD + "PASS 1;;;\nS-1;A;1;\nPASS 2;;;\nS-2;A;1;\n")
    found = find_leftovers(sheet)
    assert [(each.row, each.text) for each in found.lone] == [(2, "PASS 1"), (4, "PASS 2")]
    assert found.body == 4


def test_a_row_that_merged_cells_cover_has_more_than_its_own_cell() -> None:
    book = Workbook()
    sheet = first_sheet(book)
    for row in [["Item", "Loc", "Qty"], ["S-1", "A", 1], ["S-2", None, None], ["S-3", "B", 1]]:
        sheet.append(row)
    sheet.merge_cells("B2:B3")
    (found,) = read_sheets(saved(book), name="b.xlsx")
    assert find_leftovers(found).lone == ()
