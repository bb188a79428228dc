"""Sets by day: the jobs that run them, and the stretch in which each is best away. Millimetres."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tooling.pictures.shapes import Drawing, Group, Line, Rect, Shape, Text

LEFT, MOST_LEFT, RIGHT, TOP, ROW = 24.0, 60.0, 4.0, 12.0, 10.0
LEAST_DAY, WIDE = 2.4, 240.0
A_LETTER = 2.3
BAR = 4.6
LOW = 1.8
SMALL = 3.6
WEEK = 7
LEAST_DAYS, MOST_DAYS = 28, 180


@dataclass(frozen=True, slots=True)
class Bar:
    """Days from the first to the last; ``kind``: job, crosses or window; ``name``: written in it
    where there is room."""

    first: int
    last: int
    kind: str
    said: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class DayRow:
    """One set with its bars. Days are whole numbers."""

    name: str
    bars: tuple[Bar, ...]


def when_chart(rows: Sequence[DayRow], *, today: int, say: Callable[[int], str]) -> Drawing:
    """A row for each set, a column for each day from today; weeks are named by ``say``."""
    furthest = max((bar.last for row in rows for bar in row.bars), default=today)
    days = min(MOST_DAYS, max(LEAST_DAYS, furthest - today + 3))
    longest = max((len(row.name) for row in rows), default=0)
    left = min(MOST_LEFT, max(LEFT, A_LETTER * longest + 3))
    a_day = max(LEAST_DAY, (WIDE - left - RIGHT) / days)
    scale = _Scale(today, days, a_day, left)
    width, height = left + RIGHT + a_day * days, TOP + ROW * max(1, len(rows)) + 4
    shapes: list[Shape] = [*_weeks(scale, height, say)]
    for n, row in enumerate(rows):
        y = TOP + ROW * n
        shapes.append(Text(1.0, y + ROW / 2 + 1.3, row.name, SMALL, look="chart-text"))
        shapes += _bars(row, y, scale)
    shapes.append(Line(left, TOP - 3, left, height - 2, look="when-today"))
    said = "; ".join(f"{row.name}: {', '.join(bar.said for bar in row.bars)}" for row in rows)
    return Drawing(
        width, height, tuple(shapes), title=_("Sets, their jobs and when to send them, by day"),
        description=said, look="when-days",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Scale:
    today: int
    days: int
    a_day: float
    left: float

    def x(self, day: int) -> float:
        return self.left + self.a_day * (day - self.today)


def _weeks(scale: _Scale, height: float, say: Callable[[int], str]) -> Iterator[Shape]:
    first = scale.today + (-(scale.today - 1)) % WEEK
    for day in range(first, scale.today + scale.days, WEEK):
        x = scale.x(day)
        yield Line(x, TOP - 2, x, height - 2, look="chart-grid")
        word = say(day)
        if x + 0.6 + A_LETTER * len(word) < scale.x(scale.today + scale.days) + RIGHT:
            yield Text(x + 0.6, TOP - 4, word, SMALL, look="chart-text")


def _bars(row: DayRow, y: float, scale: _Scale) -> Iterator[Shape]:
    top, end = y + (ROW - BAR) / 2, scale.today + scale.days
    starts = sorted(bar.first for bar in row.bars if bar.kind != "window")
    for bar in row.bars:
        first, last = max(bar.first, scale.today), min(bar.last, end - 1)
        if last < first:
            continue
        x, past = scale.x(first), scale.x(last + 1)
        shapes: list[Shape] = [Rect(x, top, past - x, BAR, look=f"when-{bar.kind}")]
        if bar.kind == "window":
            shapes = [Rect(x, top + BAR + 0.8, past - x, LOW, look="when-window")]
        if bar.kind == "crosses":
            ends = ((x, top, past, top + BAR), (x, top + BAR, past, top))
            shapes += [Line(*each, look="when-cross") for each in ends]
        free = next((start for start in starts if start > last), end)
        shapes += _name(bar, x, past, scale.x(max(last + 1, free)), top)
        yield Group(tuple(shapes), data=(("bar", bar.kind), ("first", str(bar.first)),
                                    ("last", str(bar.last))))  # fmt: skip


def _name(bar: Bar, x: float, past: float, free: float, top: float) -> Iterator[Shape]:
    """In a plain bar that is long enough, else in the free days behind it, else nowhere."""
    long = A_LETTER * len(bar.name) + 2
    if not bar.name or bar.kind == "window":
        return
    if bar.kind == "job" and long <= past - x:
        yield Text(x + 1, top + BAR - 1.1, bar.name, SMALL, look="when-name")
    elif long <= free - past:
        yield Text(past + 1, top + BAR - 1.1, bar.name, SMALL, look="chart-text")
