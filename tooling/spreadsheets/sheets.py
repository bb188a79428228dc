"""A sheet as the reader sees it: a name, a row of headings, numbered rows below."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

from tooling.spreadsheets.cells import Cell, CellError, is_blank, shown

NumberedRow = tuple[int, tuple[Cell, ...]]
MOST_COLUMNS = 400


@dataclass(frozen=True)
class Sheet:
    """``rows()`` starts anew at every call; row numbers are those of the spreadsheet program."""

    name: str
    headings: tuple[str, ...]
    heading_row: int
    is_text: bool
    source: Callable[[], Iterator[NumberedRow]] = field(repr=False, compare=False)

    def rows(self) -> Iterator[NumberedRow]:
        """The rows under the headings that hold anything, as (row number, cells)."""
        for number, cells in self.source():
            if number > self.heading_row and not all(is_blank(cell) for cell in cells):
                yield number, cells

    def sample(self, count: int = 20) -> list[NumberedRow]:
        """The first rows, for suggestions and for showing to a person."""
        return list(islice(self.rows(), count))


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


def name_headings(cells: Sequence[Cell]) -> tuple[str, ...]:
    """Headings as text, each different: a blank or repeated one gets its column's letters."""
    texts = [" ".join(shown(cell).split()) for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    named: list[str] = []
    for index, text in enumerate(texts):
        if not text or text in named:
            text = f"{text} [{column_letters(index)}]".strip()
        while text in named:
            text += "'"
        named.append(text)
    return tuple(named)


def make_sheet(
    name: str, source: Callable[[], Iterator[NumberedRow]], *, is_text: bool
) -> Sheet | None:
    """The sheet whose headings are its first row that is not blank; None when all is blank."""
    for number, cells in source():
        if not all(is_blank(cell) for cell in cells):
            headings = name_headings(
                [None if isinstance(cell, CellError) else cell for cell in cells[:MOST_COLUMNS]]
            )
            return Sheet(name, headings, number, is_text, source)
    return None
