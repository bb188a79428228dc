"""Shapes to SVG text: class names only, no style, no script, every text escaped."""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch
from html import escape

from django.utils.safestring import SafeString, mark_safe

from tooling.pictures.shapes import Drawing, Group, Line, Mark, Path, Rect, Shape, Text

PX_PER_MM = 96 / 25.4


def paint_svg(
    drawing: Drawing, *, key: str, units_per_mm: float = PX_PER_MM, role: str = "img"
) -> SafeString:
    """A drawing as one ``<svg>`` with title and description; ``key`` makes their ids unique.

    One user unit is a CSS pixel unless told otherwise. State marks refer to the page's symbols
    ``#state-…``. ``role`` is *group* for a drawing whose parts are links.
    """
    width, height = _n(drawing.width * units_per_mm), _n(drawing.height * units_per_mm)
    look = f' class="{escape(drawing.look)}"' if drawing.look else ""
    key = escape(key)
    has_more = f' aria-describedby="{key}-desc"' if drawing.description else ""
    more = f'<desc id="{key}-desc">{escape(drawing.description)}</desc>'
    body = "".join(_paint(shape, units_per_mm) for shape in drawing.shapes)
    return mark_safe(
        f'<svg{look} viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="{escape(role)}" aria-labelledby="{key}-title"{has_more}>'
        f'<title id="{key}-title">{escape(drawing.title)}</title>'
        f"{more if drawing.description else ''}{body}</svg>"
    )


def _n(number: float) -> str:
    """A coordinate with two decimals at most, so that nothing is off by half a pixel."""
    return f"{number:.2f}".rstrip("0").rstrip(".") if number % 1 else str(int(number))


def _class(look: str) -> str:
    return f' class="{look}"' if look else ""


@singledispatch
def _paint(shape: Shape, k: float) -> str:
    raise TypeError(f"{shape!r} is no shape")


@_paint.register
def _rect(shape: Rect, k: float) -> str:
    return (
        f'<rect x="{_n(shape.x * k)}" y="{_n(shape.y * k)}" width="{_n(shape.width * k)}" '
        f'height="{_n(shape.height * k)}"{_class(shape.look)}/>'
    )


@_paint.register
def _line(shape: Line, k: float) -> str:
    return (
        f'<line x1="{_n(shape.x1 * k)}" y1="{_n(shape.y1 * k)}" x2="{_n(shape.x2 * k)}" '
        f'y2="{_n(shape.y2 * k)}"{_class(shape.look)}/>'
    )


@_paint.register
def _path(shape: Path, k: float) -> str:
    steps = "".join(
        letter + " ".join([_n(number * k) for number in numbers]) for letter, numbers in shape.steps
    )
    return f'<path d="{steps}" fill-rule="evenodd"{_class(shape.look)}/>'


@_paint.register
def _text(shape: Text, k: float) -> str:
    anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
    whole = f"<title>{escape(shape.whole)}</title>" if shape.whole else ""
    return (
        f'<text x="{_n(shape.x * k)}" y="{_n(shape.y * k)}" font-size="{_n(shape.size * k)}"'
        f"{anchor}{_class(shape.look)}>{whole}{escape(shape.text)}</text>"
    )


@_paint.register
def _mark(shape: Mark, k: float) -> str:
    side = _n(shape.size * k)
    return (
        f'<use href="#state-{shape.state}" x="{_n((shape.x - shape.size / 2) * k)}" '
        f'y="{_n((shape.y - shape.size / 2) * k)}" width="{side}" height="{side}"'
        f"{_class(shape.look)}/>"
    )


@_paint.register
def _group(shape: Group, k: float) -> str:
    inside = "".join([_paint(part, k) for part in shape.shapes])
    data = _data(shape.data)
    if not shape.href:
        return f"<g{_class(shape.look)}{data}>{inside}</g>"
    return (
        f'<a href="{escape(shape.href)}"{_class(shape.look)}{data} '
        f'aria-label="{escape(shape.label)}">{inside}</a>'
    )


def _data(pairs: Iterable[tuple[str, str]]) -> str:
    return "".join([f' data-{name}="{escape(value)}"' for name, value in pairs])
