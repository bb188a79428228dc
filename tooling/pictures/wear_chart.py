"""A gauge point against strip run: readings with their uncertainty, line, band, limit, cuts, the
jobs to come; and enlarged below it, how far each reading lies off the line. Lengths in millimetres
of the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor, log10

from tooling.pictures.shapes import Drawing, Group, Line, Path, Rect, Shape, Text, circle, polygon

WIDE, NARROW = 178.0, 92.0
"""Of a desk screen and of a phone."""
HEIGHT = 84.0
LEFT, RIGHT, TOP, BOTTOM = 20.0, 4.0, 10.0, 8.0
GAP, OFF = 8.0, 30.0
"""Between the two scales, and how high the one of what is off the line is."""
FOOT = 12.0
INSET = 2.5
"""Before the first km, so that what was read there has room."""
SMALL = 3.7
A_LETTER = 2.3
DOT, CAP = 0.95, 1.7
LINES, OFF_LINES = 6, 4
A_LABEL = 17.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A reading: strip in km, value and its uncertainty (k = 2) in the unit of the chart.
    ``is_past``: of before the last cut, about which the line says nothing."""

    km: float
    value: float
    u: float
    is_off: bool = False
    is_past: bool = False


@dataclass(frozen=True, slots=True)
class WearChart:
    """All that is drawn. ``band``: (km, low, middle, high); ``jobs``: (from km, to km, number).
    ``off_label``: what stands over the lower scale."""

    title: str
    description: str
    value_label: str
    strip_label: str
    limit_label: str
    off_label: str
    spots: tuple[Spot, ...] = ()
    line: tuple[tuple[float, float], ...] = ()
    band: tuple[tuple[float, float, float, float], ...] = ()
    limit: float | None = None
    cuts: tuple[tuple[float, str], ...] = ()
    jobs: tuple[tuple[float, float, str], ...] = ()
    incidents: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Scale:
    """Strip across, values down from ``top`` to ``base``."""

    right: float
    top: float
    base: float
    x1: float
    y0: float
    y1: float

    def x(self, km: float) -> float:
        return LEFT + INSET + (self.right - LEFT - INSET) * km / self.x1

    def y(self, value: float) -> float:
        return self.top + (self.base - self.top) * (self.y1 - value) / (self.y1 - self.y0)


def wear_chart(chart: WearChart, *, width: float = WIDE) -> Drawing:
    """The picture; an empty one has axes only. ``NARROW`` fits a phone."""
    scale = _scale(chart, width)
    off = _off_line(chart)
    shapes: list[Shape] = [*_grid(scale, chart.value_label, LINES), *_jobs(chart, scale)]
    if len(chart.band) > 1:
        upper = [(scale.x(km), scale.y(high)) for km, _low, _middle, high in chart.band]
        lower = [(scale.x(km), scale.y(low)) for km, low, _middle, _high in reversed(chart.band)]
        shapes.append(Path(polygon(*upper, *lower), look="wear-band"))
        shapes += [_trace(edge, "wear-edge") for edge in (upper, lower)]
        middle = [(scale.x(km), scale.y(mid)) for km, _low, mid, _high in chart.band]
        shapes.append(_trace(middle, "wear-ahead"))
    if len(chart.line) > 1:
        shapes.append(_trace([(scale.x(km), scale.y(v)) for km, v in chart.line], "wear-line"))
    shapes += _limit(chart, scale)
    shapes += _cuts(chart, scale)
    shapes += [_spot(spot, scale) for spot in chart.spots]
    shapes += [_incident(scale, km, word) for km, word in chart.incidents]
    last = scale
    if off:
        last = _off_scale(off, scale)
        shapes += [
            *_grid(last, chart.off_label, OFF_LINES),
            *(_spot(spot, last, "off") for spot in off),
        ]
        zero = last.y(0.0)
        shapes.append(Line(LEFT, zero, last.right, zero, look="wear-line"))
    shapes += _strip(chart, last)
    return Drawing(
        width, last.base + FOOT, tuple(shapes), title=chart.title, description=chart.description,
        look="wear-chart",
    )  # fmt: skip


def _trace(points: Sequence[tuple[float, float]], look: str) -> Path:
    first, *rest = points
    return Path((("M", first), *(("L", point) for point in rest)), look=look)


def _scale(chart: WearChart, width: float) -> _Scale:
    kms = [*(s.km for s in chart.spots), *(km for km, *_rest in chart.band)]
    kms += [km for km, _v in chart.line] + [km for km, _word in chart.cuts]
    values = [s.value + side * s.u for s in chart.spots for side in (-1, 1)]
    values += [v for _km, v in chart.line] + [v for _km, *three in chart.band for v in three]
    if chart.limit is not None:
        values.append(chart.limit)
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = 0.07 * (high - low) or 0.05
    longest = max(kms, default=0.0) * 1.02 or 1.0
    return _Scale(width - RIGHT, TOP, HEIGHT - BOTTOM, longest, low - room, high + room)


def _off_line(chart: WearChart) -> list[Spot]:
    """The readings that the line is about, less the line."""
    if len(chart.line) < 2:
        return []
    return [
        Spot(spot.km, spot.value - _at(chart.line, spot.km), spot.u, spot.is_off)
        for spot in chart.spots
        if not spot.is_past
    ]


def _at(line: Sequence[tuple[float, float]], km: float) -> float:
    for (x0, y0), (x1, y1) in pairwise(line):
        if km <= x1:
            return y0 if x1 <= x0 else y0 + (y1 - y0) * (km - x0) / (x1 - x0)
    return line[-1][1]


