"""How much of what was expected the counts found, month by month. Lengths in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from django.utils.translation import gettext as _

from tooling.pictures.shapes import Drawing, Group, Line, Path, Rect, Shape, Text

WIDTH, HEIGHT = 170.0, 62.0
LEFT, RIGHT, TOP, BOTTOM = 15.0, 4.0, 5.0, 11.0
MARK = 2.4
SMALL = 3.6
MOST_LABELS = 12
LOWEST_SHOWN = 90
"""The scale begins at 90 % unless something lies below it."""


@dataclass(frozen=True, slots=True)
class AccuracyPoint:
    """One month: its name, its share of 0 to 1, and the sentence behind its mark."""

    label: str
    share: float
    said: str


def accuracy_chart(points: Sequence[AccuracyPoint]) -> Drawing:
    """A line from month to month with a square for each; the scale ends at 100 %."""
    floor_percent = _floor(points)
    scale = _Scale(len(points), floor_percent)
    shapes: list[Shape] = [*_grid(scale)]
    spots = [(scale.x(n), scale.y(point.share)) for n, point in enumerate(points)]
    if len(spots) > 1:
        first, *rest = spots
        steps = (("M", first), *(("L", spot) for spot in rest))
        shapes.append(Path(steps, look="chart-line"))
    every = max(1, -(-len(points) // MOST_LABELS))
    for n, (point, (x, y)) in enumerate(zip(points, spots, strict=True)):
        mark = Rect(x - MARK / 2, y - MARK / 2, MARK, MARK, look="chart-mark")
        shapes.append(Group((mark,), data=(("share", f"{point.share:.4f}"),)))
        if n % every == 0:
            shapes.append(
                Text(x, HEIGHT - BOTTOM + 5, point.label, SMALL, anchor="middle", look="chart-text")
            )
    return Drawing(
        WIDTH,
        HEIGHT,
        tuple(shapes),
        title=_("Share of the expected that was found, by month"),
        description="; ".join(point.said for point in points),
        look="accuracy-chart",
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    count: int
    floor: int

    def x(self, n: int) -> float:
        room = WIDTH - LEFT - RIGHT
        return LEFT + room * (n + 0.5) / max(1, self.count)

    def y(self, share: float) -> float:
        room = HEIGHT - TOP - BOTTOM
        return TOP + room * (100 - share * 100) / (100 - self.floor)


def _floor(points: Sequence[AccuracyPoint]) -> int:
    least = min((point.share for point in points), default=1.0)
    return max(0, min(LOWEST_SHOWN, floor(least * 10) * 10))


def _grid(scale: _Scale) -> list[Shape]:
    """The scale's lines with what each means: every 10 %, or every 2 % of a short scale."""
    step = 10 if scale.floor < LOWEST_SHOWN else 2
    shapes: list[Shape] = []
    for percent in range(100, scale.floor - 1, -step):
        y = scale.y(percent / 100)
        shapes.append(Line(LEFT, y, WIDTH - RIGHT, y, look="chart-grid"))
        label = f"{percent} %"
        shapes.append(Text(LEFT - 1.5, y + 1.2, label, SMALL, anchor="end", look="chart-text"))
    return shapes
