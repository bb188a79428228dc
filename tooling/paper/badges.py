"""A badge of the size of a bank card (ISO/IEC 7810 ID-1): a name, and a code for scanners."""

from __future__ import annotations

from datetime import date
from io import BytesIO

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from reportlab.pdfgen.canvas import Canvas

from tooling.paper.faces import BOLD, PT_PER_MM, REGULAR, draw_text, plain, wrapped
from tooling.paper.labels import paint_symbol
from tooling.paper.symbols import address_symbol

WIDTH_MM, HEIGHT_MM = 85.6, 53.98
_CODE_MM = 38.0
_EDGE_MM = 6.0
_NAME, _SMALL = 15.0, 8.0


def badge_pdf(*, name: str, text: str, issued_on: date) -> bytes:
    """One page of the card's size. ``text`` is what the code holds and is not printed in words."""
    buffer = BytesIO()
    size = (WIDTH_MM * PT_PER_MM, HEIGHT_MM * PT_PER_MM)
    canvas = Canvas(buffer, pagesize=size, pageCompression=1, invariant=1)
    canvas.setTitle(str(_("Badge")))
    symbol = address_symbol(text)
    module = _CODE_MM * PT_PER_MM / symbol.across
    quiet = symbol.quiet * module
    top = size[1] - _EDGE_MM * PT_PER_MM
    paint_symbol(canvas, symbol, _EDGE_MM * PT_PER_MM / 2 + quiet, top - quiet, module)
    left = (_EDGE_MM + _CODE_MM) * PT_PER_MM
    room = size[0] - left - _EDGE_MM * PT_PER_MM / 2
    for line in wrapped(plain(name), BOLD, _NAME, room, 3):
        top -= _NAME * 1.2
        draw_text(canvas, left, top, line, face=BOLD, size=_NAME)
    foot = _("Badge, issued {day}").format(day=date_format(issued_on, "Y-m-d"))
    draw_text(canvas, left, _EDGE_MM * PT_PER_MM, foot, face=REGULAR, size=_SMALL)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()
