"""A sheet as the reader sees it: a name, a row of headings, numbered rows below.

A sheet of a file may hold several tables. ``Grid`` is the sheet as it came, ``Region`` says
where one table stands in it, and ``Sheet`` is that table cut out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, CellError, is_blank, shown

NumberedRow = tuple[int, tuple[Cell, ...]]
MOST_COLUMNS = 400
LAST_ROW = 1_048_576
MOST_HEADING_ROWS = 4


@dataclass(frozen=True)
class Merge:
    """Merged cells: rows as the program counts them, columns from 0, both ends included."""

    first_row: int
    last_row: int
    first_column: int
    last_column: int


@dataclass(frozen=True)
class Grid:
    """A whole sheet as it came. ``source()`` starts its rows anew at every call."""

    name: str
    is_text: bool
    source: Callable[[], Iterator[NumberedRow]] = field(repr=False, compare=False)
    merges: tuple[Merge, ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    is_hidden: bool = False


@dataclass(frozen=True)
class Region:
    """Where one table stands: rows as the program counts them, columns from 0, ends included.

    ``last_column`` None: as far as the headings go. ``last_row`` None: to the end of the sheet.
    Raises ToolingError ``bad_region`` where the ends are the wrong way round.
    """

    heading_row: int
    heading_last: int
    first_column: int = 0
    last_column: int | None = None
    last_row: int | None = None

    def __post_init__(self) -> None:
        last_column = self.first_column if self.last_column is None else self.last_column
        last_row = self.heading_last if self.last_row is None else self.last_row
        right = (
            1 <= self.heading_row <= self.heading_last <= last_row <= LAST_ROW
            and self.heading_last - self.heading_row < MOST_HEADING_ROWS
            and 0 <= self.first_column <= last_column < MOST_COLUMNS
        )
        if not right:
            raise ToolingError(
                "bad_region",
                _("Headings in rows {first} to {last}, columns {left} to {right}, rows down to "
                  "{end}: no table can stand there. Say it again."),
                first=self.heading_row, last=self.heading_last,
                left=column_letters(max(0, self.first_column)),
                right=column_letters(max(0, last_column)), end=last_row,
            )  # fmt: skip

    def to_dict(self) -> dict[str, int | None]:
        return {
            "heading_row": self.heading_row,
            "heading_last": self.heading_last,
            "first_column": self.first_column,
            "last_column": self.last_column,
            "last_row": self.last_row,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Region:
        """The region that ``to_dict`` gave. Raises ToolingError ``bad_region``."""
        try:
            row, last = int(data["heading_row"]), int(data["heading_last"])
            first = int(data.get("first_column") or 0)
            ends = [
                None if data.get(end) is None else int(data[end])
                for end in ("last_column", "last_row")
            ]
        except (KeyError, TypeError, ValueError, AttributeError):
            raise ToolingError(
                "bad_region", _("Where the table stands must be said in whole numbers.")
            ) from None
        return cls(row, last, first, *ends)

    def cut(self, cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
        """The table's own cells of a row of the sheet."""
        end = None if self.last_column is None else self.last_column + 1
        return cells[self.first_column : end]


@dataclass(frozen=True)
class Sheet:
    """One table. Row numbers are those of the spreadsheet program.

    ``merges``: column of the table (from 0) → (first row, last row) of its merged cells.
    ``skipped``: rows that are no data (totals, footers) or that a person leaves out.
    ``groups``: rows that name the rows under them; their text stands in a column of its own.
    ``name_from``: how many columns further right the first one stands in the spreadsheet.
    """

    name: str
    headings: tuple[str, ...]
    heading_row: int
    is_text: bool
    source: Callable[[], Iterator[NumberedRow]] = field(repr=False, compare=False)
    heading_last: int = 0
    first_column: int = 0
    last_column: int | None = None
    last_row: int | None = None
    merges: Mapping[int, tuple[tuple[int, int], ...]] = field(default_factory=dict, compare=False)
    skipped: frozenset[int] = frozenset()
    groups: frozenset[int] = frozenset()
    name_from: int = 0

    def rows(self) -> Iterator[NumberedRow]:
        """The rows under the headings that hold anything, as (row number, cells)."""
        above = ""
        for number, cells in self.body():
            if number in self.groups:
                above = next(shown(cell) for cell in cells if not is_blank(cell))
            elif number not in self.skipped:
                yield number, (self._with_group(cells, above) if self.groups else cells)

    def body(self) -> Iterator[NumberedRow]:
        """Every row of the table that holds anything, also those that are no data."""
        start = max(self.heading_row, self.heading_last)
        end = None if self.last_column is None else self.last_column + 1
        for number, cells in self.source():
            if self.last_row is not None and number > self.last_row:
                return
            if number > start:
                own = cells[self.first_column : end]
                if not all(is_blank(cell) for cell in own):
                    yield number, own

    def _with_group(self, cells: tuple[Cell, ...], above: str) -> tuple[Cell, ...]:
        """The cells with the group's name behind the last heading's; cells beyond stay beyond."""
        width = len(self.headings) - 1
        return (*cells[:width], *[None] * (width - len(cells)), above, *cells[width:])

    def sample(self, count: int = 20) -> list[NumberedRow]:
        """The first rows, for suggestions and for showing to a person."""
        return list(islice(self.rows(), count))

    def cell_name(self, number: int, column: int) -> str:
        """What the spreadsheet program calls a cell of the table: ``C7``."""
        return f"{column_letters(self.first_column + self.name_from + column)}{number}"


