"""The packing list that goes to the grinder with the pieces: each with its code, what is to be
done, to what size within what, its mass; on A4 or Letter. Points from the lower left."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from functools import partial
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from reportlab.pdfgen.canvas import Canvas

from tooling.engineering.lengths import Unit, format_length, say_gauged
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
    MODULE,
    draw_fact,
    draw_foot,
    lines_block,
    pages_pdf,
    signatures_block,
    tick_box,
)
from tooling.paper.labels import paint_symbol
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule
from tooling.paper.symbols import QUIET_QR, etching_symbol, label_symbol
from tooling.queries.regrind_order_views import STEP_NM, OrderLineView, OrderPage, SizeView

CAUTIONS = (
    gettext_lazy("Mind sharp edges and the lift. Wheel guards on; never faster than the speed on "
                 "the wheel. Strip chrome before grinding: its dust is a hazard."),
    gettext_lazy("The site's own procedures, local codes and qualified people decide."),
)  # fmt: skip
_MODULE = 0.45 * PT_PER_MM
_SYMBOL, _QUIET = 21 * _MODULE, QUIET_QR * _MODULE
_LEAST = _SYMBOL + 2 * _QUIET
_TITLE, _NAME, _BODY, _SMALL, _LINE = 20.0, 13.0, 10.5, 9.0, 13.5


def packing_list_pdf(
    page: OrderPage, *, shop: str, printed_at: datetime, paper: PaperName = "a4",
    unit: str = "drawn",
) -> bytes:  # fmt: skip
    """The list as a PDF; ``unit``: mm, in, or as each piece is drawn. Raises ToolingError
    ``unknown_paper``."""
    room = Room(*paper_size(paper))
    return pages_pdf(
        _blocks(page, shop, room, unit),
        room,
        title=f"{_('Packing list')} {page.number}",
        foot=partial(_draw_foot, room=room, page=page, printed_at=printed_at),
    )


def _blocks(page: OrderPage, shop: str, room: Room, unit: str) -> Iterator[Block]:
    yield _head(page, shop, room)
    lines = [line for line in page.lines if line.is_open]
    for line in lines:
        yield _line(line, room, unit)
    if not lines:
        yield lines_block([plain(_("Nothing is on this order any more."))], 22, room, face=BOLD)
    for caution, face in zip(CAUTIONS, (BOLD, REGULAR), strict=True):
        said = wrapped(plain(str(caution)), face, 10, room.right - room.left, 3)
        yield lines_block(said, 13.5 * len(said) + 5, room, face=face)
    words = (_("Packed by"), _("Taken over by"), _("Back complete, checked by"))
    yield signatures_block(words, room)


def _head(page: OrderPage, shop: str, room: Room) -> Block:
    symbol = etching_symbol(page.number, "qr")
    side, quiet = symbol.modules * MODULE, QUIET_QR * MODULE
    width = room.right - room.left - side - 2 * quiet
    title = shortened(plain(_("Packing list {number}").format(number=page.number)), BOLD, _TITLE,
                      width)  # fmt: skip
    facts = [(plain(word), plain(said)) for word, said in _facts(page, shop) if said]
    note = wrapped(plain(page.note), REGULAR, _BODY, width, 3) if page.note else []
    height = max(26 + 15 * len(facts) + 14 * len(note), side + quiet + 12) + 10

    def draw(canvas: Canvas, top: float) -> None:
        paint_symbol(canvas, symbol, room.right - side, top, MODULE)
        under = room.right - width_of(page.number, BOLD, 11)
        draw_text(canvas, under, top - side - quiet - 8, page.number, face=BOLD, size=11)
        draw_text(canvas, room.left, top - 16, title, face=BOLD, size=_TITLE)
        y = top - 36
        for word, said in facts:
            draw_fact(canvas, room.left, y, word, said, width, column=32 * PT_PER_MM, size=_BODY)
            y -= 15
        for said in note:
            draw_text(canvas, room.left, y, said, size=_BODY)
            y -= 14
        rule(canvas, room, top - height + 5, 1.2)

    return Block(height, draw)


def _facts(page: OrderPage, shop: str) -> tuple[tuple[str, str], ...]:
    lines = [line for line in page.lines if line.is_open]
    count = ngettext("{n} piece", "{n} pieces", len(lines)).format(n=len(lines))
    mass = _("about {kg} kg").format(kg=f"{page.mass_kg:.1f}")
    if page.unweighed:
        mass += _(", {n} of unknown mass not counted").format(n=page.unweighed)
    return (
        (_("From"), shop),
        (_("To"), page.vendor or _("in this shop")),
        (_("Sent"), _day(timezone.localtime(page.sent_at).date()) if page.sent_at else ""),
        (_("Due back"), _day(page.due_on) if page.due_on else _("no day was said")),
        (_("In all"), f"{count}, {mass}"),
    )


def _day(day: date) -> str:
    return f"{date_format(day, 'D')} {day.isoformat()}"


def _line(line: OrderLineView, room: Room, unit: str) -> Block:
    """A box to tick, what it is, what is to be done, each size wanted; its code at the right."""
    shown: Unit = "in" if (unit if unit in ("mm", "in") else line.unit) == "in" else "mm"
    left = room.left + BOX + 3.5 * PT_PER_MM
    width = room.right - _SYMBOL - 2 * _QUIET - 12 - left
    said = [_("To do: {kinds}").format(kinds=", ".join(line.kind_words))]
    said += [_size_words(size, shown) for size in line.sizes if size.target_nm is not None]
    said += _remarks(line)
    rows = [row for text in said for row in wrapped(plain(text), REGULAR, _BODY, width, 3)]
    height = max(_LEAST + 4, 34 + _LINE * len(rows) + 6)

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, room, top, 0.35)
        tick_box(canvas, room.left, top - 8 - BOX)
        symbol_left = room.right - _SYMBOL
        paint_symbol(canvas, label_symbol(line.code), symbol_left, top - _QUIET, _MODULE)
        code_x = symbol_left - _QUIET - 4 - width_of(line.code, BOLD, _BODY)
        draw_text(canvas, code_x, top - 16, line.code, face=BOLD, size=_BODY)
        name = shortened(plain(line.mark or line.drawing), BOLD, _NAME, code_x - left - 8)
        draw_text(canvas, left, top - 16, name, face=BOLD, size=_NAME)
        under = " · ".join(filter(None, (line.drawing, line.title, line.material, _mass(line))))
        draw_text(
            canvas, left, top - 29, shortened(plain(under), REGULAR, _BODY, width), size=_BODY
        )
        y = top - 29 - _LINE
        for row in rows:
            draw_text(canvas, left, y, row, size=_BODY)
            y -= _LINE

    return Block(height, draw)


def _size_words(size: SizeView, unit: Unit) -> str:
    def both(nm: int | None) -> str:
        return "–" if nm is None else say_gauged(nm, unit, STEP_NM[unit], written=True)

    words = _("{dimension}: {target} (+{plus} / −{minus}), now {now}")
    return words.format(
        dimension=size.label, target=both(size.target_nm), now=both(size.before_nm),
        plus=format_length(size.plus_nm, unit), minus=format_length(size.minus_nm, unit),
    )  # fmt: skip


def _remarks(line: OrderLineView) -> list[str]:
    found = []
    if line.over_chrome:
        found.append(_("Plated: its sizes are over chrome."))
    if line.mark_to_restore:
        words = _("Keep or restore its mark {mark} on the {place}.")
        found.append(words.format(mark=line.mark or "–", place=line.mark_place))
    if not line.is_shops:
        found.append(_("Property of {owner}.").format(owner=line.owner))
    if line.note:
        found.append(line.note)
    return found


def _mass(line: OrderLineView) -> str:
    if line.mass_kg is None:
        return _("mass not known")
    kg = f"{line.mass_kg:.1f} kg"
    return f"{kg}, {line.people}" if line.people else kg


def _draw_foot(
    canvas: Canvas, number: int, of: int, *, room: Room, page: OrderPage, printed_at: datetime
) -> None:
    left: Any = plain(f"{_('Packing list')} {page.number}")
    stamp = f"{timezone.localtime(printed_at):%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of)
