"""What sheets of paper share: blocks to numbered pages, head with the code to scan back, stops,
boxes to tick, the foot of every page. Points from the lower left."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from io import BytesIO

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from reportlab.pdfgen.canvas import Canvas

from tooling.paper.faces import (
    BOLD,
    PT_PER_MM,
    REGULAR,
    draw_text,
    plain,
    shortened,
    width_of,
    wrapped,
)
from tooling.paper.labels import paint_symbol
from tooling.paper.pages import FOOT, Block, Room, broken, draw_blocks, rule
from tooling.paper.symbols import QUIET_QR, label_symbol

CAUTIONS = (
    gettext_lazy(
        "Lock out before hands go in. Guards back on before it runs. Mind nip points, sharp edges "
        "and the lift."
    ),
    gettext_lazy("The site's own procedures, local codes and qualified people decide."),
)
"""What every sheet that leads to work at the mill says."""

MODULE = 0.9 * PT_PER_MM
NAME, BODY, SMALL = 13.0, 10.5, 9.0
BOX = 5.2 * PT_PER_MM
SIGN = 17 * PT_PER_MM

Foot = Callable[[Canvas, int, int], None]
"""Draws the foot of a page, given its number and of how many."""


def pages_pdf(
    blocks: Iterable[Block],
    room: Room,
    *,
    title: str,
    foot: Foot,
    progress: Callable[[float], None] | None = None,
) -> bytes:
    """Blocks onto pages, each with its foot; ``progress`` is told the share done, 0 to 1, after
    every page."""
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=(room.width, room.height), pageCompression=1, invariant=1)
    canvas.setTitle(plain(title))
    pages = broken(list(blocks), room)
    for number, page in enumerate(pages, start=1):
        draw_blocks(canvas, room, page)
        foot(canvas, number, len(pages))
        canvas.showPage()
        if progress is not None:
            progress(number / len(pages))
    canvas.save()
    return buffer.getvalue()


def draw_foot(
    canvas: Canvas, room: Room, *, left: str, stamp: str, number: int, of: int, aside: float = 0
) -> None:
    """What it is, when, and which page of how many; ``aside`` moves the middle to the right."""
    y = FOOT - 6
    rule(canvas, room, FOOT + 8, 0.6)
    draw_text(canvas, room.left, y, left, size=BODY)
    middle = (room.left + room.right - width_of(stamp, REGULAR, BODY)) / 2
    draw_text(canvas, middle + aside, y, stamp, size=BODY)
    page = plain(_("page {n} of {m}").format(n=number, m=of))
    draw_text(canvas, room.right - width_of(page, BOLD, BODY), y, page, face=BOLD, size=BODY)


def coded_head(
    *, title: str, lines: str, facts: Sequence[tuple[str, str]], code: str, room: Room
) -> Block:
    """Title, a sentence and facts, with the symbol of the code to scan back at the right."""
    symbol = label_symbol(code)
    side = symbol.modules * MODULE
    quiet = QUIET_QR * MODULE
    width = room.right - room.left - side - (QUIET_QR + 2) * MODULE
    shown = shortened(plain(title), BOLD, 20, width)
    said = wrapped(plain(lines), REGULAR, 11.5, width, 2)
    known = [(plain(word), plain(fact)) for word, fact in facts if fact]
    height = max(side + quiet + 10, 26 + 15 * len(said) + 14.5 * len(known)) + 8

    def draw(canvas: Canvas, top: float) -> None:
        paint_symbol(canvas, symbol, room.right - side, top, MODULE)
        code_x = room.right - width_of(code, BOLD, 11)
        draw_text(canvas, code_x, top - side - quiet - 8, code, face=BOLD, size=11)
        draw_text(canvas, room.left, top - 16, shown, face=BOLD, size=20)
        y = top - 34
        for line in said:
            draw_text(canvas, room.left, y, line, size=11.5)
            y -= 15
        for word, fact in known:
            draw_fact(canvas, room.left, y, word, fact, width, column=25 * PT_PER_MM, size=BODY)
            y -= 14.5
        rule(canvas, room, top - height + 5, 1.2)

    return Block(height, draw)


def draw_fact(
    canvas: Canvas, x: float, y: float, word: str, said: str, width: float, *,
    column: float, size: float = SMALL,
) -> None:  # fmt: skip
    """A word and what it is, in two columns; both shortened to what fits."""
    draw_text(canvas, x, y, shortened(word, REGULAR, SMALL, column - 4), size=SMALL)
    fits = shortened(said, BOLD, size, width - column)
    draw_text(canvas, x + column, y, fits, face=BOLD, size=size)


def caution_blocks(room: Room) -> Iterable[Block]:
    """The cautions, the first of them bold."""
    for caution, face in zip(CAUTIONS, (BOLD, REGULAR), strict=True):
        lines = wrapped(plain(str(caution)), face, 10, room.right - room.left, 3)
        height = 13.5 * len(lines) + (8 if face == REGULAR else 2)
        yield lines_block(lines, height, room, face=face)


def lines_block(lines: Sequence[str], height: float, room: Room, *, face: str) -> Block:
    """Lines of ten points, one under the other."""

    def draw(canvas: Canvas, top: float) -> None:
        for index, line in enumerate(lines, start=1):
            draw_text(canvas, room.left, top - 13.5 * index + 3, line, face=face, size=10)

    return Block(height, draw)


def sentence_block(said: str, room: Room) -> Block:
    """One large sentence, where there is nothing to list."""

    def draw(canvas: Canvas, top: float) -> None:
        draw_text(canvas, room.left, top - 24, plain(said), face=BOLD, size=14)

    return Block(34, draw)


def heading_block(said: str, more: str, room: Room) -> Block:
    """A stop in large type between rules, what more there is beside it. Its texts are fitted as
    it is drawn: a thousand stops take no time before the first page."""

    def draw(canvas: Canvas, top: float) -> None:
        width = room.right - room.left
        name = shortened(plain(said), BOLD, 14, 0.62 * width)
        beside = shortened(plain(more), REGULAR, BODY, width - width_of(name, BOLD, 14) - 12)
        rule(canvas, room, top - 8, 0.9)
        draw_text(canvas, room.left, top - 24, name, face=BOLD, size=14)
        x = room.right - width_of(beside, REGULAR, BODY)
        draw_text(canvas, x, top - 24, beside, size=BODY)

    return Block(32, draw, leads=True)


def together(blocks: Sequence[Block]) -> Block:
    """Several blocks as one, which is not broken."""

    def draw(canvas: Canvas, top: float) -> None:
        y = top
        for block in blocks:
            block.draw(canvas, y)
            y -= block.height

    return Block(sum(block.height for block in blocks), draw)


def tick_box(canvas: Canvas, x: float, y: float, size: float = BOX) -> None:
    """A box to tick, its lower left corner at x, y."""
    canvas.setLineWidth(1.1)
    canvas.rect(x, y, size, size)


def draw_triangles(canvas: Canvas, x: float, y: float, count: int) -> float:
    """Filled triangles, one for what is heavy and two for what takes two people; where the words
    go that say it."""
    for _each in range(count):
        path = canvas.beginPath()
        path.moveTo(x, y - 1)
        path.lineTo(x + 9, y - 1)
        path.lineTo(x + 4.5, y + 7.5)
        path.close()
        canvas.drawPath(path, stroke=0, fill=1)
        x += 10
    return x + 2


def signatures_block(words: Sequence[object], room: Room) -> Block:
    """A line to sign for each of the words, each with a day."""

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, room, top, 0.9)
        width = room.right - room.left
        y = top - SIGN
        for word in words:
            canvas.setLineWidth(0.7)
            canvas.line(room.left, y, room.left + 0.64 * width, y)
            canvas.line(room.left + 0.7 * width, y, room.right, y)
            draw_text(canvas, room.left, y - 11, plain(str(word)), size=SMALL)
            draw_text(canvas, room.left + 0.7 * width, y - 11, plain(_("Day")), size=SMALL)
            y -= SIGN

    return Block(len(words) * SIGN + 8, draw)
