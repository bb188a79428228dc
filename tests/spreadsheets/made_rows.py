"""Hypothesis strategies for rows of any kind that a reader would accept."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from tooling.spreadsheets.cells import clean
from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.rows import Row

TRICKY = "=+-@'\"\t\n;,#N/A 0123.:ØxX_"


def texts(longest: int) -> st.SearchStrategy[str | None]:
    size = min(longest, 10)
    tricky = st.text(alphabet=st.sampled_from(TRICKY), max_size=size)
    cleaned = (tricky | st.text(max_size=size)).map(clean)
    return cleaned.map(lambda text: text if text.strip() else None)


def codes(longest: int) -> st.SearchStrategy[str]:
    return texts(longest).map(lambda text: " ".join((text or "").split()) or "x")


def whole(field: Field, scale: int, step: int = 1) -> st.SearchStrategy[int]:
    least = -1_000 if field.least is None else field.least
    most = 10**6 if field.most is None else field.most
    first = -(-round(least * scale) // step)
    return st.integers(max(first, -(10**12)), round(most * scale) // step).map(lambda n: n * step)


def decimals(field: Field, places: int) -> st.SearchStrategy[Decimal]:
    least = 0 if field.least is None else field.least
    most = 1_000 if field.most is None else field.most
    return st.decimals(Decimal(str(least)), Decimal(str(most)), places=places)


def measures(field: Field) -> st.SearchStrategy[tuple[int, str]]:
    """(value, unit written): nm with a unit in which they have a finite decimal, or grams."""
    if field.type is FieldType.LENGTH:
        metric = whole(field, 10**6).map(lambda nm: (nm, "mm"))
        return metric | whole(field, 10**6, 127).map(lambda nm: (nm, "in"))
    if field.type is FieldType.STRIP_LENGTH:
        return whole(field, 10**9).map(lambda nm: (nm, "m")) | whole(field, 10**9, 381).map(
            lambda nm: (nm, "ft")
        )
    return whole(field, 10**3).map(lambda grams: (grams, "kg"))


def values(field: Field) -> st.SearchStrategy[Any]:
    plain: dict[FieldType, Any] = {
        FieldType.TEXT: lambda: texts(field.longest),
        FieldType.CODE: lambda: codes(field.longest),
        FieldType.DATE: lambda: st.dates(date(1950, 1, 1), date(2099, 12, 31)),
        FieldType.TIME: lambda: st.times().map(lambda t: t.replace(microsecond=0)),
        FieldType.INTEGER: lambda: whole(field, 1),
        FieldType.NUMBERS: lambda: st.integers(1, 24),
        FieldType.NUMBER: lambda: decimals(field, 3),
        FieldType.RATIO: lambda: decimals(field, 6),
        FieldType.CHOICE: lambda: st.sampled_from(sorted(field.choices)),
        FieldType.YES_NO: st.booleans,
        FieldType.UNIT: lambda: st.sampled_from(["mm", "in"]),
    }
    return plain[field.type]()


@st.composite
def rows_of(draw: st.DrawFn, kind: Kind, most: int = 2) -> list[Row]:
    """Rows with different keys, no contradictions, sizes in order; every field filled or None."""
    made = []
    for number in range(draw(st.integers(1, most))):
        row = draw(_row(kind))
        first = kind.keys[0][0]
        row.values[first] = f"{number} {row.values[first] or ''}".strip()[:20].strip()
        made.append(row)
    return made


@st.composite
def _row(draw: st.DrawFn, kind: Kind) -> Row:
    needed = {name for key in kind.keys for name in key} | {n for g in kind.any_of for n in g}
    row = Row({}, {})
    for field in kind.fields:
        filled = field.required or field.name in needed or draw(st.booleans())
        if filled and field.units:
            row.values[field.name], row.units[field.name] = draw(measures(field))
        else:
            row.values[field.name] = draw(values(field)) if filled else None
    _set_in_order(kind, row)
    for field in kind.fields:
        if (field.required or field.name in needed) and row.values[field.name] is None:
            row.values[field.name] = "x"
    return row


def _set_in_order(kind: Kind, row: Row) -> None:
    """Exchanges sizes, with their units, until none exceeds the one that bounds it."""
    changed = True
    while changed:
        changed = False
        for small, large in kind.ordered:
            one, other = row.values[small], row.values[large]
            if one is not None and other is not None and one > other:
                row.values[small], row.values[large] = other, one
                row.units[small], row.units[large] = row.units[large], row.units[small]
                changed = True
