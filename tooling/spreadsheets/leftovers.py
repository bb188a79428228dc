"""Rows under the headings that hold no record: totals, footers, headings that come again.

They are only proposed: a person sees each and may have it read after all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from tooling.spreadsheets.cells import Cell, is_blank, shown
from tooling.spreadsheets.sheets import Sheet

_TOTAL = re.compile(
    r"(?:grand |sub-?\s?|sheet |page |over)?(?:totals?|sums?|summe|gesamt|zwischensumme|totaal)"
    r"(?:\s*[:=].*|\s+(?:of|for|all|in|on|per|rolls?|pieces?|count|value|weight|stock|qty)\b.*)?"
    r"|[∑Σ].{0,20}",
    re.IGNORECASE,
)
_SENTENCE_WORDS = 4
_TOLD = 80


@dataclass(frozen=True)
class Leftover:
    """One such row: which, why (``total footer heading title group``), and what stands in it."""

    row: int
    why: str
    text: str


@dataclass(frozen=True)
class Leftovers:
    """The rows that hold no record; ``lone``: rows of one cell that may name the rows below.

    ``body``: how many rows the table has under its headings, all of these among them.
    """

    rows: tuple[Leftover, ...]
    lone: tuple[Leftover, ...]
    body: int

    @classmethod
    def of_our_own(cls, sheet: Sheet) -> Leftovers:
        """None: every row of an export of ours is a record, whatever its texts look like."""
        return cls((), (), sum(1 for _row in sheet.body()))


def find_leftovers(sheet: Sheet) -> Leftovers:
    """Looks through the whole table once; ``sheet`` is cut without any row skipped."""
    finder = _Finder(sheet)
    for number, cells in sheet.body():
        finder.take(number, cells)
    finder.finish()
    rows = sorted(finder.found, key=lambda each: each.row)
    return Leftovers(tuple(rows), tuple(finder.lone), finder.body)


class _Finder:
    """Remembers the lone cells since the last whole row: at the end they are footers."""

    def __init__(self, sheet: Sheet) -> None:
        self.headings = [heading.casefold() for heading in sheet.headings]
        self.found: list[Leftover] = []
        self.lone: list[Leftover] = []
        self._pending: list[Leftover] = []
        self._behind_a_gap: set[int] = set()
        self._before = max(sheet.heading_row, sheet.heading_last)
        self.body = self._whole_rows = 0
        self._merges = sorted((s for spans in sheet.merges.values() for s in spans), reverse=True)
        self._merged_to = 0

    def take(self, number: int, cells: tuple[Cell, ...]) -> None:
        self.body += 1
        here = [cell for cell in cells if not is_blank(cell)]
        if number > self._before + 1:
            self._behind_a_gap.add(number)
        self._before = number
        if self._is_heading(cells):
            self.found += [Leftover(each.row, "title", each.text) for each in self._pending]
            self._pending = []
            self.found.append(Leftover(number, "heading", told(here)))
        elif _is_total(here):
            self.found.append(Leftover(number, "total", told(here)))
        elif self._is_lone(number, cells, here):
            self._pending.append(Leftover(number, "group", told(here)))
        else:
            self._whole_rows += 1
            self.lone += self._pending
            self._pending = []

    def _is_lone(self, number: int, cells: tuple[Cell, ...], here: list[Cell]) -> bool:
        """One text at the very left; a row that merged cells cover has more than its own."""
        return (
            len(here) == 1
            and len(self.headings) >= 3
            and isinstance(here[0], str)
            and not is_blank(cells[0])
            and not self._is_merged(number)
        )

    def _is_merged(self, number: int) -> bool:
        """Whether cells merged downwards cover the row; rows are asked for in order."""
        while self._merges and self._merges[-1][0] <= number:
            self._merged_to = max(self._merged_to, self._merges.pop()[1])
        return number <= self._merged_to

    def finish(self) -> None:
        """Lone cells at the end: behind a gap, or a whole sentence, they are footers."""
        after_a_gap = False
        for each in self._pending:
            after_a_gap = after_a_gap or each.row in self._behind_a_gap
            is_sentence = len(each.text.split()) >= _SENTENCE_WORDS
            if self._whole_rows and (after_a_gap or is_sentence):
                self.found.append(Leftover(each.row, "footer", each.text))

    def _is_heading(self, cells: tuple[Cell, ...]) -> bool:
        """Whether every filled cell says again what its column is called."""
        matched = 0
        for at, cell in enumerate(cells):
            if is_blank(cell):
                continue
            text = " ".join(shown(cell).split()).casefold() if isinstance(cell, str) else ""
            if not text or at >= len(self.headings) or not self.headings[at].startswith(text):
                return False
            matched += 1
        return matched >= 2


def _is_total(cells: list[Cell]) -> bool:
    """Whether one of the first cells says that the row adds others up."""
    return any(
        isinstance(cell, str) and bool(_TOTAL.fullmatch(" ".join(shown(cell).split())))
        for cell in cells[:3]
    )


def told(cells: Iterable[Cell]) -> str:
    """The filled cells of a row as one short line."""
    texts = (" ".join(shown(cell).split()) for cell in cells if not is_blank(cell))
    return " · ".join(texts)[:_TOLD]
