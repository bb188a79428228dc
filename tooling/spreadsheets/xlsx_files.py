"""Excel workbooks, streamed row by row."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext_lazy as _
from openpyxl import load_workbook

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, CellError
from tooling.spreadsheets.sheets import MOST_COLUMNS, NumberedRow, Sheet, make_sheet

MOST_ROWS = 1_048_576
UNCOMPUTED = "formula without a result"


def read_xlsx(data: bytes, *, name: str) -> list[Sheet]:
    """The visible sheets that hold anything. Raises ToolingError ``no_spreadsheet``."""
    values = _open(data, name=name, data_only=True)
    formulas = _open(data, name=name, data_only=False) if _has_formulas(data) else None
    sheets = []
    for worksheet in values.worksheets:
        if worksheet.sheet_state != "visible":
            continue
        twin = formulas[worksheet.title] if formulas else None
        made = make_sheet(worksheet.title, _Source(worksheet, twin, name), is_text=False)
        if made:
            sheets.append(made)
    return sheets


def _open(data: bytes, *, name: str, data_only: bool) -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return load_workbook(
                io.BytesIO(data), read_only=True, data_only=data_only, keep_links=False
            )
    except Exception:  # a damaged workbook fails in as many ways as it has parts
        raise _damaged(name) from None


def _damaged(name: str) -> ToolingError:
    return ToolingError(
        "no_spreadsheet",
        _("“{name}” is damaged and cannot be read. Open it, save it again as .xlsx, bring that."),
        name=name,
    )


def _has_formulas(data: bytes) -> bool:
    """Whether any sheet holds a formula; found by a look at the bytes, a block at a time."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for member in archive.namelist():
            if member.startswith("xl/worksheets/") and _holds(archive, member):
                return True
    return False


def _holds(archive: zipfile.ZipFile, member: str) -> bool:
    tail = b""
    with archive.open(member) as stream:
        while block := stream.read(1 << 20):
            if any(tag in tail + block for tag in (b"<f>", b"<f ", b"<f/", b":f>", b":f ")):
                return True
            tail = block[-4:]
    return False


class _Source:
    """Starts a worksheet's rows anew at every call."""

    def __init__(self, worksheet: Any, formulas: Any, name: str) -> None:
        self._worksheet = worksheet
        self._formulas = formulas
        self._name = name

    def __call__(self) -> Iterator[NumberedRow]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                yield from self._rows()
            except (ToolingError, GeneratorExit):
                raise
            except Exception:
                raise _damaged(self._name) from None

    def _rows(self) -> Iterator[NumberedRow]:
        twins = _cells(self._formulas) if self._formulas is not None else None
        for number, row in enumerate(_cells(self._worksheet), start=1):
            if number > MOST_ROWS:
                raise _damaged(self._name)
            twin = next(twins, ()) if twins is not None else ()
            yield number, tuple(_value(cell, twin, at) for at, cell in enumerate(row))


def _cells(worksheet: Any) -> Iterator[tuple[Any, ...]]:
    worksheet.reset_dimensions()
    rows: Iterator[tuple[Any, ...]] = worksheet.iter_rows(max_col=None)
    for row in rows:
        yield tuple(row[:MOST_COLUMNS])


def _value(cell: Any, twin: tuple[Any, ...], at: int) -> Cell:
    value = cell.value
    if cell.data_type == "e":
        return CellError(str(value))
    if value is None and at < len(twin) and twin[at].data_type == "f":
        return CellError(UNCOMPUTED)
    if isinstance(value, int) and not isinstance(value, bool):
        return _with_zeros(value, cell.number_format)
    return value


def _with_zeros(value: int, number_format: str) -> Cell:
    """A number shown as ``0042`` by its format is the text ``0042``."""
    if len(number_format) > 1 and set(number_format) == {"0"}:
        return f"{value:0{len(number_format)}d}"
    return value
