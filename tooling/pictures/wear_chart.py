"""A gauge point against strip run: readings with their uncertainty, line, band, limit, cuts, the
jobs to come. Lengths in millimetres of the picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from tooling.pictures.shapes import Drawing, Group, Line, Path, Rect, Shape, Text, circle, polygon

WIDTH, HEIGHT = 178.0, 92.0
LEFT, RIGHT, TOP, BOTTOM = 21.0, 5.0, 9.0, 13.0
SMALL = 3.6
DOT = 1.5
MOST_LABELS = 9


@dataclass(frozen=True, slots=True)
class Spot:
    """A reading: strip in km, value and its uncertainty (k = 2) in the unit of the chart."""

    km: float
    value: float
    u: float
    is_off: bool = False


@dataclass(frozen=True, slots=True)
class WearChart:
    """All that is drawn. ``band``: (km, low, middle, high); ``jobs``: (from km, to km, number)."""

    title: str
    description: str
    value_label: str
    strip_label: str
    limit_label: str
    spots: tuple[Spot, ...] = ()
    line: tuple[tuple[float, float], ...] = ()
    band: tuple[tuple[float, float, float, float], ...] = ()
    limit: float | None = None
    cuts: tuple[tuple[float, str], ...] = ()
    jobs: tuple[tuple[float, float, str], ...] = ()
    incidents: tuple[tuple[float, str], ...] = ()
    decimals: int = 3


@dataclass(frozen=True, slots=True)
class _Scale:
    x0: float
    x1: float
    y0: float
    y1: float

    def x(self, km: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (km - self.x0) / (self.x1 - self.x0)

    def y(self, value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (self.y1 - value) / (self.y1 - self.y0)


def wear_chart(chart: WearChart) -> Drawing:
    """The picture; an empty one has axes only."""
    scale = _scale(chart)
    shapes: list[Shape] = [*_grid(chart, scale), *_jobs(chart, scale)]
    if len(chart.band) > 1:
        upper = [(scale.x(km), scale.y(high)) for km, _low, _middle, high in chart.band]
        lower = [(scale.x(km), scale.y(low)) for km, low, _middle, _high in reversed(chart.band)]
        shapes.append(Path(polygon(*upper, *lower), look="wear-band"))
        middle = [(scale.x(km), scale.y(mid)) for km, _low, mid, _high in chart.band]
        shapes.append(_trace(middle, "wear-ahead"))
    if len(chart.line) > 1:
        shapes.append(_trace([(scale.x(km), scale.y(v)) for km, v in chart.line], "wear-line"))
    if chart.limit is not None:
        y = scale.y(chart.limit)
        shapes.append(Line(LEFT, y, WIDTH - RIGHT, y, look="wear-limit"))
        shapes.append(
            Text(WIDTH - RIGHT, y - 1.4, chart.limit_label, SMALL, anchor="end", look="wear-word")
        )
    shapes += _cuts(chart, scale)
    shapes += [shape for spot in chart.spots for shape in _spot(spot, scale)]
    shapes += [
        Group(
            (Path(polygon(*_triangle(scale.x(km))), look="wear-incident"),),
            data=(("incident", word),),
        )
        for km, word in chart.incidents
    ]
    return Drawing(
        WIDTH, HEIGHT, tuple(shapes), title=chart.title, description=chart.description,
        look="wear-chart",
    )  # fmt: skip


def _triangle(x: float) -> tuple[tuple[float, float], ...]:
    base = HEIGHT - BOTTOM
    return (x - 1.8, base), (x + 1.8, base), (x, base - 3.4)


def _trace(points: Sequence[tuple[float, float]], look: str) -> Path:
    first, *rest = points
    return Path((("M", first), *(("L", point) for point in rest)), look=look)


def _scale(chart: WearChart) -> _Scale:
    kms = [0.0, *(s.km for s in chart.spots), *(km for km, *_rest in chart.band)]
    kms += [km for km, _v in chart.line] + [km for km, _word in chart.cuts]
    values = [s.value + side * s.u for s in chart.spots for side in (-1, 1)]
    values += [v for _km, v in chart.line] + [v for _km, *three in chart.band for v in three]
    if chart.limit is not None:
        values.append(chart.limit)
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = 0.06 * (high - low) or 0.05
    return _Scale(0.0, max(kms) * 1.02 or 1.0, low - room, high + room)


def _step(span: float, most: int) -> float:
    """A round step that divides a span into at most so many."""
    rough = span / most
    power = 10.0 ** floor(log10(rough)) if rough > 0 else 1.0
    return next((n * power for n in (1, 2, 5, 10) if n * power >= rough), 10 * power)


def _grid(chart: WearChart, scale: _Scale) -> list[Shape]:
    shapes: list[Shape] = []
    step = _step(scale.y1 - scale.y0, 6)
    places = max(0, -floor(log10(step)))
    value = ceil(scale.y0 / step) * step
    while value <= scale.y1:
        y = scale.y(value)
        shapes.append(Line(LEFT, y, WIDTH - RIGHT, y, look="chart-grid"))
        words = f"{value:.{places}f}"
        shapes.append(Text(LEFT - 1.5, y + 1.2, words, SMALL, anchor="end", look="chart-text"))
        value += step
    step = _step(scale.x1 - scale.x0, MOST_LABELS)
    km = 0.0
    base = HEIGHT - BOTTOM
    while km <= scale.x1:
        x = scale.x(km)
        shapes.append(Line(x, base, x, base + 1.4, look="chart-grid"))
        words = f"{km:g}"
        shapes.append(Text(x, base + 5, words, SMALL, anchor="middle", look="chart-text"))
        km += step
    shapes.append(Line(LEFT, base, WIDTH - RIGHT, base, look="wear-axis"))
    shapes.append(Text(LEFT - 19, TOP - 3.5, chart.value_label, SMALL, look="chart-text"))
    shapes.append(
        Text(WIDTH - RIGHT, HEIGHT - 2.5, chart.strip_label, SMALL, anchor="end", look="chart-text")
    )
    return shapes


def _jobs(chart: WearChart, scale: _Scale) -> list[Shape]:
    """Every second job lies on a shade, so that neighbours are told apart."""
    shapes: list[Shape] = []
    for n, (first, last, number) in enumerate(chart.jobs):
        if first >= scale.x1:
            break
        x, end = scale.x(first), scale.x(min(last, scale.x1))
        shade = Rect(x, TOP, end - x, HEIGHT - TOP - BOTTOM, look=f"wear-job-{n % 2}")
        parts: list[Shape] = [shade]
        if end - x > 9:
            parts.append(Text(x + 1, TOP + 3.6, number, SMALL, look="wear-word"))
        shapes.append(Group(tuple(parts), data=(("job", number),)))
    return shapes


def _cuts(chart: WearChart, scale: _Scale) -> list[Shape]:
    shapes: list[Shape] = []
    for km, words in chart.cuts:
        x = scale.x(km)
        shapes.append(Line(x, TOP, x, HEIGHT - BOTTOM, look="wear-cut"))
        shapes.append(Text(x + 1, HEIGHT - BOTTOM - 1.5, words, SMALL, look="wear-word"))
    return shapes


def _spot(spot: Spot, scale: _Scale) -> list[Shape]:
    x, y = scale.x(spot.km), scale.y(spot.value)
    low, high = scale.y(spot.value - spot.u), scale.y(spot.value + spot.u)
    bars: list[Shape] = [
        Line(x, low, x, high, look="wear-u"),
        Line(x - 1, low, x + 1, low, look="wear-u"),
        Line(x - 1, high, x + 1, high, look="wear-u"),
    ]
    look = "wear-off" if spot.is_off else "wear-spot"
    bars.append(Path(circle(x, y, DOT), look=look))
    return [Group(tuple(bars), data=(("reading", f"{spot.value:.4f}"),))]
