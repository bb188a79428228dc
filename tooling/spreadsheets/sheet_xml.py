"""What a worksheet's XML says beside its values: formulas, merged cells, hidden rows and columns.

openpyxl's streaming mode knows none of these. The XML is looked through a block at a time, so
the memory stays flat however long the sheet is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO

from openpyxl.utils.cell import range_boundaries

from tooling.spreadsheets.sheets import LAST_ROW, MOST_COLUMNS, Merge
from tooling.spreadsheets.sources import BLOCK, Progress, nobody_asks

MOST_MERGES = 50_000
_TAGS = re.compile(rb"<(?:[\w.-]+:)?(?:(f)(?=[\s/>])|(row|col|mergeCell)\s([^>]*?)/?>)", re.DOTALL)
_ATTRIBUTE = re.compile(rb"([\w:]+)\s*=\s*[\"']([^\"']*)[\"']")


@dataclass(frozen=True)
class SheetMarks:
    """Rows as the program counts them, columns from 0."""

    has_formulas: bool = False
    merges: tuple[Merge, ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()


NOTHING = SheetMarks()


def read_marks(stream: IO[bytes], progress: Progress = nobody_asks) -> SheetMarks:
    """Looks through a worksheet's XML. Raises ValueError where a number in it is none."""
    has_formulas, row = False, 0
    merges: list[Merge] = []
    rows: set[int] = set()
    columns: set[int] = set()
    for tag in _tags(stream, progress):
        if tag[1]:
            has_formulas = True
            continue
        said = {name.decode(): value.decode() for name, value in _ATTRIBUTE.findall(tag[3])}
        is_hidden = said.get("hidden") in ("1", "true")
        if tag[2] == b"row":
            row = int(said.get("r", row + 1))
            if is_hidden and row <= LAST_ROW:
                rows.add(row)
        elif tag[2] == b"col" and is_hidden:
            first, last = int(said["min"]), min(int(said["max"]), MOST_COLUMNS)
            columns.update(range(first - 1, last))
        elif tag[2] == b"mergeCell" and len(merges) < MOST_MERGES:
            merges.append(_merge(said["ref"]))
    return SheetMarks(has_formulas, tuple(merges), frozenset(rows), frozenset(columns))


def _tags(stream: IO[bytes], progress: Progress) -> Iterator[re.Match[bytes]]:
    """The tags that matter. Each block is looked at up to its last whole tag."""
    rest = b""
    while block := stream.read(BLOCK):
        progress()
        text = rest + block
        end = text.rfind(b"<")
        rest = text[end:] if end >= 0 else b""
        yield from _TAGS.finditer(text, 0, max(end, 0))
    yield from _TAGS.finditer(rest)


def _merge(ref: str) -> Merge:
    left, top, right, bottom = range_boundaries(ref)
    if left is None or top is None or right is None or bottom is None:
        raise ValueError(ref)
    return Merge(top, bottom, left - 1, right - 1)
