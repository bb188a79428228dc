"""What the best order of a mill's coming jobs is asked of, and the answer that was given last."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from tooling.models import Change, Job, Mill, MillRule, Setup, Task
from tooling.queries.changeovers import next_jobs
from tooling.queries.mill_loads import JobLoad, job_loads, standing_load
from tooling.queries.on_mill import STANDING, OnMill, on_mill
from tooling.queries.settings import setting_values
from tooling.queries.setup_times import Forecaster
from tooling.queries.staying import Staying, staying

KIND = "job_order"
MOST_JOBS = 60
"""So many jobs are put in order at once; the rest stay behind them as they are."""
ACCEPTED, KEPT = "order accepted", "own order kept"
WEIGHTS = {
    "weight_stations": "stations",
    "weight_shafts": "shafts",
    "weight_pieces": "pieces",
    "weight_mass": "mass_kg",
}


@dataclass(frozen=True)
class Asked:
    """All that the order is worked out from. ``jobs`` in the planner's order; ``now``: what the
    standing setup's job ran, for rules about what comes straight after."""

    mill: Mill
    on: OnMill
    jobs: tuple[Job, ...]
    loads: dict[int, JobLoad]
    standing: JobLoad
    now: Job | None
    rules: tuple[MillRule, ...]
    staying: Staying
    forecaster: Forecaster
    weights: dict[str, float]
    version: str
    left_out: int


def asked(mill: Mill, *, at: datetime) -> Asked:
    """Everything about a mill's coming jobs. At most thirty-two queries, however many jobs."""
    on = on_mill(mill.number)
    assert on is not None
    jobs = next_jobs(mill, on.setup, most=MOST_JOBS + 1)
    kept = tuple(jobs[:MOST_JOBS])
    rules = tuple(MillRule.objects.filter(mill=mill).order_by("pk"))
    given = setting_values(list(WEIGHTS), mill=mill)
    now = Job.objects.filter(number=on.setup.job).first() if on.setup else None
    return Asked(
        mill=mill,
        on=on,
        jobs=kept,
        loads=job_loads(mill, kept),
        standing=standing_load(on),
        now=now,
        rules=rules,
        staying=staying(mill, on, at=at),
        forecaster=Forecaster.of(mill),
        weights={name: float(given[key]) for key, name in WEIGHTS.items()},
        version=_version(on.setup.kit if on.setup else "", kept, rules),
        left_out=len(jobs) - len(kept),
    )


def plan_version(mill: Mill) -> str:
    """Changes with the jobs' times and facts, the rules and what stands on the mill. Five queries
    at most."""
    setup = Setup.objects.filter(STANDING, mill=mill).select_related("kit__job").first()
    rows = Job.objects.filter(mill=mill, state="planned").order_by("starts_at", "number")
    if setup is not None:
        rows = rows.exclude(pk=setup.kit.job_id)
    rules = list(MillRule.objects.filter(mill=mill).order_by("pk"))
    return _version(setup.kit.number if setup else "", list(rows[:MOST_JOBS]), rules)


def _version(kit: str, jobs: Sequence[Job], rules: Sequence[MillRule]) -> str:
    said = (
        kit,
        [
            (j.pk, j.starts_at.timestamp(), j.gathers_at.timestamp(), j.hours, j.tool_set_id,
             j.variant_id, j.due_at.timestamp() if j.due_at else None, j.thickness_nm,
             j.strip_class, j.coating)
            for j in jobs
        ],
        [(r.kind, r.first, r.then) for r in rules],
    )  # fmt: skip
    return hashlib.blake2s(repr(said).encode(), digest_size=16).hexdigest()


@dataclass(frozen=True)
class OrderRow:
    """A job in the proposed order: when it would start and be gathered, and what it changes."""

    job: str
    set_number: str
    starts_at: datetime
    was_at: datetime
    gathers_at: datetime
    due_at: datetime | None
    opened: int
    minutes: float
    late_minutes: float

    @property
    def is_moved(self) -> bool:
        return self.starts_at != self.was_at


@dataclass(frozen=True)
class Sums:
    """What an order costs in all."""

    stations: int
    shafts: int
    pieces: int
    mass_kg: float
    minutes: float
    late_minutes: float


@dataclass(frozen=True)
class Proposal:
    """The newest answer for a mill. ``state``: of its task. ``is_stale``: the jobs moved since.
    ``settled``: accepted or kept, empty while open. ``best`` is None where the rules allow no
    order."""

    task: int
    state: str
    message: str
    progress: float
    at: datetime
    is_stale: bool
    settled: str
    rows: tuple[OrderRow, ...]
    best: Sums | None
    present: Sums | None
    is_proven: bool
    keeps_rules: bool
    broken: tuple[str, ...]
    left_out: int

    @property
    def is_running(self) -> bool:
        return self.state in ("waiting", "running")

    @property
    def is_open(self) -> bool:
        """It may be accepted."""
        return self.state == "done" and not self.is_stale and not self.settled and bool(self.rows)

    @property
    def saves(self) -> Sums | None:
        """What it saves against the planner's order; negative where it costs more."""
        if self.best is None or self.present is None:
            return None
        pairs = ((getattr(self.present, f.name), getattr(self.best, f.name)) for f in fields(Sums))
        return Sums(*(before - after for before, after in pairs))

    @property
    def is_same(self) -> bool:
        """The planner's own order is as good."""
        return not any(row.is_moved for row in self.rows)


def proposal(mill: Mill) -> Proposal | None:
    """The newest answer for a mill, if any was asked for. Six queries at most."""
    tasks = Task.objects.filter(kind=KIND, input__mill=mill.number)
    task = tasks.order_by("-pk").first()
    if task is None:
        return None
    result: dict[str, Any] = task.result or {}
    settled = Change.objects.filter(
        subject="Mill", subject_key=mill.number, what__in=(ACCEPTED, KEPT), after__task=task.pk
    ).first()
    is_done = task.state == "done"
    return Proposal(
        task=task.pk,
        state=task.state,
        message=task.message,
        progress=task.progress,
        at=task.finished_at or task.created_at,
        is_stale=task.state == "stale"
        or (is_done and not settled and result.get("version") != plan_version(mill)),
        settled=settled.what if settled else "",
        rows=tuple(_row(each) for each in result.get("rows", [])),
        best=_sums(result.get("best")),
        present=_sums(result.get("present")),
        is_proven=bool(result.get("proven")),
        keeps_rules=bool(result.get("keeps_rules", True)),
        broken=tuple(result.get("broken", [])),
        left_out=int(result.get("left_out", 0)),
    )


def _row(said: dict[str, Any]) -> OrderRow:
    moments = ("starts_at", "was_at", "gathers_at", "due_at")
    times = {name: _moment(said[name]) for name in moments}
    return OrderRow(**{**said, **times})


def _moment(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _sums(said: dict[str, Any] | None) -> Sums | None:
    return Sums(**said) if said else None
