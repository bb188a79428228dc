"""Where the tables of a sheet stand: under titles, one below another, side by side.

Rows are counted by their index in the survey, columns from 0. A sheet is first parted downwards
where headings follow a gap, then each part sideways where blank columns run all the way down and
both sides have headings of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

from tooling.spreadsheets.cells import Cell, CellError, is_blank, looks_like_a_value, shown
from tooling.spreadsheets.fields import UNITS_OF, Field, FieldType
from tooling.spreadsheets.formatting import heading
from tooling.spreadsheets.headings import heading_unit, plain
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.sheets import MOST_HEADING_ROWS, Merge, Region
from tooling.spreadsheets.survey import (
    FIRST_ROWS,
    Survey,
    is_column_word,
)

_NEARLY_AS_GOOD = 0.75
_LEAST_KNOWN = 0.6
_TITLE_CELLS = 2
_ROWS_BELOW = 12


@dataclass(frozen=True)
class _Area:
    """Rows ``first`` to before ``end`` (indexes) and columns ``left`` to before ``right``."""

    first: int
    end: int
    left: int
    right: int


@dataclass(frozen=True)
class _Table:
    """A table: the area from its headings on, and how many tables stand beside it."""

    heading: int
    area: _Area
    is_last: bool
    has_neighbour: bool = False


def find_tables(seen: Survey) -> list[Region]:
    """Every table of the sheet, from the top down and from the left. None for a blank sheet."""
    if not seen.numbers:
        return []
    whole = _Area(0, len(seen.numbers), 0, seen.width)
    if _is_our_own(seen):
        return [_region(seen, _Table(0, whole, is_last=True))]
    found: list[_Table] = []
    for table in _below_each_other(seen, whole):
        groups = _beside_each_other(seen, table)
        if len(groups) == 1:
            found.append(table)
            continue
        for left, right in groups:
            area = _Area(table.area.first, table.area.end, left, right)
            found += [
                _Table(each.heading, each.area, each.is_last and table.is_last, right < seen.width)
                for each in _below_each_other(seen, area)
            ]
    return [_region(seen, each) for each in found]


def _is_our_own(seen: Survey) -> bool:
    """Whether the sheet is an export or a template of ours: it is one table, read as it is."""
    cells = seen.cells(0) or ()
    return are_our_own([" ".join(shown(cell).split()) for cell in cells])


def are_our_own(texts: Sequence[str]) -> bool:
    """Whether headings are those of an export or a template of ours, all and in their order."""
    return any(
        len(texts) == len(own)
        and all(text in alike for text, alike in zip(texts, own, strict=True))
        for own in _own_headings()
    )


@lru_cache(maxsize=1)
def _own_headings() -> tuple[tuple[frozenset[str], ...], ...]:
    return tuple(tuple(map(_headings_of, kind.fields)) for kind in KINDS.values())


def _headings_of(field: Field) -> frozenset[str]:
    units = ("kg", "lb") if field.type is FieldType.MASS else UNITS_OF.get(field.type, ())
    return frozenset(heading(field, unit) for unit in units or (None,))


# --- one below another ------------------------------------------------------------------------


def _below_each_other(seen: Survey, area: _Area) -> list[_Table]:
    blocks = _blocks(seen, area)
    if not blocks:
        return []
    first = _best_heading(seen, area, blocks)
    starts = [(first, blocks[0][0])]
    known = {_texts(seen, first, area)}
    for at, (start, end) in enumerate(blocks):
        found = None if start <= first else _further_heading(seen, area, start, end)
        if found is not None and _texts(seen, found, area) not in known:
            known.add(_texts(seen, found, area))
            starts.append((found, _with_titles(seen, area, blocks, at)))
    ends = [top for _heading, top in starts[1:]] + [area.end]
    return [
        _Table(heading, _Area(heading, end, area.left, area.right), end == area.end)
        for (heading, _top), end in zip(starts, ends, strict=True)
    ]


def _mask(seen: Survey, at: int, area: _Area) -> int:
    return (seen.masks[at] >> area.left) & ((1 << (area.right - area.left)) - 1)


def _blocks(seen: Survey, area: _Area) -> list[tuple[int, int]]:
    """Runs of rows without a blank row between them: (first index, index behind the last)."""
    found: list[tuple[int, int]] = []
    before = None
    for at in range(area.first, area.end):
        if not _mask(seen, at, area):
            continue
        if found and before is not None and seen.numbers[at] == before + 1:
            found[-1] = (found[-1][0], at + 1)
        else:
            found.append((at, at + 1))
        before = seen.numbers[at]
    return found


def _best_heading(seen: Survey, area: _Area, blocks: list[tuple[int, int]]) -> int:
    """The first row that is nearly as good a row of headings as the best of the first rows."""
    rows = [at for start, end in blocks for at in range(start, end)][:FIRST_ROWS]
    scores = {at: _score(seen, area, at, rows) for at in rows if seen.cells(at) is not None}
    best = max(scores.values(), default=0.0)
    return next((at for at, score in scores.items() if score >= _NEARLY_AS_GOOD * best), rows[0])


def _score(seen: Survey, area: _Area, at: int, rows: Sequence[int]) -> float:
    """How likely a row names the columns of the rows under it, 0 to 1."""
    cells = _own_cells(seen, at, area)
    here = [cell for cell in cells if not is_blank(cell)]
    below = [row for row in rows if row > at][:_ROWS_BELOW]
    width = median([_mask(seen, row, area).bit_count() for row in below]) if below else len(here)
    texts = [shown(cell) for cell in here if not looks_like_a_value(cell)]
    textual = len(set(texts)) / len(here)
    known = sum(is_column_word(text) for text in texts) / len(here)
    fullness = min(1.0, len(here) / max(1.0, width))
    return fullness * (0.55 * known + 0.25 * textual + 0.2 * _contrast(seen, area, at, below))


def _contrast(seen: Survey, area: _Area, at: int, below: Sequence[int]) -> float:
    """The part of the row's texts that stand over numbers or dates."""
    cells = _own_cells(seen, at, area)
    texts = [n for n, c in enumerate(cells) if not is_blank(c) and not looks_like_a_value(c)]
    under = [_own_cells(seen, row, area) for row in below]
    over_values = sum(
        any(n < len(row) and looks_like_a_value(row[n]) for row in under) for n in texts
    )
    return over_values / max(1, len(texts))


