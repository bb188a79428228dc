"""About how many rows a file has decides what is done at once."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from openpyxl import Workbook

from tests.spreadsheets.workbooks import damaged_late
from tooling.spreadsheets.row_counts import about_rows


def workbook(*sheets: int) -> bytes:
    book = Workbook(write_only=True)
    for turn, rows in enumerate(sheets):
        sheet = book.create_sheet(f"S{turn}")
        for number in range(rows):
            sheet.append([number, "row"])
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("data", "rows"),
    [
        (b"", 0),
        (b"Code,Name\nA,Alder\nB,Birch\n", 3),
        (b"Code,Name\rA,Alder\rB,Birch\r", 3),
        ("Code\nA\n".encode("utf-16"), 2),
        (workbook(250), 250),
        (workbook(10, 20), 30),
        (b"PK\x03\x04 and no more", 0),
        (damaged_late(1_000), 0),
    ],
)
def test_lines_and_rows_are_counted_in_memory_and_on_disk(
    data: bytes, rows: int, tmp_path: Path
) -> None:
    path = tmp_path / "sheet"
    path.write_bytes(data)
    assert about_rows(data, most=2_000) == about_rows(path, most=2_000) == rows


def test_a_workbook_is_not_counted_much_beyond_what_matters() -> None:
    assert about_rows(workbook(30, 3_000), most=20) == 30
