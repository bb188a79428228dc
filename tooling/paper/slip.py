"""A hand-out slip on A4 or Letter: what went to whom until when, a code to scan each thing back,
lines to sign. Black on white; points from the lower left of the page."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from functools import partial

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
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
    BOX,
    draw_foot,
    pages_pdf,
    sentence_block,
    signatures_block,
    tick_box,
)
from tooling.paper.labels import paint_symbol
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule
from tooling.paper.symbols import QUIET_QR, label_symbol
from tooling.queries.hand_outs import Slip
from tooling.queries.loans import Loan

_HEAD_MODULE, _ROW_MODULE = 0.9 * PT_PER_MM, 0.45 * PT_PER_MM
_SYMBOL, _QUIET = 21 * _ROW_MODULE, QUIET_QR * _ROW_MODULE
_ROW = _SYMBOL + 2 * _QUIET
_TITLE, _NAME, _BODY, _SMALL = 20.0, 13.0, 10.5, 9.0
_WORD = 28 * PT_PER_MM


def slip_pdf(slip: Slip, *, shop: str, printed_at: datetime, paper: PaperName = "a4") -> bytes:
    """The slip as a PDF; ``shop`` is who hands out. Raises ToolingError ``unknown_paper``."""
    size = paper_size(paper)
    room = Room(*size)
    return pages_pdf(
        _blocks(slip, shop, room),
        room,
        title=f"{_('Hand-out slip')} {slip.place}",
        foot=partial(_draw_foot, room=room, slip=slip, printed_at=printed_at),
    )


def _blocks(slip: Slip, shop: str, room: Room) -> Iterator[Block]:
    yield _head(slip, shop, room)
    if not slip.loans:
        yield sentence_block(_("Nothing is out here."), room)
    for loan in slip.loans:
        differs = loan.due_on != slip.due_on
        yield Block(_ROW, partial(_draw_row, room=room, loan=loan, says_due=differs))
    if slip.loans:
        words = (_("Handed over by"), _("Received by"), _("Back complete, checked by"))
        yield signatures_block(words, room)


def _head(slip: Slip, shop: str, room: Room) -> Block:
    symbol = label_symbol(slip.place_code)
    side, quiet = symbol.modules * _HEAD_MODULE, QUIET_QR * _HEAD_MODULE
    width = room.right - room.left - side - quiet - 8
    titles = wrapped(plain(_title(slip)), BOLD, _TITLE, width, 2)
    facts = [(plain(word), plain(said)) for word, said in _facts(slip, shop) if said]
    height = max(side + quiet + 12, 24 * len(titles) + 15 * len(facts) + 10) + 8

    def draw(canvas: Canvas, top: float) -> None:
        paint_symbol(canvas, symbol, room.right - side, top, _HEAD_MODULE)
        code_x = room.right - width_of(slip.place_code, BOLD, 11)
        draw_text(canvas, code_x, top - side - quiet - 8, slip.place_code, face=BOLD, size=11)
        y = top - 16
        for line in titles:
            draw_text(canvas, room.left, y, line, face=BOLD, size=_TITLE)
            y -= 24
        for word, said in facts:
            draw_text(canvas, room.left, y, word, size=_SMALL)
            fits = shortened(said, BOLD, _BODY, width - _WORD)
            draw_text(canvas, room.left + _WORD, y, fits, face=BOLD, size=_BODY)
            y -= 15
        rule(canvas, room, top - height + 5, 1.2)

    return Block(height, draw)


def _title(slip: Slip) -> str:
    words = _("Sent to {place}") if slip.leaves else _("Handed to {place}")
    return words.format(place=slip.place.rsplit(" / ", 1)[-1])


def _facts(slip: Slip, shop: str) -> tuple[tuple[str, str], ...]:
    since = min((loan.since for loan in slip.loans), default=None)
    count = ngettext("{n} piece", "{n} pieces", slip.count).format(n=slip.count)
    makers = sorted({loan.by for loan in slip.loans if loan.by})
    return (
        (_("From"), shop),
        (_("To"), f"{slip.place} ({slip.place_kind_word})"),
        (_("Since"), _day(timezone.localtime(since).date()) if since else ""),
        (_("Due back"), _day(slip.due_on) if slip.due_on else _("see each line, or no day")),
        (_("Handed out by"), ", ".join(makers[:3])),
        (_("Reason"), slip.reason),
        (_("In all"), count),
    )


def _day(day: date) -> str:
    return f"{date_format(day, 'D')} {day.isoformat()}"


def _draw_row(canvas: Canvas, top: float, *, room: Room, loan: Loan, says_due: bool) -> None:
    """A box for when it is back, what it is, its code to scan back at the right."""
    rule(canvas, room, top, 0.35)
    middle = top - _ROW / 2
    tick_box(canvas, room.left, middle - BOX / 2)
    paint_symbol(canvas, label_symbol(loan.code), room.right - _SYMBOL, top - _QUIET, _ROW_MODULE)
    code_right = room.right - _SYMBOL - _QUIET - 4
    x = code_right - width_of(loan.code, BOLD, _BODY)
    draw_text(canvas, x, middle + 2, loan.code, face=BOLD, size=_BODY)
    due = ""
    if says_due:
        due = _("back {day}").format(day=_day(loan.due_on)) if loan.due_on else _("no day")
    draw_text(canvas, code_right - width_of(due, REGULAR, _SMALL), middle - 11, due, size=_SMALL)
    left = room.left + BOX + 3.5 * PT_PER_MM
    room_for = x - left - 12
    name = shortened(plain(_name(loan)), BOLD, _NAME, room_for)
    draw_text(canvas, left, middle + 2, name, face=BOLD, size=_NAME)
    under = " · ".join(filter(None, (loan.drawing, loan.owner, loan.on_cart)))
    fits = shortened(plain(under), REGULAR, _BODY, room_for)
    draw_text(canvas, left, middle - 11, fits, size=_BODY)


def _name(loan: Loan) -> str:
    return f"{loan.quantity} × {loan.name}" if loan.kind == "bin" else loan.name


def _draw_foot(
    canvas: Canvas, number: int, of: int, *, room: Room, slip: Slip, printed_at: datetime
) -> None:
    left = plain(f"{_('Hand-out slip')} · {slip.place_code}")
    stamp = f"{timezone.localtime(printed_at):%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of)
