"""Rows to files: the same rows give the same bytes, and reading the file gives the same rows."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.formatting import (
    Written,
    as_number,
    as_text,
    column_unit,
    heading,
    in_order,
    written,
)
from tooling.spreadsheets.rows import Row

_FIXED = (1980, 1, 1, 0, 0, 0)
_MODIFIED = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")
_BOLD = Font(bold=True)


def _table(kind: Kind, rows: Iterable[Row]) -> tuple[list[str], list[list[Written]]]:
    """The headings and the cells, every field of the kind, in a fixed order."""
    ordered = in_order(kind, rows)
    units = {field.name: column_unit(field, kind, ordered) for field in kind.fields}
    headings = [heading(field, units[field.name]) for field in kind.fields]
    return headings, [
        [written(field, kind, row, units[field.name]) for field in kind.fields] for row in ordered
    ]


def write_csv(kind: Kind, rows: Iterable[Row]) -> bytes:
    """The rows as a CSV file: UTF-8 with its mark, commas, one heading line.

    Texts that a spreadsheet program would run are kept harmless by an apostrophe that
    ``read_sheets`` takes off again; plain negative numbers need none.
    """
    headings, table = _table(kind, rows)
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows([as_text(cell) for cell in line] for line in table)
    return b"\xef\xbb\xbf" + stream.getvalue().encode()


def write_xlsx(kind: Kind, rows: Iterable[Row]) -> bytes:
    """The rows as an Excel workbook with one sheet; see ``write_workbook``."""
    return write_workbook([(kind, rows)])


def write_workbook(sheets: Sequence[tuple[Kind, Iterable[Row]]]) -> bytes:
    """An Excel workbook with one sheet for each kind; equal rows give equal bytes."""
    workbook = Workbook(write_only=True)
    for kind, rows in sheets:
        headings, table = _table(kind, rows)
        add_sheet(workbook, kind.label, headings, table)
    return fixed_bytes(workbook)


def add_sheet(
    workbook: Workbook, title: str, headings: Sequence[str], table: Iterable[Sequence[Written]]
) -> None:
    """Adds a sheet with bold headings that stay in sight."""
    sheet: Any = workbook.create_sheet(title)
    sheet.freeze_panes = "A2"
    for at, text in enumerate(headings, start=1):
        sheet.column_dimensions[get_column_letter(at)].width = min(60, max(12, len(text) + 2))
    sheet.append([_cell(sheet, text, bold=True) for text in headings])
    for line in table:
        sheet.append([_cell(sheet, as_number(cell)) for cell in line])


def _cell(sheet: Any, value: Any, *, bold: bool = False) -> Any:
    cell = WriteOnlyCell(sheet, value=value)
    if isinstance(value, str):
        cell.data_type = "s"
    elif isinstance(value, date):
        cell.number_format = "yyyy-mm-dd"
    if bold:
        cell.font = _BOLD
    return cell


def fixed_bytes(workbook: Workbook) -> bytes:
    """The workbook's file without the moment of its making."""
    workbook.properties.creator = "rollroom"
    raw = io.BytesIO()
    workbook.save(raw)
    fixed = io.BytesIO()
    with zipfile.ZipFile(raw) as before, zipfile.ZipFile(fixed, "w") as after:
        for name in sorted(before.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            content = before.read(name)
            if name == "docProps/core.xml":
                content = _MODIFIED.sub(rb"\g<1>1980-01-01T00:00:00Z", content)
            member = zipfile.ZipInfo(name, _FIXED)
            member.compress_type = zipfile.ZIP_DEFLATED
            after.writestr(member, content)
    return fixed.getvalue()
