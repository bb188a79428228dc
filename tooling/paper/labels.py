"""Labels as vector PDF or as one picture, each with a QR symbol that holds the bare code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from io import BytesIO

from django.utils.translation import gettext_lazy as _
from PIL import Image, ImageDraw, ImageFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from tooling.errors import ToolingError
from tooling.paper.faces import FOLDER, PT_PER_MM, draw_text
from tooling.paper.label_layout import LabelText, PlacedLabel, lay_out
from tooling.paper.label_sizes import MM_PER_IN, LabelSize, size_named
from tooling.paper.symbols import Symbol

LEAST_DPI = 150
MOST_DPI = 1200
_TOLD_EVERY = 25


def labels_pdf(
    labels: Sequence[LabelText],
    *,
    size: str = "a4-24",
    skip: int = 0,
    progress: Callable[[float], None] | None = None,
) -> bytes:
    """The labels in their order, the first ``skip`` of the first sheet left free.

    ``progress`` hears the share that is done, 0 to 1, before every 25th label, and may raise.
    Raises ToolingError ``no_labels``, ``unknown_label_size`` or ``label_skip_too_large``, and
    ValueError for a text that is no bare label code.
    """
    stock = size_named(size)
    _check(labels, stock, skip)
    buffer = BytesIO()
    page = (stock.page_mm[0] * PT_PER_MM, stock.page_mm[1] * PT_PER_MM)
    canvas = Canvas(buffer, pagesize=page, pageCompression=1, invariant=1)
    canvas.setTitle(str(_("Labels")))
    for index, label in enumerate(labels, start=skip):
        if index > skip and index % stock.per_page == 0:
            canvas.showPage()
        if progress and (index - skip) % _TOLD_EVERY == 0:
            progress((index - skip) / len(labels))
        left, top = stock.corner_mm(index)
        _paint(canvas, lay_out(label, stock), left * PT_PER_MM, page[1] - top * PT_PER_MM)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def label_png(label: LabelText, *, size: str = "50x25", dpi: int = 300) -> bytes:
    """One label as a black and white picture for a label printer's own program.

    A module is a whole number of dots, so the symbol may be a little smaller than in the PDF.
    Raises ToolingError ``unknown_label_size`` or ``dpi_out_of_range``.
    """
    if not LEAST_DPI <= dpi <= MOST_DPI:
        raise ToolingError(
            "dpi_out_of_range",
            _("{dpi} dots per inch is out of range. Use {least} to {most}."),
            dpi=dpi, least=LEAST_DPI, most=MOST_DPI,
        )  # fmt: skip
    stock = size_named(size)
    dots = dpi / MM_PER_IN
    picture = Image.new("L", (round(stock.width_mm * dots), round(stock.height_mm * dots)), 255)
    _draw(ImageDraw.Draw(picture), lay_out(label, stock), dots)
    buffer = BytesIO()
    picture.save(buffer, "PNG", dpi=(dpi, dpi), optimize=True)
    return buffer.getvalue()


def _check(labels: Sequence[LabelText], stock: LabelSize, skip: int) -> None:
    if not labels:
        raise ToolingError(
            "no_labels", _("There is nothing to print. Choose at least one piece, bin or place.")
        )
    if not 0 <= skip < stock.per_page:
        raise ToolingError(
            "label_skip_too_large",
            _("{skip} labels cannot be skipped: a page of “{size}” holds {per_page}."),
            skip=skip, size=stock.name, per_page=stock.per_page,
        )  # fmt: skip


def _paint(canvas: Canvas, placed: PlacedLabel, left: float, top: float) -> None:
    x = left + placed.symbol_x_mm * PT_PER_MM
    y = top - placed.symbol_y_mm * PT_PER_MM
    paint_symbol(canvas, placed.symbol, x, y, placed.module_mm * PT_PER_MM)
    for text in placed.texts:
        draw_text(
            canvas, left + text.x_mm * PT_PER_MM, top - text.y_mm * PT_PER_MM, text.text,
            face=text.face, size=text.size_mm * PT_PER_MM,
        )  # fmt: skip


def paint_symbol(canvas: Canvas, symbol: Symbol, x: float, y: float, module: float) -> None:
    """Paint a symbol as one filled path; x, y is its upper left dark corner, all in points."""
    canvas.saveState()
    canvas.setFillGray(0)
    canvas.transform(module, 0, 0, -module, x, y)
    # Whole numbers of modules need no formatting: one string instead of a call per rectangle.
    rectangles = " ".join(f"{x:d} {y:d} {w:d} {h:d} re" for x, y, w, h in symbol.runs)
    canvas.drawPath(PDFPathObject(code=[rectangles]), stroke=0, fill=1)
    canvas.restoreState()


def _draw(pen: ImageDraw.ImageDraw, placed: PlacedLabel, dots: float) -> None:
    module = max(1, int(placed.module_mm * dots + 1e-6))
    slack = (placed.module_mm * dots - module) * placed.symbol.modules / 2
    x0 = round(placed.symbol_x_mm * dots + slack)
    y0 = round(placed.symbol_y_mm * dots + slack)
    for x, y, width, height in placed.symbol.runs:
        corner = (x0 + x * module, y0 + y * module)
        end = (corner[0] + width * module - 1, corner[1] + height * module - 1)
        pen.rectangle((corner, end), fill=0)
    for text in placed.texts:
        font = _font(text.face, round(text.size_mm * dots))
        pen.text((text.x_mm * dots, text.y_mm * dots), text.text, font=font, fill=0, anchor="ls")


@lru_cache(maxsize=64)
def _font(face: str, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(FOLDER / f"{face}.ttf"), max(size, 1))
