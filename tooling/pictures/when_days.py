"""Sets by day: the jobs that run them, and the stretch in which each is best away. Millimetres."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tooling.pictures.shapes import Drawing, Group, Line, Rect, Shape, Text

LEFT, MOST_LEFT, RIGHT, TOP, ROW = 24.0, 44.0, 4.0, 12.0, 10.0
LEAST_DAY, WIDE = 2.4, 240.0
WIDE_LETTERS, NARROW_LETTERS = frozenset("@%MWmwÆŒ"), frozenset(" !'(),-./:;I[]fijlrt|")
LAST = 4
"""So many letters at the end of a name are kept: the letter of a copy stands there."""
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
    longest = max((length_mm(row.name) for row in rows), default=0.0)
    left = min(MOST_LEFT, max(LEFT, longest + 3))
    a_day = max(LEAST_DAY, (WIDE - left - RIGHT) / days)
    scale = _Scale(today, days, a_day, left)
    width, height = left + RIGHT + a_day * days, TOP + ROW * max(1, len(rows)) + 4
    shapes: list[Shape] = [*_weeks(scale, height, say)]
    for n, row in enumerate(rows):
        y = TOP + ROW * n
        shapes.append(_set_name(row.name, y, left - 3))
        shapes += _bars(row, y, scale)
    shapes.append(Line(left, TOP - 3, left, height - 2, look="when-today"))
    said = "; ".join(f"{row.name}: {', '.join(bar.said for bar in row.bars)}" for row in rows)
    return Drawing(
        width, height, tuple(shapes), title=_("Sets, their jobs and when to send them, by day"),
        description=said, look="when-days",
    )  # fmt: skip


def length_mm(text: str, size: float = SMALL) -> float:
    """How long a text is at most, by kinds of letters: 0.95, 0.7 or 0.42 of the em, as in the face
    that the pages are set in."""
    wide = sum(letter in WIDE_LETTERS for letter in text)
    narrow = sum(letter in NARROW_LETTERS for letter in text)
    return size * (0.95 * wide + 0.42 * narrow + 0.7 * (len(text) - wide - narrow))


def shortened(text: str, room: float) -> str:
    """The text, or as much of its beginning as fits beside its end."""
    if length_mm(text) <= room:
        return text
    end = f"…{text[-LAST:]}"
    kept = max(1, len(text) - LAST - 1)
    while kept > 1 and length_mm(text[:kept] + end) > room:
        kept -= 1
    return text[:kept] + end


def _set_name(name: str, y: float, room: float) -> Text:
    shown = shortened(name, room)
    whole = name if shown != name else ""
    return Text(1.0, y + ROW / 2 + 1.3, shown, SMALL, look="chart-text", whole=whole)


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
        if x + 0.6 + length_mm(word) < scale.x(scale.today + scale.days) + RIGHT:
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
    long = length_mm(bar.name) + 2
    if not bar.name or bar.kind == "window":
        return
    if bar.kind == "job" and long <= past - x:
        yield Text(x + 1, top + BAR - 1.1, bar.name, SMALL, look="when-name")
    elif long <= free - past:
        yield Text(past + 1, top + BAR - 1.1, bar.name, SMALL, look="chart-text")
