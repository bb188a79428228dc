"""Sets by day: the jobs that run them, and the stretch in which each is best away. Millimetres."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tooling.pictures.shapes import Drawing, Group, Line, Rect, Shape, Text

LEFT, RIGHT, TOP, ROW = 24.0, 4.0, 12.0, 10.0
A_DAY = 2.4
BAR = 4.6
LOW = 1.8
SMALL = 3.6
WEEK = 7
LEAST_DAYS, MOST_DAYS = 28, 180


@dataclass(frozen=True, slots=True)
class Bar:
    """Days from the first to the last; ``kind``: job, crosses or window."""

    first: int
    last: int
    kind: str
    said: str


@dataclass(frozen=True, slots=True)
class DayRow:
    """One set with its bars. Days are whole numbers."""

    name: str
    bars: tuple[Bar, ...]


def when_chart(rows: Sequence[DayRow], *, today: int, say: Callable[[int], str]) -> Drawing:
    """A row for each set, a column for each day from today; weeks are named by ``say``."""
    furthest = max((bar.last for row in rows for bar in row.bars), default=today)
    days = min(MOST_DAYS, max(LEAST_DAYS, furthest - today + 3))
    width, height = LEFT + RIGHT + A_DAY * days, TOP + ROW * max(1, len(rows)) + 4
    shapes: list[Shape] = [*_weeks(today, days, height, say)]
    for n, row in enumerate(rows):
        y = TOP + ROW * n
        shapes.append(Text(1.0, y + ROW / 2 + 1.3, row.name, SMALL, look="chart-text"))
        shapes += _bars(row, y, today, days)
    shapes.append(Line(LEFT, TOP - 3, LEFT, height - 2, look="when-today"))
    said = "; ".join(f"{row.name}: {', '.join(bar.said for bar in row.bars)}" for row in rows)
    return Drawing(
        width, height, tuple(shapes), title=_("Sets, their jobs and when to send them, by day"),
        description=said, look="when-days",
    )  # fmt: skip


def _weeks(today: int, days: int, height: float, say: Callable[[int], str]) -> Iterator[Shape]:
    first = today + (-(today - 1)) % WEEK
    for day in range(first, today + days, WEEK):
        x = LEFT + A_DAY * (day - today)
        yield Line(x, TOP - 2, x, height - 2, look="chart-grid")
        yield Text(x + 0.6, TOP - 4, say(day), SMALL, look="chart-text")


def _bars(row: DayRow, y: float, today: int, days: int) -> Iterator[Shape]:
    for bar in row.bars:
        first, last = max(bar.first, today), min(bar.last, today + days - 1)
        if last < first:
            continue
        x, length = LEFT + A_DAY * (first - today), A_DAY * (last - first + 1)
        top = y + (ROW - BAR) / 2
        shapes: list[Shape] = [Rect(x, top, length, BAR, look=f"when-{bar.kind}")]
        if bar.kind == "window":
            shapes = [Rect(x, top + BAR + 0.8, length, LOW, look="when-window")]
        if bar.kind == "crosses":
            ends = ((x, top, x + length, top + BAR), (x, top + BAR, x + length, top))
            shapes += [Line(*end, look="when-cross") for end in ends]
        yield Group(tuple(shapes), data=(("bar", bar.kind), ("first", str(bar.first)),
                                    ("last", str(bar.last))))  # fmt: skip
