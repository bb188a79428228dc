"""Cells that hold a length, a length of strip or a mass, each with its unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, time, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, parse_length, parse_strip_length
from tooling.engineering.written_numbers import plain, read_written
from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, shown
from tooling.spreadsheets.fields import Field
from tooling.spreadsheets.headings import UNIT_OF_WORD
from tooling.spreadsheets.numbers import (
    decimal_text,
    not_a_number,
    to_decimal,
    turned_into_a_date,
)

_NUMBER_FIRST = re.compile(r"\s*([-+−]?\s*[\d.,\s\u00a0\u202f']+?)\s*([^\d.,\s].*)?")
_GRAMS = {"kg": Decimal(1_000), "g": Decimal(1), "lb": Decimal("453.59237")}
_PER = {"mm": NM_PER_MM, "in": NM_PER_IN}
_SURE_PLACES = {"mm": 6, "in": 4}


@dataclass(frozen=True)
class Reading:
    """How the cells of one column are to be read; ``cell`` is its name in the program: C7."""

    unit: str | None = None
    date_order: str | None = None
    decimal_mark: str | None = None
    accept_improbable: bool = False
    cell: str = ""


def read_length(field: Field, cell: Cell, how: Reading) -> tuple[int, str]:
    """(nanometres, unit written). A unit in the cell wins over the column's.

    Numbers that a program computed (0.333333333333333) are taken to the nearest nanometre.
    Raises ToolingError ``unit_missing`` and those of ``lengths.parse_length``.
    """
    text = _text(cell, how.decimal_mark)
    unit = _unit_for(field, text, how)
    expected = None
    if field.usual and not how.accept_improbable:
        expected = (round(field.usual[0] * NM_PER_MM), round(field.usual[1] * NM_PER_MM))
    nearest = _computed(cell, unit)
    if nearest is not None:
        text = f"{to_decimal(cell, mark='.'):.{_SURE_PLACES[unit]}f}"
    length = parse_length(
        text,
        unit="in" if unit == "in" else "mm",
        field=field.label,
        expected_nm=expected,
        signed=field.least is not None and field.least < 0,
    )
    return (length.nm if nearest is None else nearest), length.unit_written


def _computed(cell: Cell, unit: str) -> int | None:
    """The nearest nm of a number cell that is no whole number of nm; None for all others."""
    if not isinstance(cell, float):
        return None
    exact = to_decimal(cell, mark=".") * _PER[unit]
    if exact == exact.to_integral_value():
        return None
    return int(exact.to_integral_value(ROUND_HALF_EVEN))


def read_strip_length(field: Field, cell: Cell, how: Reading) -> tuple[int, str]:
    """(nanometres, unit written: ``m`` or ``ft``). Raises as read_length does."""
    text = _text(cell, how.decimal_mark)
    unit = _unit_for(field, text, how)
    if unit == "km" and not _unit_word(text):
        text += " km"
    length = parse_strip_length(text, unit="ft" if unit == "ft" else "m", field=field.label)
    return length.nm, length.unit_written


def read_mass(field: Field, cell: Cell, how: Reading) -> tuple[int, str]:
    """(grams to the nearest, unit written). 1 lb = 453.59237 g exactly.

    Raises ToolingError ``unit_missing``, ``not_a_number``, ``ambiguous_number``.
    """
    match = _NUMBER_FIRST.fullmatch(_text(cell, how.decimal_mark))
    if not match:
        raise not_a_number(shown(cell))
    word = (match[2] or "").strip(" .").lower()
    unit = UNIT_OF_WORD.get(word) if word else how.unit
    if unit is None and not word:
        raise _unit_missing(field)
    if unit not in _GRAMS:
        raise not_a_number(shown(cell))
    is_plain = how.decimal_mark is not None or not isinstance(cell, str)
    number = to_decimal(match[1], mark="." if is_plain else None)
    return int((number * _GRAMS[unit]).to_integral_value(ROUND_HALF_EVEN)), unit


def _text(cell: Cell, mark: str | None) -> str:
    """The cell as the text that a person would have typed, with a point as decimal mark."""
    if isinstance(cell, (date, time, timedelta)):
        raise turned_into_a_date(cell)
    if isinstance(cell, bool) or cell is None:
        raise not_a_number(shown(cell))
    if isinstance(cell, (int, float)):
        return f"{to_decimal(cell, mark='.'):f}"
    text = shown(cell)
    match = _NUMBER_FIRST.fullmatch(text) if mark and "/" not in plain(text) else None
    if match:
        return f"{decimal_text(match[1], mark=mark)} {match[2] or ''}".strip()
    return text


def _unit_word(text: str) -> str:
    written = read_written(text)
    return written.unit if written else ""


def _unit_for(field: Field, text: str, how: Reading) -> str:
    if how.unit:
        return how.unit
    written = read_written(text)
    if written is not None and not written.unit:
        raise _unit_missing(field)
    return field.units[0]


def _unit_missing(field: Field) -> ToolingError:
    return ToolingError(
        "unit_missing",
        _(
            "Nothing says in which unit “{field}” is written. Choose the unit of the column: "
            "{units}. This holds for every row below as well."
        ),
        field=field.label,
        units=", ".join(field.units),
    )
