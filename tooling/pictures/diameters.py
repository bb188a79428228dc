"""Drive diameters along the passes, before and after a regrind plan. Lengths in millimetres.

All are drawn as the diameter that would run as fast at the line's rpm (a top shaft's is divided by
the ratio): so a line that falls from one pass to the next is strip that goes slack.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tooling.pictures.shapes import Drawing, Group, Line, Path, Rect, Shape, Text, polygon

HEIGHT = 82.0
LEFT, RIGHT, TOP, BOTTOM = 24.0, 5.0, 12.0, 14.0
A_PASS = 9.0
LEAST_WIDTH, MOST_WIDTH = 240.0, 420.0
LEGEND = 40.0
MARK = 2.6
SMALL = 3.6
TICKS = (1, 2, 5)
MOST_LINES = 6


@dataclass(frozen=True, slots=True)
class DiameterPoint:
    """One pass: what its shafts run by before and after, at equal speed; None: nothing drives."""

    number: int
    top_before_nm: int | None = None
    top_after_nm: int | None = None
    bottom_before_nm: int | None = None
    bottom_after_nm: int | None = None


SERIES = (
    ("top_before_nm", "before top"),
    ("bottom_before_nm", "before bottom"),
    ("top_after_nm", "after top"),
    ("bottom_after_nm", "after bottom"),
)


def diameters_chart(
    points: Sequence[DiameterPoint], *, title: str, say: Callable[[int], str], grain_nm: int
) -> Drawing:
    """Four lines over the passes: top and bottom, before and after.

    ``say`` writes a length for the scale in the reader's unit, whose lines lie on whole multiples
    of ``grain_nm`` times 1, 2 or 5 and powers of ten.
    """
    scale = _Scale.of(points, grain_nm)
    shapes: list[Shape] = [*_grid(scale, say), *_numbers(points, scale), *_legend(scale)]
    for name, look in SERIES:
        shapes += _series(points, scale, name, look)
    return Drawing(
        scale.width, HEIGHT, tuple(shapes), title=title, description=_told(points, say),
        look="diameters-chart",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Scale:
    width: float
    count: int
    low: int
    high: int
    step: int

    @classmethod
    def of(cls, points: Sequence[DiameterPoint], grain_nm: int) -> _Scale:
        values = [
            value for point in points for name, _look in SERIES
            if (value := getattr(point, name)) is not None
        ]  # fmt: skip
        least, most = min(values, default=0), max(values, default=grain_nm)
        step = _step(max(1, most - least), grain_nm)
        low = least // step * step
        high = max(low + step, -(-most // step) * step)
        width = min(MOST_WIDTH, max(LEAST_WIDTH, LEFT + RIGHT + A_PASS * len(points)))
        return cls(width, len(points), low, high, step)

    def x(self, n: int) -> float:
        return LEFT + (self.width - LEFT - RIGHT) * (n + 0.5) / max(1, self.count)

    def y(self, nm: int) -> float:
        share = (nm - self.low) / (self.high - self.low)
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def _step(span: int, grain_nm: int) -> int:
    """The finest step that needs few lines."""
    power = grain_nm
    while True:
        for tick in TICKS:
            if span // (tick * power) < MOST_LINES:
                return tick * power
        power *= 10


def _grid(scale: _Scale, say: Callable[[int], str]) -> Iterator[Shape]:
    for nm in range(scale.low, scale.high + 1, scale.step):
        y = scale.y(nm)
        yield Line(LEFT, y, scale.width - RIGHT, y, look="chart-grid")
        yield Text(LEFT - 1.5, y + 1.2, say(nm), SMALL, anchor="end", look="chart-text")


def _numbers(points: Sequence[DiameterPoint], scale: _Scale) -> Iterator[Shape]:
    every = max(1, -(-len(points) * 6 // round(scale.width - LEFT - RIGHT)))
    for n, point in enumerate(points):
        if n % every == 0:
            yield Text(scale.x(n), HEIGHT - BOTTOM + 5, str(point.number), SMALL, anchor="middle",
                       look="chart-text")  # fmt: skip
    middle = LEFT + (scale.width - LEFT - RIGHT) / 2
    yield Text(middle, HEIGHT - BOTTOM + 10.5, _("pass"), SMALL, anchor="middle", look="chart-text")


def _legend(scale: _Scale) -> Iterator[Shape]:
    words = (_("top before"), _("bottom before"), _("top after"), _("bottom after"))
    room = min(LEGEND, (scale.width - LEFT) / len(words))
    for n, ((_name, look), word) in enumerate(zip(SERIES, words, strict=True)):
        x = LEFT + n * room
        yield _mark(x + MARK / 2, 4.0, look)
        yield Text(x + MARK + 1.5, 5.2, word, SMALL, look="chart-text")


def _series(
    points: Sequence[DiameterPoint], scale: _Scale, name: str, look: str
) -> Iterator[Shape]:
    """A line through the passes that have one, and a mark for each: square below, lozenge above."""
    spots = [
        (scale.x(n), scale.y(nm), nm, point.number) for n, point in enumerate(points)
        if (nm := getattr(point, name)) is not None
    ]  # fmt: skip
    if len(spots) > 1:
        (x, y, *_rest), *others = spots
        steps = (("M", (x, y)), *(("L", (a, b)) for a, b, *_more in others))
        yield Path(steps, look=f"diameters-line {look}")
    for x, y, nm, number in spots:
        data = (("pass", str(number)), ("series", look), ("nm", str(nm)))
        yield Group((_mark(x, y, look),), data=data)


def _mark(x: float, y: float, look: str) -> Shape:
    half = MARK / 2
    shown = f"diameters-mark {look}"
    if look.endswith("bottom"):
        return Rect(x - half, y - half, MARK, MARK, look=shown)
    reach = half * 1.3
    return Path(polygon((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y)), look=shown)


def _told(points: Sequence[DiameterPoint], say: Callable[[int], str]) -> str:
    """What changes, pass by pass."""
    said = []
    for point in points:
        for word, before, after in (
            (_("top"), point.top_before_nm, point.top_after_nm),
            (_("bottom"), point.bottom_before_nm, point.bottom_after_nm),
        ):
            if before is not None and after is not None and before != after:
                said.append(
                    _("pass {number} {shaft}: {before} becomes {after}").format(
                        number=point.number, shaft=word, before=say(before), after=say(after)
                    )
                )
    return "; ".join(said) or _("No diameter changes.")
