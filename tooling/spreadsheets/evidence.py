"""What the cells of a table themselves say of how its dates and numbers are written.

Only cells that can be read in one way count. Where they contradict each other nobody has said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

from tooling.spreadsheets.cells import shown
from tooling.spreadsheets.fields import FieldType, Kind
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.picking import NotSplit, Picker
from tooling.spreadsheets.sheets import Sheet

MOST_ROWS = 20_000
_DATE = re.compile(r"(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})(?:\s.*)?")
_BY_COMMA = re.compile(r"[-+−]?(\d{1,3}(\.\d{3})+,\d+|\d+,\d{1,2}|\d+,\d{4,}|0,\d+)\D*")
_BY_POINT = re.compile(r"[-+−]?(\d{1,3}(,\d{3})+\.\d+|\d*\.\d{1,2}|\d*\.\d{4,}|0?\.\d+)\D*")
_NUMBERS = (
    *(FieldType.LENGTH, FieldType.STRIP_LENGTH, FieldType.MASS, FieldType.INTEGER),
    *(FieldType.NUMBER, FieldType.RATIO),
)


@dataclass(frozen=True)
class Evidence:
    """The order of dates and the decimal mark that the cells say, each with a cell as witness."""

    date_order: str | None = None
    date_cell: str = ""
    decimal_mark: str | None = None
    decimal_cell: str = ""


def find_evidence(sheet: Sheet, mapping: Mapping) -> Evidence:
    """Looks at the text cells of the date and number columns that the mapping uses."""
    kind = find_kind(mapping.kind)
    dates, numbers = _texts(sheet, mapping, kind)
    order, date_cell = _only(_date_orders(dates))
    mark, decimal_cell = _only(_decimal_marks(numbers))
    return Evidence(order, date_cell, mark, decimal_cell)


def _texts(sheet: Sheet, mapping: Mapping, kind: Kind) -> tuple[list[str], list[str]]:
    picker = Picker(sheet, mapping)
    types = {name: kind.field(name).type for name in mapping.columns}
    dates: dict[str, None] = {}
    numbers: dict[str, None] = {}
    wanted = [name for name, what in types.items() if what in (FieldType.DATE, *_NUMBERS)]
    for number, cells in islice(sheet.rows(), MOST_ROWS) if wanted else ():
        for name in wanted:
            cell = picker.pick(name, number, cells).cell
            if isinstance(cell, str) and not isinstance(cell, NotSplit):
                into = dates if types[name] is FieldType.DATE else numbers
                into[shown(cell)] = None
    return list(dates), list(numbers)


def _date_orders(texts: Iterable[str]) -> Iterable[tuple[str, str]]:
    for text in texts:
        found = _DATE.fullmatch(text)
        if found and int(found[1]) > 12 >= int(found[2]):
            yield "dmy", text
        elif found and int(found[2]) > 12 >= int(found[1]):
            yield "mdy", text


def _decimal_marks(texts: Iterable[str]) -> Iterable[tuple[str, str]]:
    for text in texts:
        bare = "".join(text.split())
        if _BY_COMMA.fullmatch(bare):
            yield ",", text
        elif _BY_POINT.fullmatch(bare):
            yield ".", text


def _only(said: Iterable[tuple[str, str]]) -> tuple[str | None, str]:
    """What is said, if nothing else is, and the first that said it."""
    first: dict[str, str] = {}
    for what, text in said:
        first.setdefault(what, text)
    return next(iter(first.items())) if len(first) == 1 else (None, "")
