"""What a mill's length counter moved between two moments, from readings that may come late, twice
or out of order, and after a reset."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import NamedTuple

from tooling.models import CounterReading, Mill, Run, RunSource

TOLD = ("happened_at", "value_nm", "was_reset", "received_at")
BEFORE = 5
"""Readings before a stretch that are looked at: the last one may have come after a run."""
COUNTER = "counter"


class Told(NamedTuple):
    """One reading: ``was_reset`` to nothing just before."""

    happened_at: datetime
    value_nm: int
    was_reset: bool
    received_at: datetime


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
    for _at, value, was_reset, _received in told:
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
    found = _rows(mill.pk, since=since, until=until)
    moved = [_moved(name, rows, since=since, until=until) for name, rows in sorted(found.items())]
    return tuple(each for each in moved if each is not None)


def fed_otherwise(runs: Iterable[Run]) -> dict[int, Moved]:
    """Of standing runs of one mill those of which the feed tells another length now than when they
    took theirs from it, by number: readings came late. One query, one more for each counter; none
    where no run is of the feed."""
    fed = [run for run in runs if run.source == RunSource.COUNTER and run.began_at is not None]
    if not fed:
        return {}
    since = min(run.began_at for run in fed if run.began_at is not None)
    until = max(run.happened_at for run in fed)
    told = _rows(fed[0].setup.mill_id, since=since, until=until)
    found = {}
    for run in fed:
        for name, rows in sorted(told.items()):
            now = _told_late(run, name, rows)
            if now is not None:
                found[run.pk] = now
    return found


def _told_late(run: Run, name: str, rows: Sequence[Told]) -> Moved | None:
    """What this counter tells now, where the run has what it told then and that was otherwise."""
    if run.began_at is None or all(row.received_at <= run.received_at for row in rows):
        return None
    known = [row for row in rows if row.received_at <= run.received_at]
    then = _moved(name, known, since=run.began_at, until=run.happened_at)
    now = _moved(name, rows, since=run.began_at, until=run.happened_at)
    taken = run.length_nm if run.way == COUNTER else run.ways.get(COUNTER)
    if then is None or now is None or then.moved_nm != taken or now.moved_nm == taken:
        return None
    return now


def _rows(mill: int, *, since: datetime, until: datetime) -> dict[str, list[Told]]:
    """By counter, what was read in between and the last few readings before."""
    rows = CounterReading.objects.filter(mill=mill)
    found: dict[str, list[Told]] = {}
    inside = rows.filter(happened_at__gt=since, happened_at__lte=until)
    for counter, *told in inside.order_by("happened_at", "uuid").values_list("counter", *TOLD):
        found.setdefault(counter, []).append(Told(*told))
    earlier = rows.filter(happened_at__lte=since).order_by("-happened_at", "-uuid")
    for counter, told in found.items():
        before = earlier.filter(counter=counter).values_list(*TOLD)[:BEFORE]
        found[counter] = [*reversed([Told(*each) for each in before]), *told]
    return found


def _moved(counter: str, rows: Sequence[Told], *, since: datetime, until: datetime) -> Moved | None:
    """None where nothing was read in between."""
    first = bisect_right(rows, since, key=attrgetter("happened_at"))
    end = bisect_right(rows, until, key=attrgetter("happened_at"))
    if first == end:
        return None
    told = rows[max(first - 1, 0) : end]
    moved, resets = fold(told)
    return Moved(counter, moved, end - first, resets, told[0].happened_at, told[-1].happened_at)
