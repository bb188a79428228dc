"""What is open with owners, for Today: reports of which nobody told them, answers they owe."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tooling.queries.owner_reports import ReportView, open_reports, report_list
from tooling.queries.owner_waiting import waiting

FEW = 5


@dataclass(frozen=True)
class OwnersToday:
    """The newest reports and how many there are; questions and the days of the longest."""

    reports: tuple[ReportView, ...]
    report_count: int
    waiting: int
    longest_days: int


def owners_today(*, at: datetime) -> OwnersToday:
    """Four queries."""
    questions = waiting(at=at)
    return OwnersToday(
        reports=report_list(only_open=True, size=FEW).rows,
        report_count=open_reports().count(),
        waiting=len(questions),
        longest_days=max((each.days for each in questions), default=0),
    )
