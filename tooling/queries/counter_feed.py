"""What a mill's length counter moved between two moments, from readings that may come late, twice
or out of order, and after a reset."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from tooling.models import CounterReading, Mill

Told = tuple[datetime, int, bool]
"""When, what the counter stood at in nm, whether it was set to nothing just before."""


@dataclass(frozen=True)
class Moved:
    """What one counter moved. ``first`` and ``last``: the moments of the readings it rests on."""

    counter: str
    moved_nm: int
    readings: int
    resets: int
    first: datetime
    last: datetime


def fold(told: Iterable[Told]) -> tuple[int, int]:
    """(sum of the rises in nm, number of resets) of readings in the order of their time.

    After a reset, or a fall, the counter counts on from nothing.
    """
    total, resets, before = 0, 0, None
    for _at, value, was_reset in told:
        if before is not None and not was_reset and value >= before:
            total += value - before
        elif before is not None:
            total, resets = total + value, resets + 1
        before = value
    return total, resets


def counters_moved(mill: Mill, *, since: datetime, until: datetime) -> tuple[Moved, ...]:
    """Each counter of the mill that was read in between. What stood at the beginning is the last
    reading up to then; where there is none, the first one in between. One query, one more for
    each counter."""
    rows = CounterReading.objects.filter(mill=mill)
    inside = rows.filter(happened_at__gt=since, happened_at__lte=until)
    before: dict[str, Told] = {}
    earlier = rows.filter(happened_at__lte=since).order_by("counter", "-happened_at", "-uuid")
    by_counter: dict[str, list[Told]] = {}
    for counter, at, value, was_reset in inside.order_by("happened_at", "uuid").values_list(
        "counter", "happened_at", "value_nm", "was_reset"
    ):
        by_counter.setdefault(counter, []).append((at, value, was_reset))
    if not by_counter:
        return ()
    for counter in by_counter:
        found = earlier.filter(counter=counter).values_list("happened_at", "value_nm", "was_reset")
        last = found.first()
        if last is not None:
            before[counter] = last
    return tuple(
        _moved(counter, before.get(counter), told) for counter, told in sorted(by_counter.items())
    )


def _moved(counter: str, before: Told | None, told: Sequence[Told]) -> Moved:
    rows = [before, *told] if before is not None else list(told)
    moved, resets = fold(rows)
    return Moved(counter, moved, len(told), resets, rows[0][0], rows[-1][0])
