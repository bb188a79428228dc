"""The same shapes onto a ReportLab canvas: black on white, each look from one table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import singledispatchmethod
from types import MappingProxyType

from reportlab.pdfgen.canvas import Canvas

from tooling.pictures.shapes import Drawing, Group, Line, Mark, Path, Rect, Shape, Step, Text
from tooling.pictures.state_marks import placed

PT_PER_MM = 72 / 25.4
_EVEN_ODD = 0


@dataclass(frozen=True)
class Ink:
    """Grey of fill and stroke (0 black, 1 white, None none), line in mm, dashes in mm."""

    fill: float | None = None
    stroke: float | None = None
    line_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()


PAPER_INKS: Mapping[str, Ink] = MappingProxyType(
    {
        "ink": Ink(fill=0),
        "body": Ink(fill=0),
        "hollow": Ink(fill=0),
        "spacer": Ink(fill=0.45),
        "paper": Ink(fill=1),
        "soft": Ink(fill=0.85),
        "hit": Ink(),
        "mark": Ink(fill=0),
        "mark on-body": Ink(fill=1),
        "outline": Ink(stroke=0, line_mm=0.35),
        "hair": Ink(stroke=0, line_mm=0.18),
        "gap-line": Ink(stroke=1, line_mm=0.2),
        "leader": Ink(stroke=0, line_mm=0.18),
        "strip": Ink(stroke=0, line_mm=0.5),
        "centre": Ink(stroke=0.3, line_mm=0.18, dash_mm=(4, 1, 0.8, 1)),
        "hatch": Ink(stroke=0.3, line_mm=0.15),
        "dimension": Ink(stroke=0, line_mm=0.18),
        "arrow": Ink(fill=0),
        "label": Ink(fill=0),
        "label strong": Ink(fill=0),
        "label quiet": Ink(fill=0.25),
        "allowed": Ink(fill=0),
        "forbidden": Ink(fill=0),
        "guide": Ink(stroke=0, line_mm=0.25, dash_mm=(2, 1)),
    }
)
"""What each look is on paper. A look that is not listed is drawn as ``ink``."""


@dataclass(frozen=True)
class PdfPainter:
    """Paints drawings onto a canvas with faces that its caller has registered."""

    canvas: Canvas
    regular: str = "Helvetica"
    bold: str = "Helvetica-Bold"
    scale: float = PT_PER_MM

    def paint(self, drawing: Drawing, *, x: float, y: float, width_mm: float | None = None) -> None:
        """Paint with the upper left corner at x, y (points from the page's lower left).

        The picture is in true millimetres unless ``width_mm`` asks for another width.
        """
        painter = self
        if width_mm is not None:
            painter = replace(self, scale=PT_PER_MM * width_mm / drawing.width)
        self.canvas.saveState()
        self.canvas.translate(x, y)
        for shape in drawing.shapes:
            painter._paint(shape)
        self.canvas.restoreState()

    def _ink(self, look: str) -> Ink:
        return PAPER_INKS.get(look, PAPER_INKS["ink"])

    def _use(self, ink: Ink) -> None:
        if ink.fill is not None:
            self.canvas.setFillGray(ink.fill)
        if ink.stroke is not None:
            self.canvas.setStrokeGray(ink.stroke)
            self.canvas.setLineWidth(ink.line_mm * PT_PER_MM)
            self.canvas.setDash([length * PT_PER_MM for length in ink.dash_mm])

    @singledispatchmethod
    def _paint(self, shape: Shape) -> None:
        raise TypeError(f"{shape!r} is no shape")

    @_paint.register
    def _rect(self, shape: Rect) -> None:
        ink = self._ink(shape.look)
        if ink.fill is None and ink.stroke is None:
            return
        self._use(ink)
        k = self.scale
        self.canvas.rect(
            shape.x * k, -(shape.y + shape.height) * k, shape.width * k, shape.height * k,
            stroke=int(ink.stroke is not None), fill=int(ink.fill is not None),
        )  # fmt: skip

    @_paint.register
    def _line(self, shape: Line) -> None:
        ink = self._ink(shape.look)
        self._use(ink if ink.stroke is not None else replace(ink, stroke=ink.fill))
        k = self.scale
        self.canvas.line(shape.x1 * k, -shape.y1 * k, shape.x2 * k, -shape.y2 * k)

    @_paint.register
    def _path(self, shape: Path) -> None:
        self._fill(shape.steps, self._ink(shape.look))

    @_paint.register
    def _mark(self, shape: Mark) -> None:
        for area in placed(shape.state, shape.x, shape.y, shape.size):
            self._fill(area, self._ink(shape.look))

    def _fill(self, steps: tuple[Step, ...], ink: Ink) -> None:
        self._use(ink)
        path = self.canvas.beginPath()
        for letter, numbers in steps:
            points = tuple(self._turned(numbers))
            if letter == "M":
                path.moveTo(*points)
            elif letter == "L":
                path.lineTo(*points)
            elif letter == "C":
                path.curveTo(*points)
            else:
                path.close()
        self.canvas.drawPath(
            path, stroke=int(ink.stroke is not None), fill=int(ink.fill is not None),
            fillMode=_EVEN_ODD,
        )  # fmt: skip

    def _turned(self, numbers: tuple[float, ...]) -> Iterator[float]:
        for index, number in enumerate(numbers):
            yield number * self.scale * (-1 if index % 2 else 1)

    @_paint.register
    def _text(self, shape: Text) -> None:
        self._use(self._ink(shape.look))
        face = self.bold if "strong" in shape.look else self.regular
        self.canvas.setFont(face, shape.size * self.scale)
        draw = {
            "start": self.canvas.drawString,
            "middle": self.canvas.drawCentredString,
            "end": self.canvas.drawRightString,
        }[shape.anchor]
        draw(shape.x * self.scale, -shape.y * self.scale, shape.text)

    @_paint.register
    def _group(self, shape: Group) -> None:
        for part in shape.shapes:
            self._paint(part)
