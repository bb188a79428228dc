"""Records that come twice under one name are copies, if a person says so: letters A, B …

The rows are gone through twice, so that a long sheet need not lie in memory: first only counted.
"""

from __future__ import annotations

from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.rows_and_keys import Row, folded, key_hash, row_key
from tooling.spreadsheets.sheets import column_letters


class Letters:
    """``count`` every row, then ``give`` each a letter in the order of the sheet.

    Rows that bear a letter keep it, and nobody else of their name gets that one.
    """

    def __init__(self, kind: Kind) -> None:
        self._kind = kind
        self._rows: dict[int, int] = {}
        self._taken: dict[int, set[str]] = {}
        self._turn: dict[int, int] = {}

    def count(self, row: Row) -> None:
        key = self._key(row)
        if key is None:
            return
        self._rows[key] = self._rows.get(key, 0) + 1
        letter = row.values.get(self._kind.letters)
        if letter is not None:
            self._taken.setdefault(key, set()).add(folded(letter))

    def give(self, row: Row) -> None:
        """Puts the letter into the row's values where its name comes more than once."""
        key = self._key(row)
        name = self._kind.letters
        if key is None or self._rows.get(key, 0) < 2 or row.values.get(name) is not None:
            return
        taken, turn = self._taken.get(key, ()), self._turn.get(key, 0)
        while column_letters(turn).casefold() in taken:
            turn += 1
        row.values[name] = column_letters(turn)
        self._turn[key] = turn + 1

    def _key(self, row: Row) -> int | None:
        """What names the row beside its letter."""
        names = row_key(self._kind, row)
        if names is None or self._kind.letters not in names:
            return None
        others = tuple(name for name in names if name != self._kind.letters)
        return key_hash(others, row)
