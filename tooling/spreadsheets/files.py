"""The front door for files: bytes in, sheets out."""

from __future__ import annotations

from pathlib import PurePath

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.csv_files import read_csv
from tooling.spreadsheets.guards import check_file
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.templates import NOTES_HEADINGS
from tooling.spreadsheets.xlsx_files import read_xlsx


def read_sheets(data: bytes, *, name: str) -> list[Sheet]:
    """The sheets of a CSV file or an Excel workbook; at least one.

    ``name`` is used in messages and, without its ending, as the name of a CSV's sheet.
    The notes of our own templates are left out.
    Raises ToolingError ``no_spreadsheet``, ``file_too_large``, ``unreadable_text``.
    """
    if check_file(data, name=name) == "xlsx":
        sheets = read_xlsx(data, name=name)
    else:
        sheets = read_csv(data, name=name, sheet=PurePath(name).stem)
    sheets = [sheet for sheet in sheets if sheet.headings != NOTES_HEADINGS]
    if not sheets:
        raise ToolingError(
            "no_rows", _("“{name}” holds no rows. Bring a sheet with headings."), name=name
        )
    return sheets
