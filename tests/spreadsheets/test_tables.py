"""Tables are found where they stand: under titles, below each other, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from openpyxl import Workbook

from tests.spreadsheets.messy import saved
from tests.spreadsheets.workbooks import csv_sheet, first_sheet, workbook
from tooling.errors import ToolingError
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.sheets import Grid, Region, Sheet, column_index, column_letters
from tooling.spreadsheets.survey import survey

PIECES: list[list[Any]] = [
    ["Mark", "Dwg", "Bore (in)"],
    ["A-1", "D-1", 2.5],
    ["A-2", "D-1", "2 1/2"],
]
STOCK: list[list[Any]] = [["Item", "Loc", "Qty"], ["S-1", "Rack A", 4], ["S-2", "Rack B", 7]]


def tables(*rows: Sequence[Any]) -> list[Sheet]:
    return read_sheets(workbook(("Sheet", rows)), name="b.xlsx")


def told(sheets: list[Sheet]) -> list[tuple[int, tuple[str, ...], list[int]]]:
    return [(s.heading_row, s.headings, [n for n, _cells in s.rows()]) for s in sheets]


@pytest.mark.parametrize(
    "titles",
    [
        [["Tool crib list 2026"]],
        [["Tool crib list 2026"], []],
        [["Birch Lane", None, "printed"], ["page 1 of 3"], [], []],
        [["List", "of rolls", 2026], ["revision", 7]],
    ],
)
def test_headings_are_found_under_titles(titles: list[list[Any]]) -> None:
    (sheet,) = tables(*titles, *PIECES)
    assert sheet.heading_row == len(titles) + 1
    assert sheet.headings == ("Mark", "Dwg", "Bore (in)")
    assert len(list(sheet.rows())) == 2


def test_headings_in_another_language_are_found_over_their_numbers() -> None:
    (sheet,) = tables(["Lagerliste"], [], ["Walze", "Loch", "Breite"], ["W1", 60, 40])
    assert sheet.headings == ("Walze", "Loch", "Breite")


def test_rows_of_nothing_but_text_keep_their_first_row_as_headings() -> None:
    assert csv_sheet("Kürzel;Firma\nTANNE;Tannhof\nEIBE;Eibenhof\n").heading_row == 1


def test_a_table_below_a_gap_is_a_table_of_its_own() -> None:
    found = told(tables(*PIECES, [], ["Spacers"], *STOCK))
    assert found == [
        (1, ("Mark", "Dwg", "Bore (in)"), [2, 3]),
        (6, ("Item", "Loc", "Qty"), [7, 8]),
    ]


def test_lone_titles_over_the_second_table_are_no_rows_of_the_first() -> None:
    found = tables(*PIECES, [], ["Rack A and B"], [], *STOCK)
    assert [sheet.last_row for sheet in found] == [3, None]


def test_rows_below_a_gap_without_headings_belong_to_the_table_above() -> None:
    (sheet,) = tables(*PIECES, [], ["A-3", "D-2", 2.5], [], ["A-4", "D-2", 2.5])
    assert [number for number, _cells in sheet.rows()] == [2, 3, 5, 7]


def test_the_same_headings_again_begin_no_further_table() -> None:
    (sheet,) = tables(*PIECES, [], PIECES[0], ["A-3", "D-2", 2.5])
    assert sheet.heading_row == 1


def test_tables_side_by_side_are_parted_at_their_blank_column() -> None:
    rows = [[*left, None, *right] for left, right in zip(PIECES, STOCK, strict=True)]
    found = told(tables(["Crib"], *rows))
    assert found == [
        (2, ("Mark", "Dwg", "Bore (in)"), [3, 4]),
        (2, ("Item", "Loc", "Qty"), [3, 4]),
    ]


def test_tables_side_by_side_may_begin_and_end_where_they_like() -> None:
    blank: list[Any] = [None, None, None]
    left, right = [*PIECES, blank, blank], [["Spacers", None, None], blank, *STOCK]
    rows = [[*one, None, *other] for one, other in zip(left, right, strict=True)]
    found = told(tables(*rows))
    assert found == [
        (1, ("Mark", "Dwg", "Bore (in)"), [2, 3]),
        (3, ("Item", "Loc", "Qty"), [4, 5]),
    ]


def test_a_blank_column_within_one_table_parts_nothing() -> None:
    rows = [[mark, None, *others] for mark, *others in PIECES]
    (sheet,) = tables(*rows)
    assert sheet.headings == ("Mark", "[B]", "Dwg", "Bore (in)")


def test_two_tables_of_one_kind_side_by_side_are_two() -> None:
    rows = [[*row, None, *row] for row in PIECES]
    assert len(tables(*rows)) == 2


def two_rows_high() -> Workbook:
    book = Workbook()
    sheet = first_sheet(book)
    sheet.append(["Mark", "Top", None, "Bottom", None])
    sheet.append([None, "Bore", "OD", "Bore", "OD"])
    sheet.append(["A", 60, 150, 60, 152])
    sheet.merge_cells("A1:A2")
    sheet.merge_cells("B1:C1")
    sheet.merge_cells("D1:E1")
    return book


def test_headings_over_headings_are_read_from_the_top_down() -> None:
    (sheet,) = read_sheets(saved(two_rows_high()), name="b.xlsx")
    assert sheet.headings == ("Mark", "Top Bore", "Top OD", "Bottom Bore", "Bottom OD")
    assert [number for number, _cells in sheet.rows()] == [3]


def test_a_title_merged_over_the_whole_table_is_no_heading() -> None:
    book = Workbook()
    sheet = first_sheet(book)
    for row in [["Tool crib"], *PIECES]:
        sheet.append(row)
    sheet.merge_cells("A1:C1")
    (found,) = read_sheets(saved(book), name="b.xlsx")
    assert (found.heading_row, found.headings[0]) == (2, "Mark")


def test_a_sheet_with_too_many_rows_is_refused() -> None:
    grid = Grid("Rolls", True, lambda: ((n, ("x",)) for n in range(1, 200)))
    with pytest.raises(ToolingError) as raised:
        survey(grid, most_rows=100)
    assert raised.value.code == "too_many_rows"
    assert "Rolls" in raised.value.message


@pytest.mark.parametrize(
    "where",
    [
        {"heading_row": 0, "heading_last": 0},
        {"heading_row": 4, "heading_last": 3},
        {"heading_row": 1, "heading_last": 9},
        {"heading_row": 1, "heading_last": 1, "first_column": 5, "last_column": 4},
        {"heading_row": 3, "heading_last": 3, "last_row": 2},
        {"heading_row": 1, "heading_last": 1, "first_column": 4_000},
    ],
)
def test_a_table_cannot_stand_where_it_ends_before_it_begins(where: dict[str, int]) -> None:
    with pytest.raises(ToolingError) as raised:
        Region(**where)
    assert raised.value.code == "bad_region"


@pytest.mark.parametrize("index", [0, 25, 26, 701, 702])
def test_letters_name_columns_both_ways(index: int) -> None:
    assert column_index(column_letters(index).lower()) == index
    assert column_index("4") is None
