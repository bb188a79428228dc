"""When a mill runs: the plan's own stretches of work, and open time after the last of them.

A planner who leaves a night or a weekend between two jobs says that the mill stands then. Another
order of the same jobs keeps those pauses: it is laid out in *worked* minutes and read back as
minutes by the clock. All times are minutes from now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Slot:
    """One job as planned: when it starts to run, for how long, and how long the changeover before
    it takes. Raises ValueError for a negative length."""

    starts: float
    runs: float
    changes: float = 0.0

    def __post_init__(self) -> None:
        if self.runs < 0 or self.changes < 0:
            raise ValueError("a length of time is not negative")


@dataclass(frozen=True)
class MillTime:
    """Stretches (begin, end) in which the mill works, in order and apart; the last one has no
    end."""

    spans: tuple[tuple[float, float], ...]

    def worked(self, clock: float) -> float:
        """Minutes worked until so many minutes from now."""
        return sum(max(0.0, min(end, clock) - begin) for begin, end in self.spans)

    def ending(self, worked: float) -> float:
        """The earliest time by the clock at which so much was worked."""
        left = worked
        for begin, end in self.spans:
            if left <= end - begin:
                return begin + left
            left -= end - begin
        raise AssertionError("the last stretch has no end")

    def starting(self, worked: float) -> float:
        """The latest such time: what starts after a pause starts when the pause is over."""
        left = worked
        for begin, end in self.spans:
            if left < end - begin:
                return begin + left
            left -= end - begin
        raise AssertionError("the last stretch has no end")


def mill_time(slots: Sequence[Slot]) -> MillTime:
    """From the plan in its own order: each job's changeover and run, no earlier than now and than
    the end of the one before; what overlaps runs on. After the last job the mill works on."""
    spans: list[tuple[float, float]] = []
    end = 0.0
    for slot in sorted(slots, key=lambda each: each.starts):
        begin = max(end, slot.starts - slot.changes)
        end = max(begin + slot.changes, slot.starts) + slot.runs
        if spans and begin <= spans[-1][1]:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((begin, end))
    if not spans:
        return MillTime(((0.0, float("inf")),))
    spans[-1] = (spans[-1][0], float("inf"))
    return MillTime(tuple(spans))