def _own_cells(seen: Survey, at: int, area: _Area) -> tuple[Cell, ...]:
    return (seen.cells(at) or ())[area.left : area.right]


def _further_heading(seen: Survey, area: _Area, start: int, end: int) -> int | None:
    """The row of a block behind a gap that begins another table, if any does."""
    for at in range(start, min(end, start + 4)):
        cells = [cell for cell in _own_cells(seen, at, area) if not is_blank(cell)]
        if len(cells) < 2 or any(looks_like_a_value(cell) for cell in cells):
            continue
        words = sum(isinstance(cell, str) and is_column_word(cell.strip()) for cell in cells)
        if words >= 2 and words >= _LEAST_KNOWN * len(cells):
            return at
        if _stands_over_numbers(seen, area, at, end, cells):
            return at
    return None


def _stands_over_numbers(
    seen: Survey, area: _Area, at: int, end: int, cells: Sequence[Cell]
) -> bool:
    """Words without a figure in them, over rows that hold numbers in a column of theirs."""
    below = range(at + 1, min(end, at + 4))
    if len(cells) < 3 or any(any(c.isdecimal() for c in shown(cell)) for cell in cells):
        return False
    return (
        bool(below)
        and _contrast(seen, area, at, below) > 0
        and all(
            seen.cells(row) is not None and _mask(seen, row, area).bit_count() >= 2 for row in below
        )
    )


def _texts(seen: Survey, at: int, area: _Area) -> tuple[str, ...]:
    return tuple(plain(shown(c)) for c in _own_cells(seen, at, area) if not is_blank(c))


def _with_titles(seen: Survey, area: _Area, blocks: list[tuple[int, int]], at: int) -> int:
    """Where a table's part of the sheet begins: with the lone titles over its headings."""
    start = blocks[at][0]
    while at > 0:
        first, end = blocks[at - 1]
        lone = end - first <= 2 and all(
            _mask(seen, row, area).bit_count() <= _TITLE_CELLS for row in range(first, end)
        )
        if not lone:
            break
        start, at = first, at - 1
    return start


# --- side by side -----------------------------------------------------------------------------


def _beside_each_other(seen: Survey, table: _Table) -> list[tuple[int, int]]:
    """The columns of each table of a part of the sheet; one group where it is one table."""
    area = table.area
    used = 0
    for at in range(area.first, area.end):
        used |= _mask(seen, at, area)
    groups = _runs(used, area.left)
    if len(groups) < 2:
        return [(area.left, area.right)]
    groups = _joined(groups, [_is_a_table(seen, table, group) for group in groups])
    ends = [left for left, _right in groups[1:]] + [area.right]
    return [(left, end) for (left, _right), end in zip(groups, ends, strict=True)]


