"""One look over a whole sheet: which cells hold anything, and the rows that might be headings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, is_blank
from tooling.spreadsheets.headings import UNIT_OF_WORD, plain
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.sheets import MOST_COLUMNS, Grid, NumberedRow

MOST_ROWS = 250_000
"""So many filled rows one sheet may hold; more are refused."""
FIRST_ROWS = 60
"""Headings of the first table are looked for in so many rows that hold anything."""
_AFTER_A_GAP = 4
_MOST_KEPT = 3_000


@dataclass
class Survey:
    """What a sheet looks like. ``masks[i]`` has a bit for each filled column of ``numbers[i]``."""

    grid: Grid
    numbers: list[int] = field(default_factory=list)
    masks: list[int] = field(default_factory=list)
    kept: dict[int, tuple[Cell, ...]] = field(default_factory=dict)
    """Cells of the rows that might be headings, by row number."""

    @property
    def width(self) -> int:
        return max((mask.bit_length() for mask in self.masks), default=0)

    def cells(self, at: int) -> tuple[Cell, ...] | None:
        """The cells of the row at this index, where they were kept."""
        return self.kept.get(self.numbers[at])


def survey(grid: Grid, *, most_rows: int = MOST_ROWS) -> Survey:
    """Reads the sheet once. Raises ToolingError ``too_many_rows``."""
    seen = Survey(grid)
    since_gap = 0
    for number, cells in grid.source():
        mask = filled(cells)
        if not mask:
            since_gap = 0
            continue
        since_gap += 1
        seen.numbers.append(number)
        seen.masks.append(mask)
        if len(seen.numbers) > most_rows:
            raise _too_many(grid.name, most_rows)
        early = len(seen.numbers) <= FIRST_ROWS
        if len(seen.kept) < _MOST_KEPT and (
            early or since_gap <= _AFTER_A_GAP or _names_columns(cells)
        ):
            seen.kept[number] = cells[:MOST_COLUMNS]
    return seen


def filled(cells: Sequence[Cell]) -> int:
    """A bit for each cell that holds anything."""
    mask = 0
    for at, cell in enumerate(cells):
        if cell is not None and not is_blank(cell):
            mask |= 1 << at
    return mask


def _names_columns(cells: tuple[Cell, ...]) -> bool:
    """A quick look: is any of the first three filled cells a word of the trade for a column?"""
    first = islice((cell for cell in cells if not is_blank(cell)), 3)
    return any(isinstance(cell, str) and is_column_word(cell.strip()) for cell in first)


@lru_cache(maxsize=1)
def _column_words() -> frozenset[str]:
    return frozenset(
        plain(word)
        for kind in KINDS.values()
        for each in kind.fields
        for word in (each.name, each.label, *each.words)
    )


@lru_cache(maxsize=50_000)
def is_column_word(text: str) -> bool:
    """Whether the text is one of the trade's words for a column of some kind of sheet."""
    if len(text) > 60 or text.isdecimal():
        return False
    words = plain(text)
    bare, _space, last = words.rpartition(" ")
    known = _column_words()
    return words in known or (bool(bare) and last in UNIT_OF_WORD and bare in known)


def rows_between(grid: Grid, first: int, last: int) -> Iterator[NumberedRow]:
    """The rows of the sheet with these numbers."""
    for number, cells in grid.source():
        if number > last:
            return
        if number >= first:
            yield number, cells


def _too_many(name: str, most: int) -> ToolingError:
    values: dict[str, Any] = {"name": name, "most": most}
    return ToolingError(
        "too_many_rows",
        _("Sheet “{name}” holds more than {most} rows. Split it into smaller sheets."),
        **values,
    )
