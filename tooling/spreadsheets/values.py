"""One cell and its field become one value, or a stated problem."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, CellError, shown
from tooling.spreadsheets.dates import to_date, to_time
from tooling.spreadsheets.fields import Field, FieldType
from tooling.spreadsheets.measures import Reading, read_length, read_mass, read_strip_length
from tooling.spreadsheets.numbers import (
    to_decimal,
    to_integer,
    to_numbers,
    to_ratio,
    turned_into_a_date,
)
from tooling.spreadsheets.xlsx_files import UNCOMPUTED

_YES = frozenset(["yes", "y", "true", "t", "1", "x", "✓", "✔", "ja", "j", "oui", "si", "sí"])
_NO = frozenset(["no", "n", "false", "f", "0", "-", "–", "nein", "non"])
_UNITS = {
    **dict.fromkeys(("mm", "millimetre", "millimeter", "millimetres", "metric", "m"), "mm"),
    **dict.fromkeys(("in", "inch", "inches", '"', "in.", "imperial", "i"), "in"),
}
_SCALE = {FieldType.LENGTH: 10**6, FieldType.STRIP_LENGTH: 10**9, FieldType.MASS: 10**3}
_LENGTHS = (FieldType.LENGTH, FieldType.STRIP_LENGTH)
_SHOWN_UNIT = {FieldType.LENGTH: " mm", FieldType.STRIP_LENGTH: " m", FieldType.MASS: " kg"}

_MEASURES: dict[FieldType, Callable[[Field, Cell, Reading], tuple[int, str]]] = {
    FieldType.LENGTH: read_length,
    FieldType.STRIP_LENGTH: read_strip_length,
    FieldType.MASS: read_mass,
}


def read_value(field: Field, cell: Cell, how: Reading) -> tuple[Any, str | None]:
    """(value, unit written) of a cell that is not blank; the unit is None but for measures.

    Raises ToolingError: ``cell_error``, ``formula_not_computed`` and, by type, ``too_long``,
    ``unknown_choice``, ``not_yes_or_no``, ``negative_length`` or ``_value``, ``absurd_length`` or
    ``_value``, and those of the readers.
    """
    if isinstance(cell, CellError):
        raise _cell_error(cell, how.cell)
    if field.type in _MEASURES:
        value, unit = _MEASURES[field.type](field, cell, how)
        _check_range(field, cell, value)
        return value, unit
    value = _PLAIN[field.type](field, cell, how)
    for number in value if isinstance(value, tuple) else (value,):
        if isinstance(number, (int, Decimal)) and not isinstance(number, bool):
            _check_range(field, cell, number)
    return value, None


def _cell_error(cell: CellError, name: str) -> ToolingError:
    if cell.text == UNCOMPUTED:
        return ToolingError(
            "formula_not_computed",
            _(
                "Cell {cell} holds a formula that was never computed. Open the file in a "
                "spreadsheet program, save it, and bring it again; or write the value."
            ),
            cell=name,
        )
    return ToolingError(
        "cell_error",
        _("Cell {cell} holds the error {value}. Mend the formula or write the value.")
        if name
        else _("The cell holds the error {value}. Mend the formula or write the value."),
        cell=name,
        value=cell.text,
    )


def _text(field: Field, cell: Cell, how: Reading) -> str:
    return _not_too_long(field, shown(cell))


def _code(field: Field, cell: Cell, how: Reading) -> str:
    if isinstance(cell, (date, time, timedelta)):
        raise turned_into_a_date(cell)
    text = shown(cell)
    return _not_too_long(field, " ".join(text.split()) if text.strip() else text)


def _not_too_long(field: Field, text: str) -> str:
    if len(text) > field.longest:
        raise ToolingError(
            "too_long",
            _("“{field}” has {length} letters; at most {longest} fit. Shorten it."),
            field=field.label,
            length=len(text),
            longest=field.longest,
        )
    return text


def _fold(text: str) -> str:
    return re.sub(r"[\s_\-]+", " ", text).strip(" .").casefold()


def _choice(field: Field, cell: Cell, how: Reading) -> str:
    asked = _fold(shown(cell))
    for name, words in field.choices.items():
        if asked == _fold(name) or asked in map(_fold, words):
            return name
    raise ToolingError(
        "unknown_choice",
        _("“{value}” is none of: {choices}."),
        value=shown(cell),
        choices=", ".join(name.replace("_", " ") for name in field.choices),
    )


def _yes_no(field: Field, cell: Cell, how: Reading) -> bool:
    asked = shown(cell).strip().casefold()
    if asked in _YES or asked in _NO:
        return asked in _YES
    raise ToolingError("not_yes_or_no", _("“{value}” is neither yes nor no."), value=shown(cell))


def _unit(field: Field, cell: Cell, how: Reading) -> str:
    unit = _UNITS.get(shown(cell).casefold())
    if unit is None:
        raise ToolingError("unknown_choice", _("“{value}” is none of: mm, in."), value=shown(cell))
    return unit


_PLAIN: dict[FieldType, Callable[[Field, Cell, Reading], Any]] = {
    FieldType.TEXT: _text,
    FieldType.CODE: _code,
    FieldType.CHOICE: _choice,
    FieldType.YES_NO: _yes_no,
    FieldType.UNIT: _unit,
    FieldType.DATE: lambda field, cell, how: to_date(cell, order=how.date_order),
    FieldType.TIME: lambda field, cell, how: to_time(cell),
    FieldType.INTEGER: lambda field, cell, how: to_integer(cell, mark=how.decimal_mark),
    FieldType.NUMBERS: lambda field, cell, how: to_numbers(cell),
    FieldType.NUMBER: lambda field, cell, how: to_decimal(cell, mark=how.decimal_mark),
    FieldType.RATIO: lambda field, cell, how: to_ratio(cell, mark=how.decimal_mark),
}


def _check_range(field: Field, cell: Cell, value: int | Decimal) -> None:
    scale = _SCALE.get(field.type, 1)
    if field.least is not None and value < Decimal(str(field.least)) * scale:
        if value < 0:
            raise ToolingError(
                "negative_length" if field.type in _LENGTHS else "negative_value",
                _("“{value}” is below zero; “{field}” cannot be negative."),
                value=shown(cell),
                field=field.label,
            )
        raise _absurd(field, cell)
    if field.most is not None and value > Decimal(str(field.most)) * scale:
        raise _absurd(field, cell)


def _absurd(field: Field, cell: Cell) -> ToolingError:
    unit = _SHOWN_UNIT.get(field.type, "")
    return ToolingError(
        "absurd_length" if field.type in _LENGTHS else "absurd_value",
        _("“{value}” cannot be right for “{field}”: it goes from {least} to {most}{unit}."),
        value=shown(cell),
        field=field.label,
        least=_bound(field.least),
        most=_bound(field.most),
        unit=unit,
    )


def _bound(bound: float | None) -> str:
    return "…" if bound is None else f"{Decimal(str(bound)):f}".removesuffix(".0")