def _runs(used: int, left: int) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for at in range(used.bit_length()):
        if used >> at & 1:
            if found and found[-1][1] == left + at:
                found[-1] = (found[-1][0], left + at + 1)
            else:
                found.append((left + at, left + at + 1))
    return found


def _joined(groups: list[tuple[int, int]], alone: list[bool]) -> list[tuple[int, int]]:
    """Groups that are no table by themselves belong to the one at their left."""
    found: list[tuple[int, int]] = []
    for (left, right), is_table in zip(groups, alone, strict=True):
        if found and not (is_table and alone[0]):
            found[-1] = (found[-1][0], right)
        else:
            found.append((left, right))
    return found


def _is_a_table(seen: Survey, table: _Table, columns: tuple[int, int]) -> bool:
    """Whether columns have at least two headings that name columns by themselves."""
    area = _Area(table.area.first, table.area.end, *columns)
    blocks = _blocks(seen, area)
    if not blocks:
        return False
    at = _best_heading(seen, area, blocks)
    cells = [cell for cell in _own_cells(seen, at, area) if not is_blank(cell)]
    if len(cells) < 2 or any(looks_like_a_value(cell) for cell in cells):
        return False
    names = [shown(cell) for cell in cells]
    known = sum(is_column_word(name) for name in names)
    return known >= _LEAST_KNOWN * len(names) and _can_stand_alone(names)


def _can_stand_alone(names: Sequence[str]) -> bool:
    """Whether some kind of sheet finds most of what it needs among these headings."""
    plains = [plain(name) for name in names]
    for kind in KINDS.values():
        needed = [field for field in kind.fields if field.required]
        given = sum(any(_names(text, field) for text in plains) for field in needed)
        if needed and given >= 0.5 * len(needed):
            return True
    return False


def _names(text: str, field: Field) -> bool:
    words = {plain(word) for word in (field.name, field.label, *field.words)}
    bare = text.rpartition(" ")[0] if heading_unit(text, field.units) else text
    return text in words or bare in words


# --- from rows and columns to a region --------------------------------------------------------


def _region(seen: Survey, table: _Table) -> Region:
    area, numbers = table.area, seen.numbers
    occupied = 0
    for at in range(area.first, area.end):
        occupied |= _mask(seen, at, area)
    first = area.left + ((occupied & -occupied).bit_length() - 1 if occupied else 0)
    last_column = area.left + occupied.bit_length() - 1 if table.has_neighbour else None
    heading_row = numbers[table.heading]
    return Region(
        heading_row=_top_of_headings(seen, heading_row, first, area.right - 1),
        heading_last=_bottom_of_headings(seen, heading_row, first, area.right - 1),
        first_column=first,
        last_column=last_column,
        last_row=None if table.is_last else numbers[area.end - 1],
    )


def _top_of_headings(seen: Survey, row: int, left: int, right: int) -> int:
    """The row above belongs to the headings where its merged cells stand over some of them."""
    cells = seen.kept.get(row - 1)
    if cells is None or row < 2:
        return row
    if any(_value_in_headings(cell) for cell in cells[left : right + 1]):
        return row
    spans = [
        each
        for each in seen.grid.merges
        if each.first_row == row - 1 and left <= each.first_column <= right
    ]
    down = any(each.last_row == row for each in spans)
    across = [each for each in spans if _covers_some(each, left, right)]
    grouped = len(across) > 1 or any(each.first_column > left for each in across)
    return row - 1 if down or grouped else row


def _bottom_of_headings(seen: Survey, row: int, left: int, right: int) -> int:
    """Headings merged downwards are as high as the others that stand beside them."""
    ends = [
        each.last_row
        for each in seen.grid.merges
        if each.first_row == row and left <= each.first_column <= right
    ]
    last = max([row, *ends])
    below = [seen.kept.get(number, ()) for number in range(row + 1, min(last, row + 4) + 1)]
    names = [cell for cells in below for cell in cells[left : right + 1] if not is_blank(cell)]
    is_high = last < row + MOST_HEADING_ROWS and bool(names)
    return last if is_high and not any(map(_value_in_headings, names)) else row


def _value_in_headings(cell: Cell) -> bool:
    return not is_blank(cell) and not isinstance(cell, CellError) and looks_like_a_value(cell)


def _covers_some(each: Merge, left: int, right: int) -> bool:
    """Whether merged cells stand over several columns of a table, but not over all of it."""
    covered = min(each.last_column, right) - each.first_column + 1
    return 1 < covered < right - left + 1
