"""The list of spacers to make, for whoever saws, turns or grinds them: A4 or Letter, boxes to tick.

Points from the lower left of the page, as ReportLab has them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.utils.translation import gettext as _
from reportlab.pdfgen.canvas import Canvas

from tooling.paper.faces import BOLD, REGULAR, draw_text, plain, shortened, wrapped
from tooling.paper.frame import (
    BODY,
    BOX,
    NAME,
    coded_head,
    draw_foot,
    heading_block,
    pages_pdf,
    sentence_block,
    tick_box,
)
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule

_PAD = 5.0
_LEADING = 1.25
_NAME_SHARE = 0.42


@dataclass(frozen=True)
class MakeRow:
    """One piece to make. ``length``: what it is made or ground to, with its unit; ``goes_to``:
    station, shaft, fill; ``fits``: shaft and key that it goes over."""

    length: str
    goes_to: str
    fits: str = ""


@dataclass(frozen=True)
class MakeSheet:
    """All of it. ``impossible``: fills that no piece can put right, in words."""

    title: str
    kit_code: str
    version: int
    printed_at: datetime
    header: str
    facts: tuple[tuple[str, str], ...]
    rows: tuple[MakeRow, ...]
    impossible: tuple[str, ...] = ()


def make_list_pdf(sheet: MakeSheet, *, paper: PaperName = "a4") -> bytes:
    """The list as a PDF. Raises ToolingError ``unknown_paper``; ValueError for a bad kit code."""
    room = Room(*paper_size(paper))
    return pages_pdf(
        _blocks(sheet, room),
        room,
        title=f"{_('Spacers to make')} {sheet.title}",
        foot=partial(_draw_foot, room=room, sheet=sheet),
    )


def _blocks(sheet: MakeSheet, room: Room) -> Iterator[Block]:
    yield coded_head(
        title=f"{_('Spacers to make')} {sheet.title}", lines=sheet.header, facts=sheet.facts,
        code=sheet.kit_code, room=room,
    )  # fmt: skip
    if not sheet.rows:
        yield sentence_block(_("Nothing has to be made."), room)
    yield from (_row(row, room) for row in sheet.rows)
    if sheet.impossible:
        yield heading_block(_("What no piece can put right"), "", room)
        yield from (_said(text, room) for text in sheet.impossible)


def _row(row: MakeRow, room: Room) -> Block:
    """Box and length in large type, beside it where it goes, under that what it fits."""
    left = room.left + BOX + 10
    beside = left + _NAME_SHARE * (room.right - left)
    goes = wrapped(plain(row.goes_to), REGULAR, BODY, room.right - beside, 2)
    fits = wrapped(plain(row.fits), REGULAR, BODY, room.right - beside, 2)
    lines = [*goes, *fits]
    height = 2 * _PAD + max(NAME * _LEADING, BODY * _LEADING * len(lines))

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, room, top, 0.35)
        y = top - _PAD - NAME * 0.82
        tick_box(canvas, room.left, y - BOX + NAME * 0.8)
        name = shortened(plain(row.length), BOLD, NAME, beside - left - 8)
        draw_text(canvas, left, y, name, face=BOLD, size=NAME)
        for line in lines:
            draw_text(canvas, beside, y + 2, line, size=BODY)
            y -= BODY * _LEADING

    return Block(height, draw)


def _said(text: str, room: Room) -> Block:
    lines = wrapped(plain(text), REGULAR, BODY, room.right - room.left, 4)
    height = 2 * _PAD + BODY * _LEADING * len(lines)

    def draw(canvas: Canvas, top: float) -> None:
        y = top - _PAD - BODY * 0.82
        for line in lines:
            draw_text(canvas, room.left, y, line, size=BODY)
            y -= BODY * _LEADING

    return Block(height, draw)


def _draw_foot(canvas: Canvas, number: int, of: int, *, room: Room, sheet: MakeSheet) -> None:
    count = _("{n} to make").format(n=len(sheet.rows))
    left = f"{sheet.kit_code} · {_('version {n}').format(n=sheet.version)} · {count}"
    stamp = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of)
