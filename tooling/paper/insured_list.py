"""What tooling is worth, on A4 or Letter: totals by owner and by place, then piece by piece."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from reportlab.pdfgen.canvas import Canvas

from tooling.paper.faces import BOLD, REGULAR, draw_text, plain, shortened, width_of, wrapped
from tooling.paper.frame import draw_foot, pages_pdf
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule

_BODY = 10.0
_LINE = 15.0
_PAD = 6.0


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its share of the width, and whether its figures stand at its right edge."""

    head: str
    share: float
    is_number: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table under a heading; the last row is its total where ``has_total``."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    has_total: bool = False


@dataclass(frozen=True, slots=True)
class InsuredSheet:
    """The list at a moment. ``printed_at`` is in the shop's zone."""

    title: str
    sentence: str
    printed_at: datetime
    tables: tuple[Table, ...]


def insured_pdf(sheet: InsuredSheet, *, paper: PaperName = "a4") -> bytes:
    """The list as a PDF. Raises ToolingError ``unknown_paper``."""
    size = paper_size(paper)
    room = Room(*size)
    return pages_pdf(
        _blocks(sheet, room),
        room,
        title=sheet.title,
        foot=partial(_draw_foot, room=room, sheet=sheet),
    )


def _blocks(sheet: InsuredSheet, room: Room) -> Iterator[Block]:
    yield _head(sheet, room)
    for table in sheet.tables:
        yield Block(30, partial(_draw_title, room=room, title=table.title), leads=True)
        heads = [column.head for column in table.columns]
        draw = partial(_draw_line, room=room, columns=table.columns, face=REGULAR, line=0.9)
        yield Block(_LINE, partial(draw, cells=heads), leads=True)
        for number, row in enumerate(table.rows, start=1):
            is_total = table.has_total and number == len(table.rows)
            face, line = (BOLD, 0.9) if is_total else (REGULAR, 0.35)
            yield Block(_LINE, partial(draw, cells=row, face=face, line=line))


def _head(sheet: InsuredSheet, room: Room) -> Block:
    width = room.right - room.left
    titles = wrapped(plain(sheet.title), BOLD, 19, width, 2)
    lines = wrapped(plain(sheet.sentence), REGULAR, 11.5, width, 4)

    def draw(canvas: Canvas, top: float) -> None:
        y = top - 17
        for line in titles:
            draw_text(canvas, room.left, y, line, face=BOLD, size=19)
            y -= 23
        for line in lines:
            draw_text(canvas, room.left, y, line, size=11.5)
            y -= 15

    return Block(23 * len(titles) + 15 * len(lines) + 8, draw)


def _draw_title(canvas: Canvas, top: float, *, room: Room, title: str) -> None:
    said = shortened(plain(title), BOLD, 13, room.right - room.left)
    draw_text(canvas, room.left, top - 22, said, face=BOLD, size=13)


def _draw_line(
    canvas: Canvas, top: float, *, room: Room, columns: Sequence[Column], cells: Sequence[str],
    face: str, line: float,
) -> None:  # fmt: skip
    rule(canvas, room, top, line)
    left, across = room.left, room.right - room.left
    for column, cell in zip(columns, cells, strict=True):
        width = column.share * across
        said = shortened(plain(cell), face, _BODY, width - _PAD)
        x = left + width - width_of(said, face, _BODY) if column.is_number else left
        draw_text(canvas, x, top - 11, said, face=face, size=_BODY)
        left += width


def _draw_foot(canvas: Canvas, number: int, of: int, *, room: Room, sheet: InsuredSheet) -> None:
    left = shortened(plain(sheet.title), REGULAR, 10.5, 230)
    stamp = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of, aside=30)