def _off_scale(off: Sequence[Spot], over: _Scale) -> _Scale:
    most = 1.15 * max(abs(spot.value) + spot.u for spot in off) or 0.001
    top = over.base + GAP
    return _Scale(over.right, top, top + OFF, over.x1, -most, most)


def _step(span: float, most: int) -> float:
    """A round step that divides a span into at most so many."""
    rough = span / most
    power = 10.0 ** floor(log10(rough)) if rough > 0 else 1.0
    return next((n * power for n in (1, 2, 5, 10) if n * power >= rough), 10 * power)


def _grid(scale: _Scale, label: str, most: int) -> list[Shape]:
    shapes: list[Shape] = [Text(1.0, scale.top - 3.4, label, SMALL, look="chart-text")]
    step = _step(scale.y1 - scale.y0, most)
    places = max(0, -floor(log10(step)))
    for n in range(ceil(scale.y0 / step), floor(scale.y1 / step) + 1):
        y = scale.y(n * step)
        shapes.append(Line(LEFT, y, scale.right, y, look="chart-grid"))
        words = f"{n * step:.{places}f}" if n else "0"
        shapes.append(Text(LEFT - 1.5, y + 1.3, words, SMALL, anchor="end", look="chart-text"))
    shapes.append(Line(LEFT, scale.base, scale.right, scale.base, look="wear-axis"))
    return shapes


def _strip(chart: WearChart, scale: _Scale) -> list[Shape]:
    """Strip along the foot, as many numbers as there is room for."""
    shapes: list[Shape] = []
    step = _step(scale.x1, max(2, int((scale.right - LEFT) / A_LABEL)))
    for n in range(floor(scale.x1 / step) + 1):
        x = scale.x(n * step)
        shapes.append(Line(x, scale.base, x, scale.base + 1.4, look="wear-axis"))
        shapes.append(Text(x, scale.base + 5.2, f"{n * step:g}", SMALL, anchor="middle",
                           look="chart-text"))  # fmt: skip
    shapes.append(
        Text(scale.right, scale.base + 10.6, chart.strip_label, SMALL, anchor="end",
             look="chart-text")
    )  # fmt: skip
    return shapes


def _limit(chart: WearChart, scale: _Scale) -> list[Shape]:
    """Its name stands at the left, where the readings are far from it."""
    if chart.limit is None:
        return []
    y = scale.y(chart.limit)
    return [
        Line(LEFT, y, scale.right, y, look="wear-limit"),
        Text(LEFT + INSET + 1.5, y - 1.5, chart.limit_label, SMALL, look="wear-word"),
    ]


def _jobs(chart: WearChart, scale: _Scale) -> list[Shape]:
    """Every second job lies on a shade, so that neighbours are told apart."""
    shapes: list[Shape] = []
    for n, (first, last, number) in enumerate(chart.jobs):
        if first >= scale.x1:
            break
        x, end = scale.x(first), scale.x(min(last, scale.x1))
        shade = Rect(x, scale.top, end - x, scale.base - scale.top, look=f"wear-job-{n % 2}")
        parts: list[Shape] = [shade]
        if end - x > A_LETTER * len(number) + 2:
            parts.append(Text(x + 1, scale.top + 4, number, SMALL, look="wear-word"))
        shapes.append(Group(tuple(parts), data=(("job", number),)))
    return shapes


def _cuts(chart: WearChart, scale: _Scale) -> list[Shape]:
    """Upright lines with their day, on the side that has room, neighbours one over the other, and
    all over the name of the limit where that is low."""
    shapes: list[Shape] = []
    low = scale.base - 2.0
    if chart.limit is not None and low - 16 < scale.y(chart.limit) <= scale.base:
        low = scale.y(chart.limit) - 2 * SMALL
    for n, (km, words) in enumerate(chart.cuts):
        x = scale.x(km)
        y = low - (n % 3) * (SMALL + 0.8)
        shapes.append(Line(x, scale.top, x, scale.base, look="wear-cut"))
        has_room = x + A_LETTER * len(words) < scale.right
        shapes.append(
            Text(x + 1 if has_room else x - 1, y, words, SMALL,
                 anchor="start" if has_room else "end", look="wear-word")
        )  # fmt: skip
    return shapes


def _incident(scale: _Scale, km: float, word: str) -> Group:
    x, base = scale.x(km), scale.base
    corners = (x - 2.0, base), (x + 2.0, base), (x, base - 3.8)
    return Group((Path(polygon(*corners), look="wear-incident"),), data=(("incident", word),))


def _spot(spot: Spot, scale: _Scale, name: str = "reading") -> Group:
    """A dot with a bar to each end of its uncertainty: an I, so that short ones are seen too."""
    x, y = scale.x(spot.km), scale.y(spot.value)
    low, high = scale.y(spot.value - spot.u), scale.y(spot.value + spot.u)
    look = "wear-off" if spot.is_off else "wear-spot"
    bars: tuple[Shape, ...] = (
        Line(x, low, x, high, look="wear-u"),
        Line(x - CAP, low, x + CAP, low, look="wear-u"),
        Line(x - CAP, high, x + CAP, high, look="wear-u"),
        Path(circle(x, y, 1.5 * DOT if spot.is_off else DOT), look=look),
    )
    return Group(bars, data=((name, f"{spot.value:.4f}"),))
