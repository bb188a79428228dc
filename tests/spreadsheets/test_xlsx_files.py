"""Workbooks: sheets, typed cells, errors and formulas."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import Workbook

from tests.spreadsheets.workbooks import damaged_late, first_sheet, workbook, xlsx_sheet
from tooling.errors import ToolingError
from tooling.spreadsheets.cells import CellError
from tooling.spreadsheets.files import read_grids, read_sheets
from tooling.spreadsheets.sheet_xml import read_marks
from tooling.spreadsheets.sheets import Merge
from tooling.spreadsheets.sources import BLOCK


def saved(book: Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def test_every_visible_sheet_is_read_under_its_name() -> None:
    data = workbook(("Rolls", [["Mark"], ["A"]]), ("Empty", []), ("Spacers", [["No"], ["S"]]))
    assert [sheet.name for sheet in read_sheets(data, name="b.xlsx")] == ["Rolls", "Spacers"]


def test_a_hidden_sheet_is_left_out() -> None:
    book = Workbook()
    first_sheet(book).append(["Mark"])
    hidden = book.create_sheet("Old")
    hidden.append(["Mark"])
    hidden.sheet_state = "hidden"
    assert len(read_sheets(saved(book), name="b.xlsx")) == 1


def test_cells_keep_their_types() -> None:
    moment = datetime(2026, 3, 14)  # noqa: DTZ001
    sheet = xlsx_sheet(["a", "b", "c", "d", "e"], ["text", 60, 63.5, True, moment])
    assert list(sheet.rows()) == [(2, ("text", 60, 63.5, True, moment))]


def test_row_numbers_are_those_of_the_program_also_after_gaps() -> None:
    book = Workbook()
    first_sheet(book)["B3"], first_sheet(book)["C3"] = "Mark", "Bore"
    first_sheet(book)["B7"], first_sheet(book)["C7"] = "A-1", 60
    (sheet,) = read_sheets(saved(book), name="b.xlsx")
    assert sheet.heading_row == 3
    assert sheet.headings == ("Mark", "Bore")
    assert list(sheet.rows()) == [(7, ("A-1", 60))]


def test_an_error_is_an_error_cell() -> None:
    assert xlsx_sheet(["Bore"], ["#REF!"]).sample()[0][1] == (CellError("#REF!"),)


def test_a_formula_gives_the_result_that_was_saved_with_it() -> None:
    data = with_sheet_xml('<c r="A2"><f>30+30</f><v>60</v></c>')
    (sheet,) = read_sheets(data, name="b.xlsx")
    assert sheet.sample() == [(2, (60,))]


def test_a_formula_without_a_saved_result_is_an_error_cell_not_a_blank() -> None:
    (sheet,) = read_sheets(workbook(("S", [["Bore"], ["=30+30"]])), name="b.xlsx")
    assert sheet.sample() == [(2, (CellError("formula without a result"),))]


def test_a_number_shown_with_leading_zeros_is_the_text_with_them() -> None:
    book = Workbook()
    first_sheet(book).append(["Set"])
    first_sheet(book).append([42])
    first_sheet(book)["A2"].number_format = "0000"
    (sheet,) = read_sheets(saved(book), name="b.xlsx")
    assert sheet.sample() == [(2, ("0042",))]


def test_a_wrong_dimension_in_the_file_hides_no_rows() -> None:
    data = with_sheet_xml('<c r="A2"><v>60</v></c>', dimension='<dimension ref="A1"/>')
    (sheet,) = read_sheets(data, name="b.xlsx")
    assert sheet.sample() == [(2, (60,))]


def test_a_row_number_beyond_any_sheet_is_refused_rather_than_counted_to() -> None:
    data = with_sheet_xml("", more='<row r="99999999999"><c r="A9"><v>1</v></c></row>')
    with pytest.raises(ToolingError) as raised:
        read_sheets(data, name="b.xlsx")
    assert raised.value.code == "damaged_file"


def test_merged_cells_and_what_is_hidden_are_read_from_the_sheets_own_xml() -> None:
    book = Workbook()
    sheet = first_sheet(book)
    for row in range(1, 6):
        sheet.append([f"cell {row}", row])
    sheet.merge_cells("A2:B4")
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions["B"].hidden = True
    (grid,) = read_grids(saved(book), name="b.xlsx")
    assert grid.merges == (Merge(2, 4, 0, 1),)
    assert (grid.hidden_rows, grid.hidden_columns) == ({3}, {1})


def test_marks_are_found_across_the_blocks_in_which_a_long_sheet_is_read() -> None:
    row = b'<row r="%d" hidden="1"><c r="A1"><v>1</v></c></row>'
    xml = b"<worksheet><sheetData>" + b"".join(row % n for n in range(1, 40_001))
    marks = read_marks(io.BytesIO(xml + b"</sheetData><mergeCells><mergeCell ref='A1:A9'/>"))
    assert len(xml) > 2 * BLOCK
    assert (len(marks.hidden_rows), marks.has_formulas) == (40_000, False)
    assert marks.merges == (Merge(1, 9, 0, 0),)


def test_a_damaged_part_is_refused() -> None:
    data = with_sheet_xml("<c r='A2'><v>broken")
    with pytest.raises(ToolingError) as raised:
        read_sheets(data, name="b.xlsx")
    assert raised.value.code == "damaged_file"


def test_packed_bytes_that_go_wrong_far_down_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "b.xlsx"
    path.write_bytes(damaged_late(20_000))
    for source in (path, path.read_bytes()):
        with pytest.raises(ToolingError) as raised:
            read_grids(source, name="b.xlsx")
        assert raised.value.code == "damaged_file"


def with_sheet_xml(second_row: str, *, dimension: str = "", more: str = "") -> bytes:
    """A workbook whose sheet is written by hand: heading ``Bore`` and one more row."""
    before = workbook(("S", [["Bore"]]))
    xml = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        f'{dimension}<sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>Bore</t></is></c></row>'
        f'<row r="2">{second_row}</row>{more}</sheetData></worksheet>'
    )
    after = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(before)) as old,
        zipfile.ZipFile(after, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            is_sheet = name == "xl/worksheets/sheet1.xml"
            new.writestr(name, xml if is_sheet else old.read(name))
    return after.getvalue()
