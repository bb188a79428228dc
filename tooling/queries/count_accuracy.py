"""The record of accuracy: of what counts expected, how much they found; per count, over time, and
per place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from tooling.models import CountState
from tooling.queries.count_words import Figures
from tooling.queries.counts import CountHead, count_list

MOST_COUNTS = 1_000
"""The record reaches so many closed counts back."""


@dataclass(frozen=True)
class MonthRow:
    """All counts that were closed in one month of the shop's calendar."""

    month: date
    counts: int
    figures: Figures


@dataclass(frozen=True)
class SubjectRow:
    """All counts of one place, copy or owner; ``last_number`` is the newest."""

    kind: str
    subject: str
    code: str
    counts: int
    figures: Figures
    last_number: int
    last_at: datetime | None
    last_accuracy: float | None


@dataclass(frozen=True)
class AccuracyRecord:
    """Counts the newest first, months the oldest first, subjects the least accurate first."""

    counts: tuple[CountHead, ...]
    months: tuple[MonthRow, ...]
    subjects: tuple[SubjectRow, ...]
    total: Figures


def accuracy_record() -> AccuracyRecord:
    """One query."""
    counts = count_list(state=CountState.CLOSED, most=MOST_COUNTS)
    return AccuracyRecord(
        counts=counts,
        months=_months(counts),
        subjects=_subjects(counts),
        total=_sum(counts),
    )


def _sum(counts: Iterable[CountHead]) -> Figures:
    return sum((count.figures for count in counts), Figures())


def _months(counts: Iterable[CountHead]) -> tuple[MonthRow, ...]:
    by_month: dict[date, list[CountHead]] = {}
    for count in counts:
        if count.closed_at is not None:
            day = timezone.localdate(count.closed_at)
            by_month.setdefault(day.replace(day=1), []).append(count)
    return tuple(MonthRow(month, len(by_month[month]), _sum(by_month[month]))
                 for month in sorted(by_month))  # fmt: skip


def _subjects(counts: Iterable[CountHead]) -> tuple[SubjectRow, ...]:
    alike: dict[tuple[str, str, str], list[CountHead]] = {}
    for count in counts:
        alike.setdefault((count.kind, count.code, count.subject), []).append(count)
    rows = [
        SubjectRow(
            kind=kind,
            subject=subject,
            code=code,
            counts=len(found),
            figures=_sum(found),
            last_number=found[0].number,
            last_at=found[0].closed_at,
            last_accuracy=found[0].figures.accuracy,
        )
        for (kind, code, subject), found in alike.items()
    ]
    return tuple(sorted(rows, key=_worst_first))


def _worst_first(row: SubjectRow) -> tuple[float, str]:
    accuracy = row.figures.accuracy
    return (1.0 if accuracy is None else accuracy, row.subject)
