"""Timing inside one process: medians, statement counts, statement time."""

from __future__ import annotations

import platform
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from typing import Any

from django.db import connection


@dataclass(frozen=True)
class Figure:
    """One measured value and, where the figure has one, its limit: the most, or the least."""

    what: str
    value: float
    unit: str
    limit: float | None = None
    at_least: bool = False

    @property
    def holds(self) -> bool:
        if self.limit is None:
            return True
        return self.value >= self.limit if self.at_least else self.value <= self.limit

    def as_dict(self) -> dict[str, Any]:
        return {**asdict(self), "holds": self.holds}


@dataclass
class Statements:
    """What went to the database."""

    count: int = 0
    seconds: float = 0.0
    texts: list[tuple[str, Any]] = field(default_factory=list)


@contextmanager
def counting() -> Iterator[Statements]:
    """Counts and times every statement in the block."""
    seen = Statements()

    def watch(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        began = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            seen.seconds += time.perf_counter() - began
            seen.count += 1
            seen.texts.append((sql, params))

    with connection.execute_wrapper(watch):
        yield seen


def median_ms(action: Callable[[], Any], *, times: int = 21, warm: int = 3) -> float:
    """The median of ``times`` runs after ``warm`` that do not count, in milliseconds."""
    for _ in range(warm):
        action()
    return statistics.median(seconds(action) for _ in range(times)) * 1000


def seconds(action: Callable[[], Any]) -> float:
    began = time.perf_counter()
    action()
    return time.perf_counter() - began


def machine() -> str:
    """Where this was measured."""
    with open("/proc/cpuinfo", encoding="utf-8") as info:
        names = [line.partition(":")[2].strip() for line in info if line.startswith("model name")]
    cpu = f"{len(names)} × {names[0]}" if names else platform.processor()
    return f"{cpu}, {platform.system()} {platform.release()}, Python {platform.python_version()}"
