"""Numbers as people and spreadsheet programs write them."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, shown

_SPACES = re.compile(r"[\s\u00a0\u2009\u202f'’_]")
_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
_GROUPED = {mark: re.compile(rf"[+-]?[1-9]\d{{0,2}}(\{mark}\d{{3}})+") for mark in ",."}
_RATIO = re.compile(r"(.+?)(?:[:/]|\s+to\s+)(.+)")
_STRETCH = re.compile(r"(\d+)(?:\s*(?:-|–|\.\.\.?|to|bis)\s*(\d+))?")
_RATIO_STEP = Decimal("0.000001")
_LONGEST = 40


def not_a_number(value: object) -> ToolingError:
    return ToolingError(
        "not_a_number", _("“{value}” is not a number. Write it in figures."), value=value
    )


def decimal_text(text: str, *, mark: str | None, whole: bool = False) -> str:
    """The number's text with a point as its decimal mark and no separators of thousands.

    ``mark``: the decimal mark of the column (``"."`` or ``","``), None when not known. With None
    a lone comma before exactly three figures reads two ways (``whole``: it parts thousands).
    Raises ToolingError ``ambiguous_number`` with both readings, ``not_a_number``.
    """
    bare = _SPACES.sub("", text).replace("−", "-")
    if mark is None and whole and bare.count(".") == 1 and _GROUPED["."].fullmatch(bare):
        raise _reads_two_ways(text, bare)
    other = {".": ",", ",": "."}
    if mark is None and "," in bare and "." in bare:
        mark = max(",.", key=bare.rfind)
    if mark is None and bare.count(",") == 1:
        mark = "." if whole and _GROUPED[","].fullmatch(bare) else ","
        if not whole and _GROUPED[","].fullmatch(bare) and not bare.lstrip("+-").startswith("0"):
            raise _reads_two_ways(text, bare)
    mark = mark or "."
    whole_part, point, places = bare.partition(mark)
    if other[mark] in places or mark in places:
        raise not_a_number(text)
    if other[mark] in whole_part:
        if not _GROUPED[other[mark]].fullmatch(whole_part):
            raise not_a_number(text)
        whole_part = whole_part.replace(other[mark], "")
    return whole_part + ("." if point else "") + places


def _reads_two_ways(text: str, bare: str) -> ToolingError:
    return ToolingError(
        "ambiguous_number",
        _("“{value}” can be read as {one} or as {other}. Choose the decimal mark of the column."),
        value=text,
        one=bare.replace(",", "."),
        other=bare.replace(",", "").replace(".", ""),
    )


def to_decimal(cell: Cell, *, mark: str | None, whole: bool = False) -> Decimal:
    """The cell as an exact decimal. Raises ToolingError ``not_a_number``, ``ambiguous_number``."""
    if isinstance(cell, (datetime, date, time, timedelta)):
        raise turned_into_a_date(cell)
    if isinstance(cell, bool) or cell is None:
        raise not_a_number(shown(cell))
    if isinstance(cell, (int, float)):
        return _finite(f"{cell:.15g}" if isinstance(cell, float) else str(cell))
    text = shown(cell)
    plain = decimal_text(text, mark=mark, whole=whole)
    if len(plain) > _LONGEST or not _PLAIN.fullmatch(plain):
        raise not_a_number(text)
    return _finite(plain)


def _finite(text: str) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation:
        raise not_a_number(text) from None
    if not number.is_finite():
        raise not_a_number(text)
    return number


def turned_into_a_date(cell: Cell) -> ToolingError:
    return ToolingError(
        "date_not_expected",
        _(
            "The cell holds the date or time {value}. The spreadsheet program has probably turned "
            "something like 1/2 or 1-16 into a date. Format the cell as text and write it again."
        ),
        value=shown(cell),
    )


def to_integer(cell: Cell, *, mark: str | None) -> int:
    """The cell as a whole number. Raises ToolingError ``not_whole`` and those of to_decimal."""
    number = to_decimal(cell, mark=mark, whole=True)
    if number != number.to_integral_value():
        raise ToolingError("not_whole", _("“{value}” is not a whole number."), value=shown(cell))
    return int(number)


def to_ratio(cell: Cell, *, mark: str | None) -> Decimal:
    """``1.05``, ``1.05:1``, ``21/20`` as a decimal with at most six places.

    Raises ToolingError ``not_a_number`` and those of to_decimal.
    """
    match = _RATIO.fullmatch(shown(cell)) if isinstance(cell, str) else None
    if not match:
        return to_decimal(cell, mark=mark).quantize(_RATIO_STEP).normalize() + 0
    above, below = (to_decimal(part.strip(), mark=mark) for part in match.groups())
    if not below:
        raise not_a_number(shown(cell))
    ratio = Fraction(above) / Fraction(below)
    return (Decimal(round(ratio * 1_000_000)) * _RATIO_STEP).normalize() + 0


def to_numbers(cell: Cell, *, most: int = 1_000) -> tuple[int, ...]:
    """``3``, ``1-16``, ``1, 3, 5`` as whole numbers in rising order, each once.

    Raises ToolingError ``not_a_number``.
    """
    if not isinstance(cell, str):
        return (to_integer(cell, mark=None),)
    found: set[int] = set()
    for part in re.split(r"[,;&+]", shown(cell)):
        match = _STRETCH.fullmatch(part.strip())
        if not match:
            raise not_a_number(shown(cell))
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first or last - first >= most:
            raise not_a_number(shown(cell))
        found.update(range(first, last + 1))
    return tuple(sorted(found))
