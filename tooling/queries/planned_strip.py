"""What strip is planned for pieces: jobs to come, by the kit that has the piece, else by the set it
is allotted to."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q

from tooling.models import Allotment, Job, JobState, Kit, KitPosition, KitState

LATE_AT_MOST = timedelta(days=1)


@dataclass(frozen=True)
class Planned:
    """One job to come. ``length_nm`` of its strip class."""

    number: str
    starts_at: datetime
    hours: float
    length_nm: int
    strip_class: str
    set_number: str


def still_to_run(at: datetime) -> Q:
    """Of planned jobs those that put strip on: what was to start more than a day ago and has no
    open kit did not run, or nobody said so."""
    open_kits = Kit.objects.filter(job=OuterRef("pk")).exclude(state=KitState.CLOSED)
    return Q(starts_at__gt=at - LATE_AT_MOST) | Q(Exists(open_kits))


def planned_for(piece_ids: Collection[int], *, at: datetime) -> dict[int, tuple[Planned, ...]]:
    """Piece id → the jobs that will run on it, the next first. A job whose kit is chosen runs on
    the kit's pieces; one without a kit on all that is allotted to its set. Three queries."""
    ids = set(piece_ids)
    jobs = {
        job.pk: job
        for job in Job.objects.filter(still_to_run(at), state=JobState.PLANNED, length_nm__gt=0)
        .select_related("tool_set")
        .order_by("starts_at", "number")
    }
    chosen = KitPosition.objects.filter(kit__job__in=list(jobs), is_open=True, piece__isnull=False)
    rows = list(chosen.order_by().values_list("kit__job_id", "piece_id").distinct())
    with_kit = {key for key, _piece in rows}
    found: dict[int, list[int]] = defaultdict(list)
    for key, chosen_piece in rows:
        if chosen_piece in ids:
            found[chosen_piece].append(key)
    of_set: dict[int, set[int]] = defaultdict(set)
    allotted = Allotment.objects.filter(piece__in=ids).order_by()
    for tool_set, piece in allotted.values_list("copy__tool_set_id", "piece_id"):
        of_set[tool_set].add(piece)
    for job in jobs.values():
        if job.pk not in with_kit:
            for piece in of_set.get(job.tool_set_id, ()):
                found[piece].append(job.pk)
    return {
        piece: tuple(_planned(job) for job in sorted((jobs[pk] for pk in set(mine)), key=_order))
        for piece, mine in found.items()
    }


def _order(job: Job) -> tuple[datetime, str]:
    return job.starts_at, job.number


def _planned(job: Job) -> Planned:
    return Planned(
        job.number, job.starts_at, job.hours, job.length_nm, job.strip_class, job.tool_set.number
    )