def column_letters(index: int) -> str:
    """The spreadsheet's name of a column counted from 0: A … Z, AA …

    >>> column_letters(27)
    'AB'
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def column_index(letters: str) -> int | None:
    """The column of these letters counted from 0; None where they name none.

    >>> column_index("ab")
    27
    """
    letters = letters.strip().upper()
    if not (1 <= len(letters) <= 3 and letters.isascii() and letters.isalpha()):
        return None
    index = 0
    for letter in letters:
        index = index * 26 + ord(letter) - 64
    return index - 1


def name_headings(cells: Sequence[Cell], *, first_column: int = 0) -> tuple[str, ...]:
    """Headings as text, each different: a blank or repeated one gets its column's letters."""
    texts = [" ".join(_heading(cell).split()) for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    named: list[str] = []
    for index, text in enumerate(texts, start=first_column):
        if not text or text in named:
            text = f"{text} [{column_letters(index)}]".strip()
        while text in named:
            text += "'"
        named.append(text)
    return tuple(named)


def _heading(cell: Cell) -> str:
    return "" if isinstance(cell, CellError) else shown(cell)


def heading_texts(rows: Sequence[NumberedRow], grid: Grid, region: Region) -> tuple[str, ...]:
    """The headings of a region from its heading rows; merged headings count for all they cover.

    Headings that stand in several rows are read from the top down: ``Top`` over ``Bore`` is
    ``Top Bore``.
    """
    lines = []
    for number, cells in rows:
        if region.heading_row <= number <= region.heading_last:
            line = list(cells[:MOST_COLUMNS])
            _spread_over_columns(line, number, grid)
            lines.append((number, list(region.cut(tuple(line)))))
    _spread_over_rows(lines, grid, region)
    width = max((len(line) for _number, line in lines), default=0)
    columns = [
        " ".join(dict.fromkeys(_heading(line[at]) for _n, line in lines if at < len(line)))
        for at in range(width)
    ]
    return name_headings(columns, first_column=region.first_column)


def _spread_over_columns(line: list[Cell], number: int, grid: Grid) -> None:
    for each in grid.merges:
        if each.first_row == number and each.first_column < min(each.last_column, len(line)):
            last = min(each.last_column, MOST_COLUMNS - 1)
            line.extend([None] * (last + 1 - len(line)))
            for at in range(each.first_column + 1, last + 1):
                line[at] = line[at] if not is_blank(line[at]) else line[each.first_column]


def _spread_over_rows(lines: list[tuple[int, list[Cell]]], grid: Grid, region: Region) -> None:
    """A heading merged over several heading rows, each column for itself."""
    if len(lines) < 2:
        return
    of_row = dict(lines)
    for each in grid.merges:
        above = of_row.get(each.first_row)
        at = each.first_column - region.first_column
        if above is None or not 0 <= at < len(above):
            continue
        for number, line in lines:
            covered = each.first_row < number <= each.last_row
            if covered and at < len(line) and is_blank(line[at]):
                line[at] = above[at]


def cut(
    grid: Grid,
    region: Region,
    headings: tuple[str, ...],
    *,
    name: str | None = None,
    skipped: frozenset[int] = frozenset(),
    groups: frozenset[int] = frozenset(),
) -> Sheet:
    """The table that stands in this region of the grid."""
    return Sheet(
        name=grid.name if name is None else name,
        headings=headings,
        heading_row=region.heading_row,
        is_text=grid.is_text,
        source=grid.source,
        heading_last=region.heading_last,
        first_column=region.first_column,
        last_column=region.last_column,
        last_row=region.last_row,
        merges=_merged_downwards(grid, region, len(headings)),
        skipped=skipped,
        groups=groups,
    )


def _merged_downwards(
    grid: Grid, region: Region, width: int
) -> dict[int, tuple[tuple[int, int], ...]]:
    found: dict[int, list[tuple[int, int]]] = {}
    for each in grid.merges:
        at = each.first_column - region.first_column
        is_under = each.first_row > region.heading_last and each.last_row > each.first_row
        if is_under and 0 <= at < width:
            found.setdefault(at, []).append((each.first_row, each.last_row))
    return {at: tuple(sorted(spans)) for at, spans in found.items()}
