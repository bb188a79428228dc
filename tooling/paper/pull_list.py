"""The pull list on A4 or Letter: boxes to tick in walking order, black on white.

Points from the lower left of the page, as ReportLab has them. A first pass breaks the list into
pages, a second draws them, so that each can say of how many it is one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
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
from tooling.paper.pages import (
    FOOT,
    Block,
    PaperName,
    Room,
    broken,
    draw_blocks,
    paper_size,
    rule,
)
from tooling.paper.pull_sheet import PullRow, PullSheet, PullStop
from tooling.paper.symbols import QUIET_QR, label_symbol

CAUTIONS = (
    gettext_lazy(
        "Lock out before hands go in. Guards back on before it runs. Mind nip points, sharp edges "
        "and the lift."
    ),
    gettext_lazy("The site's own procedures, local codes and qualified people decide."),
)
"""What every sheet that leads to work at the mill says."""

_MODULE = 0.9 * PT_PER_MM
_NAME, _BODY, _SMALL = 13.0, 10.5, 9.0
_LEADING = 1.25
_BOX = 5.2 * PT_PER_MM
_PAD = 5.0
_MASS_WIDTH = 22 * PT_PER_MM
_CODE_WIDTH = 25 * PT_PER_MM
_CAUTION_WIDTH = 43 * PT_PER_MM


class Frame(Room):
    """The room for the list on a page, with its columns."""

    @property
    def name_left(self) -> float:
        return self.left + _BOX + 3.5 * PT_PER_MM

    @property
    def mass_right(self) -> float:
        return self.right - _CAUTION_WIDTH

    @property
    def code_left(self) -> float:
        return self.mass_right - _MASS_WIDTH - _CODE_WIDTH

    @property
    def name_width(self) -> float:
        return self.code_left - self.name_left - 6


def pull_list_pdf(sheet: PullSheet, *, paper: PaperName = "a4") -> bytes:
    """The list as a PDF. Raises ToolingError ``unknown_paper``; ValueError for a bad kit code."""
    size = paper_size(paper)
    frame = Frame(*size)
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=size, pageCompression=1, invariant=1)
    canvas.setTitle(plain(f"{_('Pull list')} {sheet.title}"))
    pages = broken(list(_blocks(sheet, frame)), frame)
    for number, blocks in enumerate(pages, start=1):
        draw_blocks(canvas, frame, blocks)
        _draw_foot(canvas, frame, sheet, number, len(pages))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _blocks(sheet: PullSheet, frame: Frame) -> Iterator[Block]:
    yield _head(sheet, frame)
    yield from _cautions(frame)
    if not sheet.stops:
        yield _sentence(_("Nothing is left to fetch."), frame)
    for number, stop in enumerate(sheet.stops, start=1):
        yield _stop_heading(stop, number, frame)
        yield from (_row(row, frame, ticked=True) for row in stop.rows)
    if sheet.not_to_fetch:
        yield _heading(_("Cannot be fetched"), "", frame)
        yield from (_row(row, frame, ticked=False) for row in sheet.not_to_fetch)


def _head(sheet: PullSheet, frame: Frame) -> Block:
    symbol = label_symbol(sheet.kit_code)
    side = symbol.modules * _MODULE
    text_width = frame.right - frame.left - side - (QUIET_QR + 2) * _MODULE
    title = shortened(plain(f"{_('Pull list')} {sheet.title}"), BOLD, 20, text_width)
    lines = wrapped(plain(sheet.header), REGULAR, 11.5, text_width, 2)
    facts = [(plain(word), plain(said)) for word, said in sheet.facts if said]
    text_height = 26 + 15 * len(lines) + 14.5 * len(facts)
    quiet = QUIET_QR * _MODULE
    height = max(side + quiet + 10, text_height) + 8

    def draw(canvas: Canvas, top: float) -> None:
        paint_symbol(canvas, symbol, frame.right - side, top, _MODULE)
        code_x = frame.right - width_of(sheet.kit_code, BOLD, 11)
        draw_text(canvas, code_x, top - side - quiet - 8, sheet.kit_code, face=BOLD, size=11)
        draw_text(canvas, frame.left, top - 16, title, face=BOLD, size=20)
        y = top - 34
        for line in lines:
            draw_text(canvas, frame.left, y, line, size=11.5)
            y -= 15
        for word, said in facts:
            _draw_fact(canvas, frame.left, y, word, said, text_width)
            y -= 14.5
        rule(canvas, frame, top - height + 5, 1.2)

    return Block(height, draw)


def _draw_fact(canvas: Canvas, x: float, y: float, word: str, said: str, width: float) -> None:
    column = 25 * PT_PER_MM
    draw_text(canvas, x, y, shortened(word, REGULAR, _SMALL, column - 4), size=_SMALL)
    fits = shortened(said, BOLD, _BODY, width - column)
    draw_text(canvas, x + column, y, fits, face=BOLD, size=_BODY)


def _cautions(frame: Frame) -> Iterator[Block]:
    for caution, face in zip(CAUTIONS, (BOLD, REGULAR), strict=True):
        said = plain(str(caution))
        lines = wrapped(said, face, 10, frame.right - frame.left, 3)
        height = 13.5 * len(lines) + (8 if face == REGULAR else 2)
        yield Block(height, partial(_draw_lines, frame=frame, lines=lines, face=face))


def _draw_lines(
    canvas: Canvas, top: float, *, frame: Frame, lines: Sequence[str], face: str
) -> None:
    for index, line in enumerate(lines, start=1):
        draw_text(canvas, frame.left, top - 13.5 * index + 3, line, face=face, size=10)


def _sentence(said: str, frame: Frame) -> Block:
    def draw(canvas: Canvas, top: float) -> None:
        draw_text(canvas, frame.left, top - 24, said, face=BOLD, size=14)

    return Block(34, draw)


def _stop_heading(stop: PullStop, number: int, frame: Frame) -> Block:
    *outer, inner = stop.place.split(" / ")
    more = " › ".join(filter(None, [*outer, stop.code]))
    return _heading(plain(f"{number}. {inner}"), more, frame)


def _heading(said: str, more: str, frame: Frame) -> Block:
    """A stop of the walk: its place in large type between rules, where it lies beside it."""
    width = frame.right - frame.left
    name = shortened(said, BOLD, 14, 0.62 * width)
    beside = shortened(plain(more), REGULAR, _BODY, width - width_of(name, BOLD, 14) - 12)

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, frame, top - 8, 0.9)
        draw_text(canvas, frame.left, top - 24, name, face=BOLD, size=14)
        x = frame.right - width_of(beside, REGULAR, _BODY)
        draw_text(canvas, x, top - 24, beside, size=_BODY)

    return Block(32, draw, leads=True)


def _row(row: PullRow, frame: Frame, *, ticked: bool) -> Block:
    """One thing: box, name with its count, code, mass, caution; under it what it is and for."""
    count = f" × {row.quantity}" if row.quantity > 1 else ""
    room = frame.name_width - width_of(count, BOLD, _NAME)
    names = wrapped(plain(row.name or row.code), BOLD, _NAME, room, 2)
    names[-1:] = [names[-1] + count] if names else [count.strip()]
    said = " · ".join(filter(None, (plain(row.what), plain(row.goes_to))))
    under = wrapped(said, REGULAR, _BODY, frame.mass_right - frame.name_left, 2)
    notes = wrapped(plain(row.note), REGULAR, _BODY, frame.right - frame.name_left, 5)
    lines = len(under) + len(notes)
    height = 2 * _PAD + _NAME * _LEADING * len(names) + _BODY * _LEADING * lines

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, frame, top, 0.35)
        y = top - _PAD - _NAME * 0.82
        if ticked:
            canvas.setLineWidth(1.1)
            canvas.rect(frame.left, y - _BOX + _NAME * 0.8, _BOX, _BOX)
        else:
            _draw_cross(canvas, frame.left + _BOX / 2, y + _NAME * 0.3)
        _draw_cells(canvas, frame, row, y, with_mass=ticked)
        for name in names:
            draw_text(canvas, frame.name_left, y, name, face=BOLD, size=_NAME)
            y -= _NAME * _LEADING
        for line in (*under, *notes):
            draw_text(canvas, frame.name_left, y + 2, line, size=_BODY)
            y -= _BODY * _LEADING

    return Block(height, draw)


def _draw_cells(canvas: Canvas, frame: Frame, row: PullRow, y: float, *, with_mass: bool) -> None:
    draw_text(canvas, frame.code_left, y, plain(row.code), size=_BODY)
    mass = _mass_words(row) if with_mass else ""
    draw_text(canvas, frame.mass_right - 8 - width_of(mass, REGULAR, _BODY), y, mass, size=_BODY)
    if row.caution in ("heavy", "two_people"):
        _draw_caution(canvas, frame, row.caution, y)


def _mass_words(row: PullRow) -> str:
    """The mass with no more figures than a hand can tell."""
    if row.mass_kg is None:
        return _("? kg")
    return f"{row.mass_kg:.1f} kg" if row.mass_kg < 100 else f"{row.mass_kg:.0f} kg"


def _draw_caution(canvas: Canvas, frame: Frame, caution: str, y: float) -> None:
    """A filled triangle for what is heavy, two for what takes two people; the words beside."""
    words = {"heavy": _("heavy: lift with care"), "two_people": _("two people or hoist")}[caution]
    x = frame.mass_right + 2
    for _each in range(2 if caution == "two_people" else 1):
        path = canvas.beginPath()
        path.moveTo(x, y - 1)
        path.lineTo(x + 9, y - 1)
        path.lineTo(x + 4.5, y + 7.5)
        path.close()
        canvas.drawPath(path, stroke=0, fill=1)
        x += 10
    fits = shortened(words, BOLD, _SMALL, frame.right - x - 2)
    draw_text(canvas, x + 2, y, fits, face=BOLD, size=_SMALL)


def _draw_cross(canvas: Canvas, x: float, y: float) -> None:
    size = _BOX * 0.36
    canvas.setLineWidth(1.6)
    canvas.line(x - size, y - size, x + size, y + size)
    canvas.line(x - size, y + size, x + size, y - size)


def _draw_foot(canvas: Canvas, frame: Frame, sheet: PullSheet, number: int, of: int) -> None:
    """Date, revision and page on every sheet, the kit's code to scan back on every sheet."""
    y = FOOT - 6
    rule(canvas, frame, FOOT + 8, 0.6)
    count = _("{n} to fetch").format(n=sheet.quantity)
    left = f"{sheet.kit_code} · {_('version {n}').format(n=sheet.version)} · {count}"
    draw_text(canvas, frame.left, y, left, size=_BODY)
    date = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    middle = (frame.left + frame.right - width_of(date, REGULAR, _BODY)) / 2
    draw_text(canvas, middle, y, date, size=_BODY)
    page = _("page {n} of {m}").format(n=number, m=of)
    draw_text(canvas, frame.right - width_of(page, BOLD, _BODY), y, page, face=BOLD, size=_BODY)
