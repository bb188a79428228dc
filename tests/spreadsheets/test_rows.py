"""A sheet becomes its good rows and exactly its problems, each with its place and reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from openpyxl import Workbook

from tests.spreadsheets.messy import saved
from tests.spreadsheets.workbooks import csv_sheet, first_sheet, read, read_csv_text, xlsx_sheet
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import Problem, read_rows
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.suggest import suggest_mapping

PIECES = "Old no;Mark;Dwg;Bore (in);OD mm;Measured on\n"


def codes(problems: list[Problem]) -> list[str]:
    return [problem.code for problem in problems]


def test_a_row_holds_every_mapped_field_and_none_for_blanks() -> None:
    (row,), problems = read_csv_text(PIECES + "R-1;;D-1;2 1/2;;2026-03-14\n", "pieces")
    assert problems == []
    assert row.values == {
        "old_number": "R-1",
        "mark": None,
        "drawing": "D-1",
        "now_bore": 63_500_000,
        "now_outside_diameter": None,
        "measured_on": date(2026, 3, 14),
    }


def test_a_row_tells_where_it_stood_and_in_which_unit_it_was_written() -> None:
    (row,), _problems = read_csv_text(PIECES + "R-1;;D-1;60 mm;150;\n", "pieces")
    assert (row.sheet, row.row) == ("sheet", 2)
    assert row.units == {"now_bore": "mm", "now_outside_diameter": "mm"}
    assert row.unit(KINDS["pieces"]) == "mm"


def test_a_hundred_rows_of_which_one_is_bad_give_ninety_nine_and_that_problem() -> None:
    lines = [f"R-{n};;D-1;2.5;150;" for n in range(100)]
    lines[41] = "R-41;;D-1;-2.5;150;"
    rows, problems = read_csv_text(PIECES + "\n".join(lines), "pieces")
    assert len(rows) == 99
    (problem,) = problems
    assert problem == Problem("sheet", 43, "Bore (in)", "-2.5", "negative_length", problem.message)
    assert "-2.5" in problem.message


def test_every_problem_of_a_row_is_told() -> None:
    rows, problems = read_csv_text(PIECES + "R-1;;;60,500;absurd;1/2/26\n", "pieces")
    assert rows == []
    assert [(p.column, p.code) for p in problems] == [
        ("Dwg", "missing_value"),
        ("Bore (in)", "ambiguous_length"),
        ("OD mm", "not_a_length"),
        ("Measured on", "ambiguous_date"),
    ]


def test_typed_cells_of_a_workbook_are_problems_where_they_cannot_be_meant() -> None:
    sheet = xlsx_sheet(
        ["Old no", "Dwg", "Bore (mm)"],
        ["R-1", "D-1", 60],
        ["R-2", "D-1", date(2026, 2, 1)],
        ["R-3", "D-1", True],
        ["R-4", "D-1", "#REF!"],
        ["R-5", "D-1", "=30+30"],
    )
    rows, problems = read(sheet, "pieces")
    assert [row.row for row in rows] == [2]
    assert [(p.row, p.code) for p in problems] == [
        (3, "date_not_expected"),
        (4, "not_a_number"),
        (5, "cell_error"),
        (6, "formula_not_computed"),
    ]
    assert "Cell C5 holds the error #REF!" in problems[2].message
    assert "Cell C6 holds a formula" in problems[3].message


def test_a_key_that_comes_twice_is_a_problem_that_names_the_first_row() -> None:
    rows, problems = read_csv_text(PIECES + "R-1;;D-1;;;\nr-1;;D-2;;;\n", "pieces")
    assert [row.row for row in rows] == [2]
    assert codes(problems) == ["duplicate_row"]
    assert "row 2" in problems[0].message


def test_a_mark_may_come_twice_when_the_copy_tells_the_pieces_apart() -> None:
    rows, problems = read_csv_text("Mark;Copy;Dwg\nM;A;D\nM;B;D\nM;B;D\n", "pieces")
    assert len(rows) == 2
    assert codes(problems) == ["duplicate_row"]


def test_a_piece_without_any_name_is_a_problem() -> None:
    _rows, problems = read_csv_text(PIECES + ";;D-1;2.5;;\n", "pieces")
    assert codes(problems) == ["missing_value"]
    assert "Label code, Old number, Mark" in problems[0].message


def test_a_unit_that_nobody_gave_is_told_once_for_its_column() -> None:
    rows, problems = read_csv_text("Old no;Dwg;Bore\nR-1;D;60 mm\nR-2;D;60\nR-3;D;60\n", "pieces")
    assert [row.row for row in rows] == [2]
    assert [(p.row, p.column, p.code) for p in problems] == [(3, "Bore", "unit_missing")]


def test_the_unit_of_the_row_counts_where_the_column_names_none() -> None:
    rows, problems = read_csv_text(
        "Old no;Dwg;Units;Bore;OD (mm)\nR-1;D;in;2.5;150\nR-2;D;mm;60;150\n", "pieces"
    )
    assert problems == []
    assert [row.values["now_bore"] for row in rows] == [63_500_000, 60_000_000]
    assert rows[0].values["now_outside_diameter"] == 150_000_000


def test_a_missing_column_is_one_problem_for_the_whole_sheet() -> None:
    rows, problems = read_csv_text("Mark;Bore (mm)\nA;60\nB;60\n", "pieces")
    assert rows == []
    assert [(p.row, p.column, p.code) for p in problems] == [(1, "Drawing", "missing_column")]


def test_a_sheet_of_pieces_needs_a_column_that_names_them() -> None:
    rows, problems = read_csv_text("Etch'd;Dwg\nA;D-1\nB;D-1\n", "pieces")
    assert rows == []
    assert [(p.row, p.code) for p in problems] == [(1, "missing_column")]
    assert "Label code, Old number, Mark" in problems[0].message


def test_a_mapping_to_a_heading_that_is_not_there_is_told() -> None:
    sheet = csv_sheet("Mark;Dwg\nA;D\n")
    mapping = Mapping("pieces", {"mark": "Mark", "drawing": "Dwg", "owner": "Owner"})
    assert codes(read_rows(sheet, mapping)[1]) == ["unknown_column"]


def test_a_value_given_to_every_row_fills_blanks_too() -> None:
    sheet = csv_sheet("Mark;Dwg;Owner\nA;D;\nB;D;QUIL\n")
    mapping = replace(suggest_mapping(sheet, KINDS["pieces"]), fixed={"owner": "SHOP"})
    rows, _problems = read_rows(sheet, mapping)
    assert [row.values["owner"] for row in rows] == ["SHOP", "QUIL"]


def test_a_bad_value_given_to_every_row_is_one_problem() -> None:
    sheet = csv_sheet("Mark;Dwg\nA;D\nB;D\n")
    mapping = replace(suggest_mapping(sheet, KINDS["pieces"]), fixed={"condition": "shiny"})
    rows, problems = read_rows(sheet, mapping)
    assert rows == []
    assert codes(problems) == ["unknown_choice"]


def test_blank_cells_take_the_value_above_only_when_a_person_chose_so() -> None:
    sheet = csv_sheet("Mark;Dwg\nA;D-1\nB;\n")
    mapping = suggest_mapping(sheet, KINDS["pieces"])
    assert codes(read_rows(sheet, mapping)[1]) == ["missing_value"]
    rows, _problems = read_rows(sheet, replace(mapping, fill_down=frozenset({"drawing"})))
    assert [row.values["drawing"] for row in rows] == ["D-1", "D-1"]


def test_improbable_values_are_asked_about_until_a_person_accepts_them() -> None:
    sheet = csv_sheet("Mark;Dwg;Bore (mm)\nA;D;2.5\n")
    mapping = suggest_mapping(sheet, KINDS["pieces"])
    assert codes(read_rows(sheet, mapping)[1]) == ["improbable_value"]
    rows, _problems = read_rows(sheet, replace(mapping, accept=frozenset({"now_bore"})))
    assert rows[0].values["now_bore"] == 2_500_000


def test_the_order_of_dates_and_the_decimal_mark_are_a_persons_choice() -> None:
    sheet = csv_sheet("Mark;Dwg;Bore (mm);Measured on\nA;D;63,500;3/4/2026\n")
    mapping = replace(suggest_mapping(sheet, KINDS["pieces"]), date_order="mdy", decimal_mark=",")
    (row,), problems = read_rows(sheet, mapping)
    assert problems == []
    assert (row.values["now_bore"], row.values["measured_on"]) == (63_500_000, date(2026, 3, 4))


def test_a_row_wider_than_the_headings_is_not_read_shifted() -> None:
    rows, problems = read_csv_text("Mark,Dwg,Bore (mm)\nA,D,63,5\nB,D,60\n", "pieces")
    assert [row.row for row in rows] == [3]
    assert codes(problems) == ["too_many_cells"]


def test_what_two_rows_say_of_one_mill_must_agree() -> None:
    text = (
        "Mill;Hand;Station;Shaft;Shaft diameter mm;Roll space mm\n"
        "M1;left;1;top;60;300\nM1;;2;top;60;300\nM1;right;3;top;60;300\n"
    )
    rows, problems = read_csv_text(text, "mills")
    assert [row.row for row in rows] == [2, 3]
    assert [(p.row, p.column, p.value, p.code) for p in problems] == [
        (4, "Hand", "right", "contradicts_row")
    ]


def test_one_row_may_stand_for_many_stations_and_both_shafts() -> None:
    text = "Mill;Stations;Shaft dia (in);Roll space (in)\nM1;1-16;2 1/2;12\n"
    rows, problems = read_csv_text(text, "mills")
    assert problems == []
    assert {(row.values["station"], row.values["shaft"]) for row in rows} == {
        (station, shaft) for station in range(1, 17) for shaft in ("top", "bottom")
    }
    assert {row.row for row in rows} == {2}


def test_a_station_written_twice_is_a_problem() -> None:
    text = "Mill;Station;Shaft dia mm;Roll space mm\nM1;1-4;60;300\nM1;4;60;300\n"
    _rows, problems = read_csv_text(text, "mills")
    assert set(codes(problems)) == {"duplicate_row"}
    assert {problem.row for problem in problems} == {3}


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("sets", "Set;Pass;Shaft;Order;Dwg;Thickness least mm;Thickness most mm\n1;1;t;1;D;2;1\n"),
        ("drawings", "Dwg;Kind;Bore mm;Root dia mm\nD;roll;90;80\n"),
        ("drawings", "Dwg;Kind;Drive dia mm;Min drive dia mm\nD;roll;120;130\n"),
        ("pieces", "Mark;Dwg;Root dia mm;OD mm\nA;D;160;150\n"),
    ],
)
def test_a_size_that_cannot_exceed_another_is_a_problem(kind: str, text: str) -> None:
    rows, problems = read_csv_text(text, kind)
    assert rows == []
    assert codes(problems) == ["wrong_order"]


def test_a_problem_is_given_to_programs_under_the_names_of_the_contract() -> None:
    problem = Problem("Rolls", 7, "Bore", "-1", "negative_length", "…")
    assert set(problem.to_dict()) == {"sheet", "row", "column", "value", "code", "message"}


def merged_sheet() -> Sheet:
    """Rows 2 to 4 share one drawing by merged cells; row 5 has none; row 6 its own."""
    book = Workbook()
    sheet = first_sheet(book)
    for row in [["Dwg", "Mark"], ["D-1", "A"], [None, "B"], [None, "C"], [None, "D"], ["D-2", "E"]]:
        sheet.append(row)
    sheet.merge_cells("A2:A4")
    (found,) = read_sheets(saved(book), name="b.xlsx")
    return found


def test_merged_cells_count_for_the_rows_they_cover_and_no_further() -> None:
    mapping = replace(
        suggest_mapping(merged_sheet(), KINDS["pieces"]), spread=frozenset({"drawing"})
    )
    rows, problems = read_rows(merged_sheet(), mapping)
    assert [(row.row, row.values["drawing"]) for row in rows] == [
        (2, "D-1"), (3, "D-1"), (4, "D-1"), (6, "D-2"),
    ]  # fmt: skip
    assert [(p.row, p.code) for p in problems] == [(5, "missing_value")]
    assert [row.above for row in rows] == [
        frozenset(), frozenset({"drawing"}), frozenset({"drawing"}), frozenset(),
    ]  # fmt: skip


def test_blank_cells_below_merged_ones_may_mean_the_same_too() -> None:
    mapping = replace(
        suggest_mapping(merged_sheet(), KINDS["pieces"]), fill_down=frozenset({"drawing"})
    )
    rows, _problems = read_rows(merged_sheet(), mapping)
    assert [row.values["drawing"] for row in rows] == ["D-1"] * 4 + ["D-2"]


def test_records_that_come_twice_get_letters_that_nobody_has() -> None:
    sheet = csv_sheet("Mark;Copy;Dwg\nM;;D\nm;A;D\nM;;D\nN;;D\nM;;E\n")
    mapping = replace(suggest_mapping(sheet, KINDS["pieces"]), copies="letters")
    rows, problems = read_rows(sheet, mapping)
    assert problems == []
    told = [(row.values["mark"], row.values["drawing"], row.values["copy"]) for row in rows]
    assert told == [
        ("M", "D", "B"), ("m", "D", "A"), ("M", "D", "C"), ("N", "D", None), ("M", "E", None),
    ]  # fmt: skip


def test_two_copies_that_bear_one_letter_are_a_problem_all_the_same() -> None:
    sheet = csv_sheet("Mark;Copy;Dwg\nM;A;D\nM;A;D\n")
    mapping = replace(suggest_mapping(sheet, KINDS["pieces"]), copies="letters")
    assert codes(read_rows(sheet, mapping)[1]) == ["duplicate_row"]


def test_stray_spaces_and_marks_of_no_width_change_nothing() -> None:
    text = "Mark;Dwg\n\u00a0A\u20091 \u200b;\ufeffD\u00a0-\u00a01\n \u200b;\u00a0\n"
    (row,), problems = read_csv_text(text, "pieces")
    assert problems == []
    assert (row.values["mark"], row.values["drawing"]) == ("A 1", "D - 1")
