"""What a picture is made of. Lengths in millimetres, x to the right, y down.

A shape has a *look*: a name, never a colour. ``svg.py`` writes it as a class for the style sheet,
``pdf.py`` looks it up in its own table.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin
from typing import Literal

Anchor = Literal["start", "middle", "end"]
Step = tuple[str, tuple[float, ...]]
"""One step of a path: M x y, L x y, C x1 y1 x2 y2 x y, or Z."""

_QUARTER = 0.5522847498307936
"""Handle of the Bézier curve nearest to a quarter of the unit circle."""


@dataclass(frozen=True, slots=True)
class Rect:
    x: float
    y: float
    width: float
    height: float
    look: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    look: str = ""


@dataclass(frozen=True, slots=True)
class Path:
    """Steps of straight lines and cubic curves; holes are what an even-odd fill leaves."""

    steps: tuple[Step, ...]
    look: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """One line on its baseline; ``size`` is the em. ``whole``: what a shortened one stands for."""

    x: float
    y: float
    text: str
    size: float
    anchor: Anchor = "start"
    look: str = ""
    whole: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """The mark of a state (``state_marks.py``) in a square with this middle and side."""

    state: str
    x: float
    y: float
    size: float
    look: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Shapes that belong together, with data for programs and perhaps a way on.

    ``label`` is the text alternative of a group with ``href``.
    """

    shapes: tuple[Shape, ...]
    look: str = ""
    data: tuple[tuple[str, str], ...] = ()
    href: str = ""
    label: str = ""


Shape = Rect | Line | Path | Text | Mark | Group


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture with its size, title and text alternative."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    description: str = ""
    look: str = ""


def polygon(*points: tuple[float, float]) -> tuple[Step, ...]:
    """A closed line through the points."""
    first, *rest = points
    return (("M", first), *(("L", point) for point in rest), ("Z", ()))


def box(x: float, y: float, width: float, height: float) -> tuple[Step, ...]:
    """The outline of a rectangle."""
    return polygon((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def frame(x: float, y: float, width: float, height: float, line: float) -> tuple[Step, ...]:
    """A rectangle's border of this thickness *inside* its edges, as an area to fill.

    A rectangle too small to have an inside is full.
    """
    outside = box(x, y, width, height)
    if min(width, height) <= 2 * line:
        return outside
    return outside + box(x + line, y + line, width - 2 * line, height - 2 * line)


def circle(x: float, y: float, radius: float) -> tuple[Step, ...]:
    """A full circle, closed, of four curves (off by less than 0.03 % of the radius)."""
    k = _QUARTER * radius
    return (
        ("M", (x + radius, y)),
        ("C", (x + radius, y + k, x + k, y + radius, x, y + radius)),
        ("C", (x - k, y + radius, x - radius, y + k, x - radius, y)),
        ("C", (x - radius, y - k, x - k, y - radius, x, y - radius)),
        ("C", (x + k, y - radius, x + radius, y - k, x + radius, y)),
        ("Z", ()),
    )


def arc_points(
    x: float, y: float, radius: float, start_deg: float, end_deg: float, parts: int = 24
) -> tuple[tuple[float, float], ...]:
    """Points on a circle from one angle to another, clockwise on the page, ends included."""
    turn = (end_deg - start_deg) / parts
    angles = (radians(start_deg + part * turn) for part in range(parts + 1))
    return tuple((x + radius * cos(angle), y + radius * sin(angle)) for angle in angles)
