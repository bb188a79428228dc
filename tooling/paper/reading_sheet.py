"""The reading sheet on paper: stops on the walk, each point with its last value, what is expected
and a box to write in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.utils.translation import gettext as _
from reportlab.pdfgen.canvas import Canvas

from tooling.paper.faces import BOLD, PT_PER_MM, REGULAR, draw_text, plain, shortened, wrapped
from tooling.paper.frame import caution_blocks, draw_foot, heading_block, pages_pdf, sentence_block
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule

_LINE = 30.0
_BOX = (34 * PT_PER_MM, 8.5 * PT_PER_MM)


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One box: texts as they are printed. ``choices``: words to ring instead of a value."""

    name: str
    code: str
    point: str
    last: str
    expected: str
    limit: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadStop:
    place: str
    rows: tuple[ReadRow, ...]


@dataclass(frozen=True, slots=True)
class ReadSheet:
    """``printed_at`` is in the shop's zone; ``blanks`` are words with a line to write on."""

    title: str
    sentence: str
    printed_at: datetime
    stops: tuple[ReadStop, ...]
    blanks: tuple[str, ...]


def reading_sheet_pdf(sheet: ReadSheet, *, paper: PaperName = "a4") -> bytes:
    """The sheet as a PDF. Raises ToolingError ``unknown_paper``."""
    room = Room(*paper_size(paper))
    return pages_pdf(
        _blocks(sheet, room), room, title=sheet.title, foot=partial(_foot, room=room, sheet=sheet)
    )


def _blocks(sheet: ReadSheet, room: Room) -> Iterator[Block]:
    yield _head(sheet, room)
    if not sheet.stops:
        yield sentence_block(_("Nothing is to be measured."), room)
    for stop in sheet.stops:
        yield heading_block(stop.place, _("{n} to read").format(n=len(stop.rows)), room)
        yield Block(16, partial(_columns, room=room), leads=True)
        for row in stop.rows:
            yield Block(_LINE, partial(_line, room=room, row=row))
    yield from caution_blocks(room)


def _head(sheet: ReadSheet, room: Room) -> Block:
    width = room.right - room.left
    title = shortened(plain(sheet.title), BOLD, 19, width)
    lines = wrapped(plain(sheet.sentence), REGULAR, 11.5, width, 3)

    def draw(canvas: Canvas, top: float) -> None:
        draw_text(canvas, room.left, top - 17, title, face=BOLD, size=19)
        y = top - 36
        for line in lines:
            draw_text(canvas, room.left, y, line, size=11.5)
            y -= 15
        share = width / max(1, len(sheet.blanks))
        for n, word in enumerate(sheet.blanks):
            x = room.left + n * share
            draw_text(canvas, x, y - 10, plain(word), size=10)
            canvas.line(x + 22 * PT_PER_MM, y - 12, x + share - 10, y - 12)

    return Block(36 + 15 * len(lines) + 26, draw)


def _across(room: Room) -> tuple[float, float, float, float, float]:
    """Where the columns begin: name, point, last, expected, box."""
    left, width = room.left, room.right - room.left
    return left, left + 0.22 * width, left + 0.41 * width, left + 0.56 * width, room.right - _BOX[0]


def _columns(canvas: Canvas, top: float, *, room: Room) -> None:
    words = (_("Piece"), _("Point"), _("Last"), _("Expected, limit"), _("Read"))
    for x, word in zip(_across(room), words, strict=True):
        draw_text(canvas, x, top - 11, plain(word), size=9)


def _line(canvas: Canvas, top: float, *, room: Room, row: ReadRow) -> None:
    rule(canvas, room, top, 0.35)
    xs = _across(room)
    widths = [after - x - 6 for x, after in zip(xs, (*xs[1:], room.right), strict=True)]
    name = shortened(plain(row.name), BOLD, 12, widths[0])
    draw_text(canvas, xs[0], top - 13, name, face=BOLD, size=12)
    draw_text(canvas, xs[0], top - 25, row.code, size=9)
    for n, line in enumerate(wrapped(plain(row.point), REGULAR, 10, widths[1], 2)):
        draw_text(canvas, xs[1], top - 12 - 12 * n, line, size=10)
    for n, line in enumerate(wrapped(plain(row.last), REGULAR, 10, widths[2], 2)):
        draw_text(canvas, xs[2], top - 12 - 12 * n, line, size=10)
    for n, text in enumerate((row.expected, row.limit)):
        said = shortened(plain(text), REGULAR, 10, widths[3])
        draw_text(canvas, xs[3], top - 12 - 12 * n, said, size=10)
    canvas.setLineWidth(1.1)
    if not row.choices:
        canvas.rect(xs[4], top - 4 - _BOX[1], *_BOX)
        return
    share = _BOX[0] / len(row.choices)
    for n, word in enumerate(row.choices):
        canvas.rect(xs[4] + n * share, top - 4 - _BOX[1], share - 3, _BOX[1])
        fits = shortened(plain(word), REGULAR, 9, share - 7)
        draw_text(canvas, xs[4] + n * share + 3, top - 1 - _BOX[1] / 2 - 6, fits, size=9)


def _foot(canvas: Canvas, number: int, of: int, *, room: Room, sheet: ReadSheet) -> None:
    left = shortened(plain(sheet.title), REGULAR, 10.5, 230)
    stamp = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of, aside=30)
