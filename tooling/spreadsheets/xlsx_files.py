"""Excel workbooks, streamed row by row."""

from __future__ import annotations

import warnings
import weakref
import zipfile
from collections.abc import Iterator
from typing import Any

from openpyxl import load_workbook

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, CellError
from tooling.spreadsheets.guards import damaged
from tooling.spreadsheets.sheet_xml import NOTHING, SheetMarks, read_marks
from tooling.spreadsheets.sheets import LAST_ROW, MOST_COLUMNS, Grid, NumberedRow
from tooling.spreadsheets.sources import DAMAGED_ARCHIVE, Progress, Source, nobody_asks, opened

UNCOMPUTED = "formula without a result"


def read_xlsx(source: Source, *, name: str, progress: Progress = nobody_asks) -> list[Grid]:
    """Every sheet of the workbook, also the hidden ones. Raises ToolingError ``damaged_file``."""
    values = _open(source, name=name, data_only=True)
    progress()
    marks = _marks(source, values, name, progress)
    has_formulas = any(each.has_formulas for each in marks.values())
    formulas = _open(source, name=name, data_only=False) if has_formulas else None
    return [
        _grid(
            worksheet,
            formulas[worksheet.title] if formulas else None,
            marks.get(worksheet.title, NOTHING),
            name,
        )
        for worksheet in values.worksheets
    ]


def _grid(worksheet: Any, formulas: Any, marks: SheetMarks, name: str) -> Grid:
    twin = formulas if marks.has_formulas else None
    return Grid(
        name=worksheet.title,
        is_text=False,
        source=_Source(worksheet, twin, name),
        merges=marks.merges,
        hidden_rows=marks.hidden_rows,
        hidden_columns=marks.hidden_columns,
        is_hidden=worksheet.sheet_state != "visible",
    )


def _marks(source: Source, workbook: Any, name: str, progress: Progress) -> dict[str, SheetMarks]:
    """What only the sheets' own XML tells: formulas, merged cells, hidden rows and columns."""
    found = {}
    try:
        with opened(source) as file, zipfile.ZipFile(file) as archive:
            for worksheet in workbook.worksheets:
                with archive.open(worksheet._worksheet_path) as stream:
                    found[worksheet.title] = read_marks(stream, progress)
    except (*DAMAGED_ARCHIVE, KeyError):  # KeyError: a part that is not there
        raise damaged(name) from None
    return found


def _open(source: Source, *, name: str, data_only: bool) -> Any:
    """The workbook; its file is closed when nobody holds it any more."""
    file = opened(source)  # the library judges a path by its ending, and kept files have none
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            workbook = load_workbook(file, read_only=True, data_only=data_only, keep_links=False)
    except Exception:  # a damaged workbook fails in as many ways as it has parts
        file.close()
        raise damaged(name) from None
    weakref.finalize(workbook, file.close)
    return workbook


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
                raise damaged(self._name) from None

    def _rows(self) -> Iterator[NumberedRow]:
        twins = _cells(self._formulas) if self._formulas is not None else None
        for number, row in enumerate(_cells(self._worksheet), start=1):
            if number > LAST_ROW:
                raise damaged(self._name)
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
