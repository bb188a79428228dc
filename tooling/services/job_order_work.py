"""Working out the best order of a mill's jobs, in the worker: it asks the solver for bounds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from tooling.engineering.changeover import Effort, change_between
from tooling.engineering.changeover_order import (
    Job as Run,
)
from tooling.engineering.changeover_order import (
    Problem,
    Rules,
    best_order,
    keeps,
    weigh,
)
from tooling.engineering.mill_time import MillTime, Slot, mill_time
from tooling.models import Job, Mill, MillRule
from tooling.queries.job_order import Asked, asked
from tooling.queries.mill_loads import JobLoad, compared

Stop = Callable[[], bool]
GRAIN = 1_000
"""Weighed sums are compared to a thousandth."""


def find_order(
    *,
    at: datetime,
    mill: Mill,
    should_stop: Stop = lambda: False,
    enough_bounding: Stop = lambda: False,
) -> dict[str, Any]:
    """The best order of the mill's coming jobs, beside the planner's, as plain JSON. Never one
    that is worse than the planner's where that keeps the rules. The stops are those of
    ``best_order``."""
    given = asked(mill, at=at)
    table = _Table.of(given)
    present = tuple(range(len(given.jobs)))
    time = mill_time(
        [
            Slot(_minutes(at, job.starts_at), job.hours * 60, table.minutes[n][n])
            for n, job in enumerate(given.jobs)
        ]
    )
    rules, broken = rules_of(given)
    problem = Problem(
        jobs=tuple(
            Run(
                job.number,
                job.hours * 60,
                time.worked(_minutes(at, job.due_at)) if job.due_at else None,
            )
            for job in given.jobs
        ),
        costs=_aims(table, given.weights),
        minutes=table.minutes,
        rules=rules,
    )
    found = None
    if given.jobs:
        found = best_order(
            problem, should_stop=should_stop, enough_bounding=enough_bounding, starts=[present]
        )
    best = found.best.order if found is not None and found.best is not None else None
    kept = keeps(rules, present)
    if best is None and found is not None and found.stopped and kept:
        best = present  # time was up before another was found
    layout = _Layout(given, table, time, at)
    if best is not None and kept and weigh(problem, present).rank <= weigh(problem, best).rank:
        best = present  # as good: nothing is moved for nothing
    return {
        "version": given.version,
        "rows": layout.rows(best) if best is not None else [],
        "best": layout.sums(best) if best is not None else None,
        "present": layout.sums(present) if present else None,
        "proven": found.is_proven if found is not None else True,
        "keeps_rules": kept,
        "broken": broken,
        "left_out": given.left_out,
    }


def _minutes(at: datetime, moment: datetime) -> float:
    return (moment - at).total_seconds() / 60


@dataclass(frozen=True)
class _Table:
    """Row 0 from what stands on the mill, row k + 1 from job k; one column a job."""

    efforts: tuple[tuple[Effort, ...], ...]
    minutes: tuple[tuple[float, ...], ...]

    @classmethod
    def of(cls, given: Asked) -> _Table:
        loads = [given.loads[job.pk] for job in given.jobs]
        first = tuple(_effort(given, given.standing, each, at_once=True) for each in loads)
        efforts = (first, *(tuple(_effort(given, a, b) for b in loads) for a in loads))
        known: dict[int, float] = {}
        for row in efforts:
            for each in row:
                if each.stations not in known:
                    known[each.stations] = given.forecaster.minutes(each.stations).minutes
        minutes = tuple(tuple(known[each.stations] for each in row) for row in efforts)
        return cls(efforts, minutes)


def _effort(given: Asked, now: JobLoad, then: JobLoad, *, at_once: bool = False) -> Effort:
    """``at_once``: what forbids staying now holds too; of later changeovers nobody knows yet."""
    before, after = compared(now, then)
    strip = given.staying.must_strip(now, then)
    if not at_once:
        strip = {spot: why for spot, why in strip.items() if spot not in given.staying.forbidden}
    return change_between(before, after, must_strip=strip).effort


def _aims(table: _Table, weights: dict[str, float]) -> tuple[tuple[tuple[int, ...], ...], ...]:
    if any(weights.values()):
        return (
            tuple(
                tuple(
                    round(GRAIN * sum(w * getattr(e, name) for name, w in weights.items()))
                    for e in row
                )
                for row in table.efforts
            ),
        )
    return (
        tuple(tuple(e.stations for e in row) for row in table.efforts),
        tuple(tuple(e.shafts for e in row) for row in table.efforts),
        tuple(tuple(e.pieces for e in row) for row in table.efforts),
        tuple(tuple(round(1000 * e.mass_kg) for e in row) for row in table.efforts),
    )


@dataclass(frozen=True)
class _Layout:
    """An order laid out by the mill's clock."""

    given: Asked
    table: _Table
    time: MillTime
    at: datetime

    def _placed(self, order: Iterable[int]) -> Iterable[tuple[int, Effort, float, float, float]]:
        """Job, effort, minutes of its changeover, start and end by the clock."""
        worked, last = 0.0, -1
        for job in order:
            effort, minutes = self.table.efforts[last + 1][job], self.table.minutes[last + 1][job]
            start = worked + minutes
            worked = start + self.given.jobs[job].hours * 60
            yield job, effort, minutes, self.time.starting(start), self.time.ending(worked)
            last = job

    def rows(self, order: Iterable[int]) -> list[dict[str, Any]]:
        found = []
        order = list(order)
        moving = order != list(range(len(order)))
        for n, effort, minutes, start, end in self._placed(order):
            job = self.given.jobs[n]
            starts_at = job.starts_at
            if moving:
                starts_at = _near(self.at + timedelta(minutes=start), job.starts_at)
            found.append(
                {
                    "job": job.number,
                    "set_number": job.tool_set.number,
                    "starts_at": starts_at.isoformat(),
                    "was_at": job.starts_at.isoformat(),
                    "gathers_at": (starts_at - (job.starts_at - job.gathers_at)).isoformat(),
                    "due_at": job.due_at.isoformat() if job.due_at else None,
                    "opened": effort.stations,
                    "minutes": minutes,
                    "late_minutes": self._late(job, end),
                }
            )
        return found

    def sums(self, order: Iterable[int]) -> dict[str, float]:
        total, minutes, late = Effort(), 0.0, 0.0
        for n, effort, took, _start, end in self._placed(order):
            total, minutes = total + effort, minutes + took
            late += self._late(self.given.jobs[n], end)
        return {
            "stations": total.stations,
            "shafts": total.shafts,
            "pieces": total.pieces,
            "mass_kg": round(total.mass_kg, 3),
            "minutes": round(minutes, 1),
            "late_minutes": round(late, 1),
        }

    def _late(self, job: Job, end: float) -> float:
        due = _minutes(self.at, job.due_at) if job.due_at else None
        return max(0.0, end - due) if due is not None else 0.0


