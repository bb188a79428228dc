"""Paper read back from outside: PDFs to pixels by pypdfium2, symbols by zxing-cpp."""

from __future__ import annotations

import re
from io import BytesIO

import pypdfium2
import zxingcpp
from PIL import Image, ImageDraw

from tooling.engineering.codes import make_code
from tooling.paper.label_layout import LabelText

SCAN_DPI = 150


def codes(count: int, kind: str = "R") -> list[str]:
    """So many different issued label codes."""
    found: list[str] = []
    serial = 0
    while len(found) < count:
        serial += 977
        if code := make_code(kind, serial):
            found.append(code)
    return found


def labels(count: int, headline: str = "W24-07 T2") -> list[LabelText]:
    """So many labels that differ in nothing but their code."""
    return [LabelText(code, headline, ("drawing 1408-T2 rev C",), "roll") for code in codes(count)]


def pages(pdf: bytes, dpi: int = SCAN_DPI) -> list[Image.Image]:
    """Every page of a PDF as a grey picture."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [page.render(scale=dpi / 72).to_pil().convert("L") for page in document]
    finally:
        document.close()


def page_texts(pdf: bytes) -> list[str]:
    """The text of every page, spaces and breaks made single."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        texts = [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()
    return [re.sub(r"\s+", " ", text) for text in texts]


def read(picture: Image.Image) -> list[str]:
    """The texts of all symbols that the independent decoder finds, sorted."""
    return sorted(found.text for found in zxingcpp.read_barcodes(picture))


def read_png(png: bytes) -> list[str]:
    return read(Image.open(BytesIO(png)))


def rasterise_path(svg: str, pixels_per_module: int = 8) -> Image.Image:
    """The filled rectangles of an etching's path, drawn without any SVG library."""
    view = re.search(r'viewBox="(-?\d+) (-?\d+) (\d+) ([\d.]+)"', svg)
    path = re.search(r'<path d="([^"]+)"', svg)
    assert view is not None
    assert path is not None
    left, top, across = int(view[1]), int(view[2]), int(view[3])
    picture = Image.new("L", (across * pixels_per_module, across * pixels_per_module), 255)
    pen = ImageDraw.Draw(picture)
    for x, y, w, h, back in re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)h-(\d+)z", path[1]):
        assert w == back
        x0, y0 = (int(x) - left) * pixels_per_module, (int(y) - top) * pixels_per_module
        x1, y1 = x0 + int(w) * pixels_per_module - 1, y0 + int(h) * pixels_per_module - 1
        pen.rectangle((x0, y0, x1, y1), fill=0)
    return picture
