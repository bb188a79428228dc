"""The front door for files: bytes in, sheets out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import PurePath

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.csv_files import read_csv
from tooling.spreadsheets.guards import check_file
from tooling.spreadsheets.sheets import Grid, NumberedRow, Region, Sheet, cut, heading_texts
from tooling.spreadsheets.sources import Progress, Source, nobody_asks
from tooling.spreadsheets.survey import Survey, rows_between, survey
from tooling.spreadsheets.tables import find_tables
from tooling.spreadsheets.templates import NOTES_HEADINGS
from tooling.spreadsheets.xlsx_files import read_xlsx

_TOLD_EVERY = 200


def read_grids(source: Source, *, name: str, progress: Progress = nobody_asks) -> list[Grid]:
    """The sheets of a CSV file or an Excel workbook as they came, also hidden and blank ones.

    ``name`` is used in messages and, without its ending, as the name of a CSV's sheet. A file on
    disk is never held in memory whole. ``progress`` is called while it is read, again and again.
    Raises those of ``check_file`` and ToolingError ``unreadable_text``.
    """
    if check_file(source, name=name) == "xlsx":
        grids = read_xlsx(source, name=name, progress=progress)
    else:
        grids = read_csv(source, name=name, sheet=PurePath(name).stem)
    return grids if progress is nobody_asks else [_telling(grid, progress) for grid in grids]


def _telling(grid: Grid, progress: Progress) -> Grid:
    """The grid; whoever reads its rows tells so every few hundred of them."""

    def rows() -> Iterator[NumberedRow]:
        for turn, row in enumerate(grid.source()):
            if turn % _TOLD_EVERY == 0:
                progress()
            yield row

    return replace(grid, source=rows)


def read_sheets(source: Source, *, name: str) -> list[Sheet]:
    """The tables of the visible sheets; at least one. The notes of our own templates are left out.

    Raises those of ``read_grids`` and ToolingError ``no_rows``, ``too_many_rows``.
    """
    sheets = [
        cut_out(grid, region)
        for grid in read_grids(source, name=name)
        if not grid.is_hidden
        for region in tables_of(survey(grid))
    ]
    if not sheets:
        raise no_rows(name)
    return sheets


def tables_of(seen: Survey) -> list[Region]:
    """Where tables stand in the sheet; nowhere in the notes of our own templates."""
    first = seen.cells(0) if seen.numbers else ()
    return [] if first == NOTES_HEADINGS else find_tables(seen)


def read_headings(grid: Grid, region: Region) -> tuple[str, ...]:
    """The headings that stand in the region's heading rows."""
    rows = list(rows_between(grid, region.heading_row, region.heading_last))
    return heading_texts(rows, grid, region)


def cut_out(grid: Grid, region: Region) -> Sheet:
    """The table of this region under the headings that stand there."""
    return cut(grid, region, read_headings(grid, region))


def no_rows(name: str) -> ToolingError:
    return ToolingError(
        "no_rows", _("“{name}” holds no rows. Bring a sheet with headings."), name=name
    )
