"""Records that come twice under one name are copies, if a person says so: letters A, B …"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.rows_and_keys import Row, folded, row_key
from tooling.spreadsheets.sheets import column_letters


def give_letters(rows: Iterable[Row], kind: Kind) -> None:
    """Gives each row of a name that comes more than once a letter, in the order of the sheet.

    Rows that bear a letter keep it, and nobody else gets that one.
    """
    alike: dict[tuple[Any, ...], list[Row]] = {}
    for row in rows:
        names = row_key(kind, row)
        if names is not None and kind.letters in names:
            others = tuple(name for name in names if name != kind.letters)
            key = (others, *(folded(row.values.get(name)) for name in others))
            alike.setdefault(key, []).append(row)
    for copies in alike.values():
        if len(copies) > 1:
            _letter(copies, kind.letters)


def _letter(copies: Sequence[Row], name: str) -> None:
    taken = {folded(row.values.get(name)) for row in copies}
    turn = 0
    for row in copies:
        if row.values.get(name) is not None:
            continue
        while column_letters(turn).casefold() in taken:
            turn += 1
        row.values[name] = column_letters(turn)
        turn += 1
