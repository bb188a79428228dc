"""How long a job binds pieces, and which of two jobs has them first.

A job binds what its kit claims from gathering until its expected hours on the mill are over.
Of two jobs that bind at the same time the one that gathers first has the pieces; of two that
gather together, the one with the lower number.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tooling.models import Job, Kit, KitState, Setup, SetupState


@dataclass(frozen=True)
class Binding:
    """From when until when a job needs its pieces."""

    job: str
    begins: datetime
    ends: datetime

    @classmethod
    def of(cls, job: Job) -> Binding:
        ends = ends_at(job)
        return cls(job.number, min(job.gathers_at, ends), ends)

    def overlaps(self, other: Binding) -> bool:
        return self.begins < other.ends and other.begins < self.ends

    def is_before(self, other: Binding) -> bool:
        """Whether this job gathers first."""
        return (self.begins, self.job) < (other.begins, other.job)


@dataclass(frozen=True)
class OpenKit:
    """Another kit that is open, with what binds it. ``is_assembled``: pieces were chosen for it;
    ``is_on_paper``: of a copy that is only known from paper."""

    id: int
    number: str
    mill: str
    job: Job
    binding: Binding
    starts_at: datetime
    place_path: str
    is_assembled: bool = False
    is_on_paper: bool = False
    stands_paths: tuple[str, ...] = ()
    """The mill on which its setup stands, the plate on which it is built."""


def ends_at(job: Job) -> datetime:
    """When the job should be over."""
    return job.starts_at + timedelta(hours=job.hours)


def open_kits() -> dict[int, OpenKit]:
    """Every open kit by id. One query."""
    rows = Kit.objects.exclude(state=KitState.CLOSED).select_related(
        "job__mill__place", "place", "copy", "setup__plate"
    )
    return {
        kit.pk: OpenKit(
            id=kit.pk,
            number=kit.number,
            mill=kit.job.mill.name,
            job=kit.job,
            binding=Binding.of(kit.job),
            starts_at=kit.job.starts_at,
            place_path=kit.place.path if kit.place else "",
            is_assembled=kit.assembled_at is not None,
            is_on_paper=kit.copy is not None and kit.copy.from_paper_count is not None,
            stands_paths=_stands(kit),
        )
        for kit in rows
    }


def _stands(kit: Kit) -> tuple[str, ...]:
    setup: Setup | None = getattr(kit, "setup", None)
    if setup is None or setup.state == SetupState.STRUCK:
        return ()
    mill = kit.job.mill.place if setup.plate is None or setup.docked_at else None
    return tuple(place.path for place in (setup.plate, mill) if place is not None)
