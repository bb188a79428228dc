"""Sheets about counts."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.http import HttpResponse
from django.utils import timezone

from tooling.spreadsheets.cells import guard


def sheet_answer(name: str, headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """Rows as CSV; times in the shop's zone."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows([_cell(cell) for cell in row] for row in rows)
    return HttpResponse(
        b"\xef\xbb\xbf" + stream.getvalue().encode(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return f"{timezone.localtime(value):%Y-%m-%d %H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    return guard(value) if isinstance(value, str) else str(value)
