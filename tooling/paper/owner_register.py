"""An owner's register on A4 or Letter: a picture, the facts and the label's code of every piece,
black on white, by place. Points from the lower left of the page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from io import BytesIO

from django.utils.translation import gettext as _
from reportlab.lib.utils import ImageReader
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
from tooling.paper.frame import (
    draw_fact,
    draw_foot,
    heading_block,
    pages_pdf,
    sentence_block,
)
from tooling.paper.labels import paint_symbol
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule
from tooling.paper.register_sheet import CountRow, RegisterPlace, RegisterRow, RegisterSheet
from tooling.paper.symbols import QUIET_QR, label_symbol

_MODULE = 0.5 * PT_PER_MM
_SYMBOL = 21 * _MODULE
_QUIET = QUIET_QR * _MODULE
_PICTURE_WIDTH, _PICTURE_HEIGHT = 26 * PT_PER_MM, 19.5 * PT_PER_MM
_ROW = _PICTURE_HEIGHT + 9
_NAME, _BODY, _SMALL = 12.5, 10.0, 9.0
_FACT_WORD, _FACTS = 62.0, 168.0
_FACT_LINE = 11.0

Progress = Callable[[float], None]


def register_pdf(
    sheet: RegisterSheet, *, paper: PaperName = "a4", progress: Progress | None = None
) -> bytes:
    """The register as a PDF; ``progress`` is told the share done, 0 to 1, after every page.

    Raises ToolingError ``unknown_paper``; ValueError for what is no label code.
    """
    size = paper_size(paper)
    room = Room(*size)
    return pages_pdf(
        _blocks(sheet, room),
        room,
        title=sheet.title,
        foot=partial(_draw_foot, room=room, sheet=sheet),
        progress=progress,
    )


def _blocks(sheet: RegisterSheet, room: Room) -> Iterator[Block]:
    yield _head(sheet, room)
    if not sheet.places and not sheet.counts:
        yield sentence_block(_("Nothing of this owner's lies here."), room)
    for place in sheet.places:
        yield _place_heading(place, room)
        for row in place.rows:
            yield Block(_ROW, partial(_draw_row, room=room, row=row, sheet=sheet))
    if sheet.counts:
        yield heading_block(_("Counted"), "", room)
        for count in sheet.counts:
            yield Block(17, partial(_draw_count, room=room, count=count))


def _head(sheet: RegisterSheet, room: Room) -> Block:
    width = room.right - room.left
    titles = wrapped(plain(sheet.title), BOLD, 19, width, 2)
    lines = wrapped(plain(sheet.sentence), REGULAR, 11.5, width, 3)
    facts = [(plain(word), plain(said)) for word, said in sheet.facts if said]
    height = 23 * len(titles) + 15 * len(lines) + 14 * len(facts) + 16

    def draw(canvas: Canvas, top: float) -> None:
        y = top - 17
        for line in titles:
            draw_text(canvas, room.left, y, line, face=BOLD, size=19)
            y -= 23
        for line in lines:
            draw_text(canvas, room.left, y, line, size=11.5)
            y -= 15
        for word, said in facts:
            draw_fact(canvas, room.left, y, word, said, width, column=36 * PT_PER_MM)
            y -= 14
        rule(canvas, room, top - height + 6, 1.2)

    return Block(height, draw)


def _place_heading(place: RegisterPlace, room: Room) -> Block:
    *outer, inner = place.place.split(" / ")
    return heading_block(inner, " › ".join(filter(None, [*outer, place.code])), room)


def _draw_row(
    canvas: Canvas, top: float, *, room: Room, row: RegisterRow, sheet: RegisterSheet
) -> None:
    rule(canvas, room, top, 0.35)
    _draw_picture(canvas, room.left, top - 4, sheet.picture(row.picture) if row.picture else None)
    symbol_left = room.right - _SYMBOL - _QUIET
    facts_left = symbol_left - _QUIET - _FACTS
    text_left = room.left + _PICTURE_WIDTH + 8
    _draw_what(canvas, text_left, top - 4, row, facts_left - text_left - 8)
    y = top - 13
    for word, said in row.facts:
        draw_fact(
            canvas, facts_left, y, plain(word), plain(said), _FACTS, column=_FACT_WORD
        )  # fmt: skip
        y -= _FACT_LINE
    symbol = label_symbol(row.code)
    paint_symbol(canvas, symbol, symbol_left, top - 6, _MODULE)
    x = room.right - width_of(row.code, REGULAR, _SMALL)
    draw_text(canvas, x, top - 6 - _SYMBOL - _QUIET - 6, row.code, size=_SMALL)


class _Jpeg(ImageReader):
    """A picture that goes into the file as it is, told apart by its bytes: nothing decodes it."""

    def __init__(self, data: bytes) -> None:
        super().__init__(BytesIO(data))
        self.data = data
        self._dataA = None

    def jpeg_fh(self) -> BytesIO:  # type: ignore[override]
        return BytesIO(self.data)

    def getRGBData(self) -> bytes:  # noqa: N802 - ReportLab's name
        return self.data


def _draw_picture(canvas: Canvas, left: float, top: float, data: bytes | None) -> None:
    bottom = top - _PICTURE_HEIGHT
    if data is not None:
        canvas.drawImage(
            _Jpeg(data), left, bottom, _PICTURE_WIDTH, _PICTURE_HEIGHT,
            preserveAspectRatio=True, anchor="nw",
        )  # fmt: skip
        return
    canvas.setLineWidth(0.35)
    canvas.rect(left, bottom, _PICTURE_WIDTH, _PICTURE_HEIGHT)
    said = _no_picture()
    x = left + (_PICTURE_WIDTH - width_of(said, REGULAR, _SMALL)) / 2
    draw_text(canvas, x, bottom + _PICTURE_HEIGHT / 2 - 3, said, size=_SMALL)


def _no_picture() -> str:
    return shortened(plain(_("no picture")), REGULAR, _SMALL, _PICTURE_WIDTH - 4)


def _draw_what(canvas: Canvas, x: float, top: float, row: RegisterRow, width: float) -> None:
    """The name large, what it is under it, and last what must not be overlooked."""
    y = top - _NAME * 0.85
    draw_text(canvas, x, y, shortened(plain(row.name or row.code), BOLD, _NAME, width), face=BOLD,
              size=_NAME)  # fmt: skip
    y -= _BODY * 1.35
    for line in row.what:
        draw_text(canvas, x, y, shortened(plain(line), REGULAR, _BODY, width), size=_BODY)
        y -= _BODY * 1.2
    for line in wrapped(plain(row.note), BOLD, _SMALL, width, 1):
        draw_text(canvas, x, y, line, face=BOLD, size=_SMALL)


def _draw_count(canvas: Canvas, top: float, *, room: Room, count: CountRow) -> None:
    rule(canvas, room, top, 0.35)
    y = top - 12
    draw_text(canvas, room.left, y, count.code, size=_BODY)
    columns = ((58, BOLD, f"{count.what} × {count.quantity}", 150.0),
               (216, REGULAR, count.where, 190.0),
               (414, REGULAR, count.note, room.right - room.left - 414))  # fmt: skip
    for offset, face, said, width in columns:
        fits = shortened(plain(said), face, _BODY, width)
        draw_text(canvas, room.left + offset, y, fits, face=face, size=_BODY)


def _draw_foot(canvas: Canvas, number: int, of: int, *, room: Room, sheet: RegisterSheet) -> None:
    """Whose register it is, of when, and which page, on every sheet."""
    left = shortened(plain(f"{sheet.title} ({sheet.owner_code})"), REGULAR, 10.5, 230)
    stamp = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of, aside=30)
