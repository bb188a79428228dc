"""Dates and times as people and spreadsheet programs write them."""

from __future__ import annotations

import re
from datetime import date, datetime, time

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, shown

ORDERS = ("dmy", "mdy", "ymd")
EARLIEST, LATEST = date(1950, 1, 1), date(2099, 12, 31)
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ][\d:.]+Z?)?")
_RUN = re.compile(r"(\d{4})(\d{2})(\d{2})")
_THREE = re.compile(r"(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})(?:\s+\d{1,2}:\d{2}(?::\d{2})?)?")
_NAMED = re.compile(r"(\d{1,2})[-. ]*([a-z]{3,9})\.?[-, ]*(\d{4}|\d{2})", re.IGNORECASE)
_NAMED_FIRST = re.compile(r"([a-z]{3,9})\.?[- ]*(\d{1,2})(?:st|nd|rd|th)?,?[- ]+(\d{4})", re.I)
_TIME = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::(\d{2}))?\s*(am|pm|a\.m\.|p\.m\.)?", re.I)


def to_date(cell: Cell, *, order: str | None) -> date:
    """The cell as a date; ``order`` is ``dmy``, ``mdy``, ``ymd`` or None when nobody has said.

    Raises ToolingError ``ambiguous_date`` with both readings, ``other_date_order``,
    ``not_a_date``, ``absurd_value``.
    """
    if isinstance(cell, datetime):
        return _in_range(cell.date(), cell)
    if isinstance(cell, date):
        return _in_range(cell, cell)
    if isinstance(cell, int) and not isinstance(cell, bool):
        cell = str(cell)
    if not isinstance(cell, str):
        raise _not_a_date(cell)
    return _in_range(_read(shown(cell), order), cell)


def _read(text: str, order: str | None) -> date:
    if match := _ISO.fullmatch(text) or _RUN.fullmatch(text):
        return _make(match[1], match[2], match[3], text)
    if match := _NAMED.fullmatch(text):
        return _make(match[3], _month(match[2], text), match[1], text)
    if match := _NAMED_FIRST.fullmatch(text):
        return _make(match[3], _month(match[1], text), match[2], text)
    if order == "ymd" and (match := re.fullmatch(r"(\d{2})[-/.](\d{1,2})[-/.](\d{1,2})", text)):
        return _make(match[1], match[2], match[3], text)
    if match := _THREE.fullmatch(text):
        return _read_three(match[1], match[2], match[3], order, text)
    raise _not_a_date(text)


def _read_three(first: str, second: str, year: str, order: str | None, text: str) -> date:
    if order == "mdy" or (order != "dmy" and int(second) > 12):
        return _in_order(year, first, second, text, order)
    if order == "dmy" or int(first) > 12 or int(first) == int(second):
        return _in_order(year, second, first, text, order)
    raise ToolingError(
        "ambiguous_date",
        _("“{value}” can be read as {one} or as {other}. Choose the order of the dates."),
        value=text,
        one=_make(year, second, first, text).isoformat(),
        other=_make(year, first, second, text).isoformat(),
    )


def _in_order(year: str, month: str, day: str, text: str, order: str | None) -> date:
    """The date; one that only the other order could read says so."""
    if order and int(month) > 12 and int(day) <= 12:
        raise ToolingError(
            "other_date_order",
            _("“{value}” has no month {month}: the dates of this sheet are to be read with the "
              "{first} first. Write it as year-month-day, or choose the other order."),
            value=text, month=month, first=_("day") if order == "dmy" else _("month"),
        )  # fmt: skip
    return _make(year, month, day, text)


def _month(name: str, text: str) -> str:
    if name[:3].lower() not in _MONTHS:
        raise _not_a_date(text)
    return str(_MONTHS.index(name[:3].lower()) + 1)


def _make(year: str, month: str, day: str, text: str) -> date:
    full = int(year) if len(year) == 4 else int(year) + (1900 if int(year) >= 70 else 2000)
    try:
        return date(full, int(month), int(day))
    except ValueError:
        raise _not_a_date(text) from None


def _in_range(found: date, cell: Cell) -> date:
    if not EARLIEST <= found <= LATEST:
        raise ToolingError(
            "absurd_value",
            _("“{value}” is no likely date: it lies before 1950 or after 2099."),
            value=shown(cell),
        )
    return found


def _not_a_date(cell: Cell) -> ToolingError:
    return ToolingError(
        "not_a_date",
        _("“{value}” is not a date. Write it as year-month-day, such as 2026-03-14."),
        value=shown(cell),
    )


def to_time(cell: Cell) -> time:
    """The cell as a time of day. Raises ToolingError ``not_a_time``."""
    if isinstance(cell, datetime):
        return cell.time().replace(microsecond=0)
    if isinstance(cell, time):
        return cell.replace(microsecond=0)
    match = _TIME.fullmatch(shown(cell)) if isinstance(cell, str) else None
    if match and (match[2] or match[4]):
        return _time(match, cell)
    raise _not_a_time(cell)


def _time(match: re.Match[str], cell: Cell) -> time:
    hour, half = int(match[1]), (match[4] or "").lower()[:1]
    if half and not 1 <= hour <= 12:
        raise _not_a_time(cell)
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        return time(hour, int(match[2] or 0), int(match[3] or 0))
    except ValueError:
        raise _not_a_time(cell) from None


def _not_a_time(cell: Cell) -> ToolingError:
    return ToolingError(
        "not_a_time",
        _("“{value}” is not a time of day. Write it as hours:minutes, such as 06:30."),
        value=shown(cell),
    )
