"""Small files for the tests, made with openpyxl and plain text rather than with our own writer."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook

from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.rows import Problem, Row, read_rows
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.suggest import suggest_mapping


def first_sheet(book: Workbook) -> Any:
    """The sheet in front; typed loosely, since openpyxl's stubs allow it to be a chart."""
    return book.active


def workbook(*sheets: tuple[str, Sequence[Sequence[Any]]]) -> bytes:
    book = Workbook()
    book.remove(first_sheet(book))
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def damaged_late(rows: int) -> bytes:
    """A workbook of one long sheet whose packed bytes go wrong after most of its rows."""
    whole, stream = zipfile.ZipFile(io.BytesIO(workbook(("S", [["Mark"]] * rows)))), io.BytesIO()
    with whole, zipfile.ZipFile(stream, "w") as made:
        for name in whole.namelist():
            content = whole.read(name)
            if not name.startswith("xl/worksheets/"):
                made.writestr(name, content)
                continue
            packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
            packed = packer.compress(content[:-100]) + packer.flush(zlib.Z_FULL_FLUSH)
            made.writestr(name, packed + b"\x07")  # begins a block of a kind that there is not
            info = made.getinfo(name)
            info.compress_type, info.file_size = zipfile.ZIP_DEFLATED, len(content)
    return stream.getvalue()


def csv_sheet(text: str, *, name: str = "sheet.csv") -> Sheet:
    (sheet,) = read_sheets(text.encode(), name=name)
    return sheet


def xlsx_sheet(*rows: Sequence[Any]) -> Sheet:
    (sheet,) = read_sheets(workbook(("Sheet", rows)), name="book.xlsx")
    return sheet


def read(sheet: Sheet, kind: str) -> tuple[list[Row], list[Problem]]:
    return read_rows(sheet, suggest_mapping(sheet, find_kind(kind)))


def read_csv_text(text: str, kind: str) -> tuple[list[Row], list[Problem]]:
    return read(csv_sheet(text), kind)
