"""From a row's cells to the cell of each field: merged cells, cells taken apart, cells above."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from tooling.spreadsheets.cells import Cell, CellError, is_blank, shown
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.splits import take_apart


@dataclass(frozen=True)
class NotSplit:
    """A cell that does not follow the pattern of its column."""

    text: str
    heading: str
    pattern: str


@dataclass(frozen=True)
class Picked:
    """What one field gets from a row. ``above``: it stands in a row above, not in this one."""

    cell: Cell | NotSplit
    above: bool = False


class Picker:
    """Picks row by row, in the order of the sheet, and remembers what stood above."""

    def __init__(self, sheet: Sheet, mapping: Mapping) -> None:
        self._sheet, self._mapping = sheet, mapping
        parts = mapping.parts
        self._place: dict[str, tuple[int, int | None]] = {}
        for name, heading in mapping.columns.items():
            whole, part = parts.get(heading, (heading, None))
            if heading in sheet.headings:
                whole, part = heading, None
            self._place[name] = (sheet.headings.index(whole), part)
        self._above: dict[str, Cell | NotSplit] = {}
        self._merged: dict[tuple[int, int], Cell] = {}
        self._starts = {at: [first for first, _last in spans] for at, spans in sheet.merges.items()}

    def column(self, name: str) -> int | None:
        """The column of the table that fills a field, from 0."""
        return self._place[name][0] if name in self._place else None

    def pick(self, name: str, number: int, cells: tuple[Cell, ...]) -> Picked:
        """The cell of a field; ask once per row for each field, rows in order."""
        if name not in self._place:
            return Picked(self._mapping.fixed.get(name))
        at, part = self._place[name]
        cell = cells[at] if at < len(cells) else None
        above = False
        if name in self._mapping.spread:
            cell, above = self._spread(at, number, cell)
        picked = Picked(cell if part is None else self._part(cell, at, part), above)
        if name in self._mapping.fill_down:
            picked = self._fill_down(name, picked)
        return Picked(self._mapping.fixed.get(name)) if _is_blank(picked.cell) else picked

    def _spread(self, at: int, number: int, cell: Cell) -> tuple[Cell, bool]:
        """The value of the merged cells that cover this one, if any do."""
        starts = self._starts.get(at)
        turn = bisect_right(starts, number) - 1 if starts else -1
        if turn < 0:
            return cell, False
        first, last = self._sheet.merges[at][turn]
        if number == first:
            self._merged[at, first] = cell
        elif number <= last and is_blank(cell):
            found = self._merged.get((at, first))
            return found, not is_blank(found)
        return cell, False

    def _part(self, cell: Cell, at: int, part: int) -> Cell | NotSplit:
        if is_blank(cell) or isinstance(cell, CellError):
            return cell
        heading = self._sheet.headings[at]
        pattern = self._mapping.splits[heading]
        found = take_apart(shown(cell), pattern)
        return NotSplit(shown(cell), heading, pattern) if found is None else found[part]

    def _fill_down(self, name: str, picked: Picked) -> Picked:
        if _is_blank(picked.cell):
            above = self._above.get(name)
            return Picked(above, above=not _is_blank(above))
        self._above[name] = picked.cell
        return picked


def _is_blank(cell: Cell | NotSplit) -> bool:
    return not isinstance(cell, NotSplit) and is_blank(cell)
