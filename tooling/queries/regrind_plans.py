"""Regrind plans to be found: by number, the copies that can be planned for, a plan's tasks."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, Q
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import RegrindPlan, SetCopy
from tooling.queries.regrind_facts import ROLLS

KIND = "regrind_plan"
"""The kind of the task that works a plan out."""

UNDER_WAY = ("waiting", "running")


@dataclass(frozen=True)
class CopyChoice:
    """A copy of a set with so many rolls allotted to it."""

    id: int
    name: str
    set_name: str
    rolls: int


@dataclass(frozen=True)
class RunningPlan:
    """How far the task is that works a plan out; ``task_progress`` 0 to 1."""

    number: str
    task_message: str
    task_progress: float


def running_plan(plan: RegrindPlan) -> RunningPlan | None:
    """Of a plan as ``find_plan`` reads it; None where nothing is being worked out. No query, so
    that it can be asked for often."""
    task = plan.task
    if task is None or task.state not in UNDER_WAY:
        return None
    return RunningPlan(plan.number, task.message, task.progress)


def find_plan(number: str) -> RegrindPlan:
    """By number, capitals or not. Raises Unknown ``unknown_plan``."""
    rows = RegrindPlan.objects.select_related("made_by", "task")
    found = rows.filter(number__iexact=number.strip()[:12]).first()
    if found is None:
        raise Unknown("unknown_plan", _("There is no regrind plan {number}."), number=number[:40])
    return found


def copy_choices() -> tuple[CopyChoice, ...]:
    """Copies with rolls, by set and letter. One query."""
    rows = SetCopy.objects.annotate(
        rolls=Count("allotments", filter=Q(allotments__piece__drawing__kind__in=ROLLS))
    ).filter(rolls__gt=0)
    return tuple(
        CopyChoice(row.pk, f"{row.tool_set.number}-{row.letter}", row.tool_set.name, row.rolls)
        for row in rows.select_related("tool_set").order_by("tool_set__number", "letter")
    )


def find_copy(name: str) -> SetCopy:
    """By set number and letter, 1472-A. Raises Unknown ``unknown_copy``."""
    number, _dash, letter = name.strip().rpartition("-")
    rows = SetCopy.objects.select_related("tool_set")
    found = rows.filter(tool_set__number__iexact=number[:30], letter__iexact=letter[:4]).first()
    if found is None:
        raise Unknown(
            "unknown_copy",
            _("There is no copy {name}. Write it as set number, dash, letter: 1472-A."),
            name=name[:40],
        )
    return found
