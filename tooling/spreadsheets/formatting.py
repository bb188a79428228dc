"""Values as cells, written so that reading them gives the same values back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date, time
from decimal import Decimal
from typing import Any

from tooling.engineering.lengths import NM_PER_FT, NM_PER_IN, NM_PER_M, NM_PER_MM
from tooling.spreadsheets.cells import guard
from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.rows import Row

_NM_PER = {"mm": NM_PER_MM, "in": NM_PER_IN, "m": NM_PER_M, "ft": NM_PER_FT}
_DIGITS = re.compile(r"(\d+)")
_SURE_DIGITS = 15

Written = str | int | Decimal | date | None


def heading(field: Field, unit: str | None) -> str:
    """The column's heading, with its unit where it has one: ``Bore (mm)``."""
    return f"{field.label} ({unit})" if unit else field.label


def column_unit(field: Field, kind: Kind, rows: Iterable[Row]) -> str | None:
    """The unit in which most values of the column are written; on a tie the field's first."""
    if field.type is FieldType.MASS:
        return "kg"
    if not field.units:
        return None
    written = [_unit_of(field, kind, row) for row in rows if row.values.get(field.name) is not None]
    return max(field.units, key=written.count)


def _unit_of(field: Field, kind: Kind, row: Row) -> str:
    """The unit in which this value was written: as kept with it, else as its row says."""
    row_unit = row.values.get(kind.unit_field) if kind.unit_field else None
    unit = row.units.get(field.name) or row_unit
    return unit if unit in field.units else field.units[0]


def written(field: Field, kind: Kind, row: Row, unit: str | None) -> Written:
    """The cell of one value in a column of this unit; None for a blank one.

    A measure written in another unit than its column's carries its own, and so does one that
    would be asked about as improbable.
    """
    value = row.values.get(field.name)
    if value is None:
        return None
    if field.type is FieldType.MASS:
        return Decimal(value).scaleb(-3).normalize() + 0
    if field.units and unit:
        return _measure(field, value, _unit_of(field, kind, row), unit)
    return _PLAIN.get(field.type, _guarded)(value)


def _measure(field: Field, nm: int, own: str, column: str) -> Written:
    own = "m" if own == "km" else own
    number = _exactly(nm, own)
    if number is None:
        own = "mm" if own == "in" else "m"
        number = _exactly(nm, own) or Decimal(0)
    if own != column or _would_be_asked(field, nm):
        return guard(f"{number:f} {own}")
    return number


def _exactly(nm: int, unit: str) -> Decimal | None:
    """The nanometres in this unit as a finite decimal; None where there is none.

    127 divides the inch (25 400 000 nm) and 3 · 127 the foot, so not every length has one.
    """
    if nm % {"in": 127, "ft": 381}.get(unit, 1):
        return None
    exact = Decimal(nm) / _NM_PER[unit]
    return exact.normalize() + 0


def _would_be_asked(field: Field, nm: int) -> bool:
    if field.usual is None:
        return False
    least, most = (round(bound * NM_PER_MM) for bound in field.usual)
    return not least <= nm <= most


def _guarded(value: Any) -> str | None:
    return guard(str(value)) or None


def _stretch(value: int | tuple[int, ...]) -> Written:
    """Numbers as written in one cell: a single one as itself, a run of them as ``1-16``."""
    numbers = (value,) if isinstance(value, int) else value
    if len(numbers) == 1:
        return numbers[0]
    if numbers == tuple(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]}-{numbers[-1]}"
    return ", ".join(map(str, numbers))


def _time(value: time) -> str:
    return value.isoformat("seconds" if value.second else "minutes")


_PLAIN: dict[FieldType, Callable[[Any], Written]] = {
    FieldType.DATE: lambda value: value,
    FieldType.TIME: _time,
    FieldType.INTEGER: int,
    FieldType.NUMBERS: _stretch,
    FieldType.NUMBER: lambda value: Decimal(str(value)),
    FieldType.RATIO: lambda value: Decimal(str(value)),
    FieldType.CHOICE: lambda value: str(value).replace("_", " "),
    FieldType.YES_NO: lambda value: "yes" if value else "no",
    FieldType.UNIT: str,
}


def as_text(cell: Written) -> str:
    """The cell as a text file holds it: points as decimal marks, dates as year-month-day."""
    if cell is None:
        return ""
    if isinstance(cell, Decimal):
        return f"{cell:f}"
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def as_number(cell: Written) -> str | int | float | date | None:
    """The cell as a workbook holds it; a number longer than a workbook keeps stays text."""
    if isinstance(cell, Decimal):
        exact = f"{cell:f}"
        digits = exact.replace(".", "").lstrip("-0")
        return float(cell) if len(digits) <= _SURE_DIGITS else exact
    if isinstance(cell, int) and abs(cell) >= 10**_SURE_DIGITS:
        return str(cell)
    return cell


def in_order(kind: Kind, rows: Iterable[Row]) -> list[Row]:
    """The rows by their keys, numbers inside names as numbers; always in the same order."""
    names = list(dict.fromkeys([*(n for key in kind.keys for n in key), *kind.by_name]))
    return sorted(rows, key=lambda row: [_sortable(row.values.get(name)) for name in names])


def _sortable(value: Any) -> tuple[Any, ...]:
    if value is None:
        return (0,)
    if isinstance(value, (int, Decimal)):
        return (1, Decimal(value))
    return (2, natural(str(value)), str(value))


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """What texts are sorted by, numbers in them as numbers: 2B before 10B."""
    parts = _DIGITS.split(text.casefold())
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p)
