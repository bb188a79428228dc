"""The pull list on A4 or Letter: boxes to tick in walking order, black on white.

Points from the lower left of the page, as ReportLab has them. A first pass breaks the list into
pages, a second draws them, so that each can say of how many it is one.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from django.utils.translation import gettext as _
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
    BODY,
    BOX,
    NAME,
    SMALL,
    caution_blocks,
    coded_head,
    draw_foot,
    draw_triangles,
    heading_block,
    pages_pdf,
    sentence_block,
    tick_box,
)
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule
from tooling.paper.pull_sheet import PullRow, PullSheet, PullStop

_LEADING = 1.25
_PAD = 5.0
_MASS_WIDTH = 22 * PT_PER_MM
_CODE_WIDTH = 25 * PT_PER_MM
_CAUTION_WIDTH = 43 * PT_PER_MM


class Frame(Room):
    """The room for the list on a page, with its columns."""

    @property
    def name_left(self) -> float:
        return self.left + BOX + 3.5 * PT_PER_MM

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
    return pages_pdf(
        _blocks(sheet, frame),
        frame,
        title=f"{_('Pull list')} {sheet.title}",
        foot=partial(_draw_foot, frame=frame, sheet=sheet),
    )


def _blocks(sheet: PullSheet, frame: Frame) -> Iterator[Block]:
    yield coded_head(
        title=f"{_('Pull list')} {sheet.title}", lines=sheet.header, facts=sheet.facts,
        code=sheet.kit_code, room=frame,
    )  # fmt: skip
    yield from caution_blocks(frame)
    if not sheet.stops:
        yield sentence_block(_("Nothing is left to fetch."), frame)
    for number, stop in enumerate(sheet.stops, start=1):
        yield _stop_heading(stop, number, frame)
        yield from (_row(row, frame, ticked=True) for row in stop.rows)
    if sheet.not_to_fetch:
        yield heading_block(_("Cannot be fetched"), "", frame)
        yield from (_row(row, frame, ticked=False) for row in sheet.not_to_fetch)


def _stop_heading(stop: PullStop, number: int, frame: Frame) -> Block:
    *outer, inner = stop.place.split(" / ")
    more = " › ".join(filter(None, [*outer, stop.code]))
    return heading_block(f"{number}. {inner}", more, frame)


def _row(row: PullRow, frame: Frame, *, ticked: bool) -> Block:
    """One thing: box, name with its count, code, mass, caution; under it what it is and for."""
    count = f" × {row.quantity}" if row.quantity > 1 else ""
    room = frame.name_width - width_of(count, BOLD, NAME)
    names = wrapped(plain(row.name or row.code), BOLD, NAME, room, 2)
    names[-1:] = [names[-1] + count] if names else [count.strip()]
    said = " · ".join(filter(None, (plain(row.what), plain(row.goes_to))))
    under = wrapped(said, REGULAR, BODY, frame.mass_right - frame.name_left, 2)
    notes = wrapped(plain(row.note), REGULAR, BODY, frame.right - frame.name_left, 5)
    lines = len(under) + len(notes)
    height = 2 * _PAD + NAME * _LEADING * len(names) + BODY * _LEADING * lines

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, frame, top, 0.35)
        y = top - _PAD - NAME * 0.82
        if ticked:
            tick_box(canvas, frame.left, y - BOX + NAME * 0.8)
        else:
            _draw_cross(canvas, frame.left + BOX / 2, y + NAME * 0.3)
        _draw_cells(canvas, frame, row, y, with_mass=ticked)
        for name in names:
            draw_text(canvas, frame.name_left, y, name, face=BOLD, size=NAME)
            y -= NAME * _LEADING
        for line in (*under, *notes):
            draw_text(canvas, frame.name_left, y + 2, line, size=BODY)
            y -= BODY * _LEADING

    return Block(height, draw)


def _draw_cells(canvas: Canvas, frame: Frame, row: PullRow, y: float, *, with_mass: bool) -> None:
    draw_text(canvas, frame.code_left, y, plain(row.code), size=BODY)
    mass = _mass_words(row) if with_mass else ""
    draw_text(canvas, frame.mass_right - 8 - width_of(mass, REGULAR, BODY), y, mass, size=BODY)
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
    count = 2 if caution == "two_people" else 1
    x = draw_triangles(canvas, frame.mass_right + 2, y, count)
    fits = shortened(words, BOLD, SMALL, frame.right - x)
    draw_text(canvas, x, y, fits, face=BOLD, size=SMALL)


def _draw_cross(canvas: Canvas, x: float, y: float) -> None:
    size = BOX * 0.36
    canvas.setLineWidth(1.6)
    canvas.line(x - size, y - size, x + size, y + size)
    canvas.line(x - size, y + size, x + size, y - size)


def _draw_foot(canvas: Canvas, number: int, of: int, *, frame: Frame, sheet: PullSheet) -> None:
    """Date, revision and page on every sheet, the kit's code to scan back on every sheet."""
    count = _("{n} to fetch").format(n=sheet.quantity)
    left = f"{sheet.kit_code} · {_('version {n}').format(n=sheet.version)} · {count}"
    stamp = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    draw_foot(canvas, frame, left=left, stamp=stamp, number=number, of=of)