def _near(moment: datetime, planned: datetime) -> datetime:
    """To the whole minute; within one of the planned time it is that time."""
    if abs(moment - planned) < timedelta(minutes=1):
        return planned
    late = moment.replace(second=0, microsecond=0)
    return late if late == moment else late + timedelta(minutes=1)


def rules_of(given: Asked) -> tuple[Rules, list[str]]:
    """The mill's rules for these jobs, and those of them that contradict one another: they are
    named, and still asked for, so that no order is found rather than a wrong one."""
    before: dict[tuple[int, int], str] = {}
    apart: set[tuple[int, int]] = set()
    broken: list[str] = []
    jobs = given.jobs
    for rule in given.rules:
        for pair in _before(rule, jobs):
            turned = (pair[1], pair[0])
            if turned in before:
                words = _("{job} and {other}: “{rule}” against “{against}”")
                broken.append(
                    words.format(
                        job=jobs[pair[0]].number, other=jobs[pair[1]].number,
                        rule=rule.get_kind_display(), against=before[turned],
                    )
                )  # fmt: skip
            before[pair] = str(rule.get_kind_display())
        if rule.kind == MillRule.Kind.NEVER_AFTER:
            apart |= _apart(rule, jobs, given.now)
    return Rules(before=tuple(sorted(before)), apart=tuple(sorted(apart))), broken


def _before(rule: MillRule, jobs: tuple[Job, ...]) -> Iterable[tuple[int, int]]:
    spots = range(len(jobs))
    are = [is_of(job, rule.first) for job in jobs]
    if rule.kind == MillRule.Kind.FIRST_AFTER_CLEAN:
        yield from ((a, b) for a in spots for b in spots if are[a] and not are[b])
    elif rule.kind == MillRule.Kind.LAST:
        yield from ((a, b) for a in spots for b in spots if not are[a] and are[b])
    elif rule.kind == MillRule.Kind.THIN_TO_THICK:
        for a in spots:
            for b in spots:
                thin, thick = jobs[a].thickness_nm, jobs[b].thickness_nm
                if are[a] and are[b] and thin is not None and thick is not None and thin < thick:
                    yield a, b


def _apart(rule: MillRule, jobs: tuple[Job, ...], now: Job | None) -> set[tuple[int, int]]:
    found = {
        (a, b)
        for a, one in enumerate(jobs)
        for b, other in enumerate(jobs)
        if a != b and is_of(one, rule.first) and is_of(other, rule.then)
    }
    if now is not None and is_of(now, rule.first):
        found |= {(-1, b) for b, other in enumerate(jobs) if is_of(other, rule.then)}
    return found


def is_of(job: Job, named: str) -> bool:
    """Whether a job's strip is of that class or coating; of any where none is named."""
    wanted = named.strip().casefold()
    return not wanted or wanted in (job.strip_class.casefold(), job.coating.casefold())
