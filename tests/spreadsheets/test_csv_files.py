"""Text files are read whatever delimiter, line ends and letters they were saved with."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spreadsheets.workbooks import csv_sheet
from tooling.errors import ToolingError
from tooling.spreadsheets.cells import CellError
from tooling.spreadsheets.files import read_sheets


def only(data: bytes) -> list[tuple[int, tuple[object, ...]]]:
    (sheet,) = read_sheets(data, name="rolls.csv")
    return [(number, cells) for number, cells in sheet.rows()]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_found(delimiter: str) -> None:
    text = f"Mark{delimiter}Bore\nA-1{delimiter}60\nA-2{delimiter}60\n"
    assert csv_sheet(text).headings == ("Mark", "Bore")


def test_decimal_commas_do_not_part_columns_of_a_semicolon_file() -> None:
    sheet = csv_sheet("Mark;Bore;Width\nA-1;63,5;25,4\nA-2;63,5;12,7\n")
    assert next(cells for _row, cells in sheet.rows()) == ("A-1", "63,5", "25,4")


def test_a_line_that_names_the_delimiter_is_obeyed_and_skipped() -> None:
    sheet = csv_sheet("sep=;\r\nMark;Bore\r\nA-1;60\r\n")
    assert sheet.headings == ("Mark", "Bore")
    assert [row for row, _cells in sheet.rows()] == [3]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_letters_beyond_ascii_are_read_in_the_usual_encodings(encoding: str) -> None:
    text = "Mark;Bezeichnung\nA-1;Walze Ø 60 – außen für Rücken\nA-2;Größe geprüft\n"
    rows = only(text.encode(encoding))
    assert rows[0][1] == ("A-1", "Walze Ø 60 – außen für Rücken")


def test_the_mark_at_the_start_is_no_part_of_the_first_heading() -> None:
    (sheet,) = read_sheets(b"\xef\xbb\xbfMark,Bore\nA,1\n", name="rolls.csv")
    assert sheet.headings[0] == "Mark"


def test_letters_of_no_encoding_are_refused() -> None:
    with pytest.raises(ToolingError) as raised:
        read_sheets(b"\xff\xfeM", name="rolls.csv")
    assert raised.value.code == "unreadable_text"


def test_blank_lines_are_skipped_but_counted() -> None:
    rows = only(b"\n\nMark,Bore\n\nA-1,60\n,,\nA-2,60\n")
    assert [number for number, _cells in rows] == [5, 7]


def test_a_line_end_inside_quotation_marks_is_one_row() -> None:
    rows = only(b'Mark,Note\nA-1,"two\nlines"\nA-2,one\n')
    assert [number for number, _cells in rows] == [2, 3]


def test_an_error_text_is_an_error_cell() -> None:
    assert only(b"Mark,Bore\nA-1,#REF!\n")[0][1][1] == CellError("#REF!")


def test_repeated_and_blank_headings_get_the_letters_of_their_columns() -> None:
    sheet = csv_sheet("Mark,OD,,OD\nA,1,2,3\n")
    assert sheet.headings == ("Mark", "OD", "[C]", "OD [D]")


def test_the_rows_can_be_read_again() -> None:
    sheet = csv_sheet("Mark,Bore\nA,1\nB,2\n")
    assert list(sheet.rows()) == list(sheet.rows())


def test_a_cell_beyond_any_size_is_refused_with_its_line() -> None:
    with pytest.raises(ToolingError) as raised:
        csv_sheet("Mark,Bore\nA,1\n" + 'B,"' + "x" * 200_000 + "\n")
    assert raised.value.code == "unreadable_row"


@pytest.mark.parametrize(
    ("encoding", "text"),
    [
        ("cp1252", "Mark;Bore\nA;Ø60 ±0.05\n"),
        ("cp1252", "Bin;Belongs to\nRegal Süd;Halle 2\n"),
        ("cp1252", "Gravur;Öffnung ½ in\nBÖRDEL groß;à côté – Fläche 3 mm²\n"),
        ("cp850", "Gravur;Lage\nRolle für Kanal;hinter dem Regal, Südseite\n"),
        ("cp1250", "Znak;Otwór\nA;Rolka górna żółta, średnica, źródło gięcia\n"),
        ("cp1251", "Марка;Отверстие\nА;Ролик верхний, диаметр шестьдесят\n"),
    ],
)
def test_old_encodings_are_told_apart_by_their_text(encoding: str, text: str) -> None:
    heading, row = text.splitlines()
    (sheet,) = read_sheets(text.encode(encoding), name="rolls.csv")
    assert list(sheet.headings) == heading.split(";")
    assert [cells for _row, cells in sheet.rows()] == [tuple(row.split(";"))]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_a_file_on_disk_reads_as_its_bytes_do(tmp_path: Path, encoding: str) -> None:
    data = "sep=;\r\nGravur;Öffnung\r\nA-1;Ø 60\r\n".encode(encoding)
    path = tmp_path / "rolls.csv"
    path.write_bytes(data)
    (sheet,) = read_sheets(path, name=path.name)
    assert [cells for _row, cells in sheet.rows()] == [cells for _n, cells in only(data)]


def test_a_wrong_byte_far_below_is_refused_where_it_comes(tmp_path: Path) -> None:
    path = tmp_path / "rolls.csv"
    path.write_bytes("Mark;Größe\n".encode("cp1252") + b"A;note\n" * 200_000 + b"B;\x81\n")
    with pytest.raises(ToolingError) as raised:
        read_sheets(path, name=path.name)
    assert raised.value.code == "unreadable_text"
