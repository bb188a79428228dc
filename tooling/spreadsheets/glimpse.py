"""What a person is shown of a table: its first rows, odd rows, rows around it, what is hidden."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import islice
from typing import Any

from tooling.spreadsheets.cells import Cell, is_blank, packed, shown, unpacked
from tooling.spreadsheets.leftovers import Leftovers, told
from tooling.spreadsheets.sheets import (
    Grid,
    NumberedRow,
    Region,
    Sheet,
    column_letters,
)
from tooling.spreadsheets.splits import Proposal, propose, take_apart

Entry = dict[str, Any]

_LOOKED_AT = 2_000
_DIFFERENT = 400
_TEXTS = 40
_MISFITS = 4
_FIRST_ROWS, _ODD_ROWS = 8, 10
_PEEK_BEFORE, _PEEK_AFTER, _PEEK = 12, 8, 20
_LONGEST = 200
_BEFORE_ALL = 0
"""The row number of cells that only say what stood above: no sheet has such a row."""
_FIGURES, _LETTERS = re.compile(r"\d+"), re.compile(r"[^\W\d_]+")


def glimpse(sheet: Sheet) -> Entry:
    """``rows``: [number, cells, is shown], the first ones and some that look different; between
    them what fill-down and merged cells need. ``blanks``: blank cells by column, None where
    nobody counted them. ``proposals``: patterns by column."""
    taker = _Taker(sheet)
    for number, cells in islice(sheet.rows(), _LOOKED_AT):
        taker.take(number, cells)
    last = max((number for number, _cells, _shown in taker.rows), default=0)
    return {
        "blanks": taker.blanks(),
        "rows": taker.rows,
        "merges": {
            str(at): [list(span) for span in spans if span[0] <= last]
            for at, spans in sheet.merges.items()
        },
        "proposals": taker.proposals(),
    }


def shown_sheet(entry: Mapping[str, Any]) -> Sheet:
    """The rows of a glimpse as a sheet of their own, to be read as the whole would be."""
    region = entry.get("region") or {}
    rows: list[NumberedRow] = [
        (number, tuple(unpacked(cell) for cell in cells))
        for number, cells, _shown in entry.get("rows") or ()
    ]
    return Sheet(
        name=entry.get("title") or entry["sheet"],
        headings=tuple(entry["headings"]),
        heading_row=-1,
        heading_last=-1,
        is_text=False,
        source=lambda: iter(rows),
        first_column=0,
        merges={
            int(at): tuple((first, last) for first, last in spans)
            for at, spans in (entry.get("merges") or {}).items()
        },
        name_from=int(region.get("first_column") or 0),
    )


def shown_numbers(entry: Mapping[str, Any]) -> set[int]:
    """The row numbers of a glimpse that are there to be seen."""
    return {number for number, _cells, is_shown in entry.get("rows") or () if is_shown}


class _Taker:
    """Takes the first rows, and later ones with a cell unlike any before it in its column."""

    def __init__(self, sheet: Sheet) -> None:
        self.rows: list[list[Any]] = []
        width = len(sheet.headings)
        self._different: list[dict[str, bool]] = [{} for _at in range(width)]
        self._shapes: list[set[str]] = [set() for _at in range(width)]
        self._above: list[Cell] = [None] * width
        self._merged: dict[int, tuple[int, int, Cell]] = {}
        self._starts: dict[int, list[tuple[int, int]]] = {}
        for at, spans in sheet.merges.items():
            for first, last in spans:
                self._starts.setdefault(first, []).append((at, last))
        self._seen = self._odd = 0
        self._blanks = [0] * width

    def take(self, number: int, cells: tuple[Cell, ...]) -> None:
        is_odd = self._look(cells)
        self._seen += 1
        for at in range(len(self._blanks)):
            self._blanks[at] += at >= len(cells) or is_blank(cells[at])
        if self._seen <= _FIRST_ROWS:
            self._add(number, cells, shown=True)
        elif is_odd and self._odd < _ODD_ROWS:
            self._odd += 1
            self._add_context(number)
            self._add(number, cells, shown=True)
        self._remember(number, cells)

    def blanks(self) -> list[int | None]:
        """How many cells of each column are blank; a longer sheet was not counted to its end."""
        return [None if self._seen == _LOOKED_AT else count for count in self._blanks]

    def proposals(self) -> dict[str, Any]:
        found = {}
        for at, different in enumerate(self._different):
            texts = [text for text, is_text in different.items() if is_text]
            if made := [_proposed(each, texts) for each in propose(texts)]:
                found[str(at)] = {"texts": texts[:_TEXTS], "patterns": made}
        return found

    def _look(self, cells: tuple[Cell, ...]) -> bool:
        """Whether a cell has a shape that its column has not shown yet."""
        is_odd = False
        for at, cell in enumerate(cells[: len(self._shapes)]):
            if is_blank(cell):
                continue
            text = " ".join(shown(cell)[:_LONGEST].split())
            if len(self._different[at]) < _DIFFERENT:
                self._different[at].setdefault(text, isinstance(cell, str))
            shape = _FIGURES.sub("9", _LETTERS.sub("a", text))
            if shape not in self._shapes[at] and len(self._shapes[at]) < _FIRST_ROWS:
                self._shapes[at].add(shape)
                is_odd = True
        return is_odd

    def _add(self, number: int, cells: Iterable[Cell], *, shown: bool) -> None:
        self.rows.append([number, [_packed(cell) for cell in cells], shown])

    def _add_context(self, number: int) -> None:
        """What stands above a row that does not follow the one before it."""
        self._add(_BEFORE_ALL, self._above, shown=False)
        for at, (first, last, cell) in self._merged.items():
            if first < number <= last:
                self._add(first, [*[None] * at, cell], shown=False)

    def _remember(self, number: int, cells: tuple[Cell, ...]) -> None:
        for at, cell in enumerate(cells[: len(self._above)]):
            if not is_blank(cell):
                self._above[at] = cell
        for at, last in self._starts.get(number, ()):
            if at < len(cells):
                self._merged[at] = (number, last, cells[at])


def _packed(cell: Cell) -> Any:
    return cell[:_LONGEST] if isinstance(cell, str) else packed(cell)


def _proposed(proposal: Proposal, texts: Sequence[str]) -> dict[str, Any]:
    """A pattern, how many of how many different cells follow it, and some that do not."""
    misfits = (text for text in texts if take_apart(text, proposal.pattern) is None)
    return {
        "pattern": proposal.pattern,
        "fits": proposal.fits,
        "of": proposal.of,
        "misfits": list(islice(misfits, _MISFITS)),
    }


def peek(grid: Grid, region: Region) -> list[list[Any]]:
    """[number, text] of the rows around the headings, for a person to say which they are."""
    first, last = region.heading_row - _PEEK_BEFORE, region.heading_last + _PEEK_AFTER
    found: list[list[Any]] = []
    for number, cells in grid.source():
        if number > max(last, _PEEK):
            break
        line = told(region.cut(cells))
        if number >= first and line:
            found.append([number, line])
    return found[-(_PEEK_BEFORE + _PEEK_AFTER + 4) :]


def notes(
    grid: Grid, region: Region, sheet: Sheet, left: Leftovers, *, after: int = 0
) -> list[dict[str, Any]]:
    """What of the sheet is not read, or cannot be seen in its cells; ``what`` names each.

    ``after``: the last row of the table above this one.
    """
    found: list[dict[str, Any]] = []
    if titles := _titles(grid, region, after):
        found.append({"what": "title", "text": titles[-1], "count": len(titles)})
    if grid.is_hidden:
        found.append({"what": "hidden_sheet"})
    hidden = [
        heading
        for at, heading in enumerate(sheet.headings, start=region.first_column)
        if at in grid.hidden_columns
    ]
    if hidden:
        found.append({"what": "hidden_columns", "names": hidden})
    below = sorted(row for row in grid.hidden_rows if _is_under(row, region))
    if below:
        found.append({"what": "hidden_rows", "count": len(below), "row": below[0]})
    if across := _merged_across(grid, region, sheet, left):
        found.append({"what": "merged_across", "count": len(across), "cell": across[0]})
    return found


def _titles(grid: Grid, region: Region, after: int) -> list[str]:
    """The rows over the headings that hold anything."""
    above = islice(grid.source(), region.heading_row - 1)
    lines = (told(region.cut(cells)) for number, cells in above if number > after)
    return [line for line in lines if line]


def _merged_across(grid: Grid, region: Region, sheet: Sheet, left: Leftovers) -> list[str]:
    """The cells under the headings that are merged with those at their right."""
    lone = {each.row for each in (*left.rows, *left.lone)}
    columns = range(region.first_column, region.first_column + len(sheet.headings))
    return [
        f"{column_letters(each.first_column)}{each.first_row}"
        for each in grid.merges
        if each.last_column > each.first_column
        and each.first_column in columns
        and _is_under(each.first_row, region)
        and each.first_row not in lone
    ]


def _is_under(row: int, region: Region) -> bool:
    return row > region.heading_last and (region.last_row is None or row <= region.last_row)
