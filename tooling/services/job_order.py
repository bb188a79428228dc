"""The best order of a mill's jobs: asked for, accepted, or the planner's own kept."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import Job, Mill, Person, Task, TaskState
from tooling.permissions import Verb, check_can
from tooling.queries.job_order import ACCEPTED, KEPT, KIND, Proposal, plan_version, proposal
from tooling.services import jobs, tasks
from tooling.services.write import record_change, writing


def ask_order(*, by: Person, at: datetime, mill: Mill) -> Task:
    """Have the worker find the best order; one that is under way for the mill is given instead.

    Raises NotAllowed.
    """
    check_can(by, Verb.PLAN_JOBS)
    with writing():
        under_way = Task.objects.filter(
            kind=KIND, input__mill=mill.number, state__in=(TaskState.WAITING, TaskState.RUNNING)
        ).first()
        if under_way is not None:
            return under_way
        version = plan_version(mill)
        return tasks.ask(by=by, at=at, kind=KIND, given={"mill": mill.number}, version=version)


def accept_order(*, by: Person, at: datetime, mill: Mill, task: int) -> list[Job]:
    """Move the jobs to where the proposed order has them, all or none; the jobs that moved.

    Raises NotAllowed, ``stale_plan`` where the jobs, the rules or what stands on the mill changed
    since it was worked out, ``no_such_order``, ``order_settled``, and what ``jobs.edit`` raises.
    """
    check_can(by, Verb.PLAN_JOBS)
    moved = []
    with writing():
        offer = _open_offer(mill, task)
        wanted = {row.job: row for row in offer.rows if row.is_moved}
        found = Job.objects.select_for_update().filter(number__in=list(wanted)).order_by("pk")
        for job in found:
            row = wanted[job.number]
            times = {"starts_at": row.starts_at, "gathers_at": row.gathers_at}
            reason = str(_("best order of jobs on {mill}").format(mill=mill.name))
            moved.append(jobs.edit(by=by, at=at, job=job, reason=reason, **times))
        after = {"task": task, "jobs": [row.job for row in offer.rows]}
        record_change(by=by, at=at, subject=mill, key=mill.number, what=ACCEPTED, after=after)
    return moved


def keep_order(*, by: Person, at: datetime, mill: Mill, task: int) -> None:
    """The planner's own order stays; the proposal is settled. Raises NotAllowed,
    ``no_such_order``, ``order_settled``."""
    check_can(by, Verb.PLAN_JOBS)
    with writing():
        _offer(mill, task)
        record_change(by=by, at=at, subject=mill, key=mill.number, what=KEPT, after={"task": task})


def _open_offer(mill: Mill, task: int) -> Proposal:
    offer = _offer(mill, task)
    if offer.is_stale:
        raise Conflict(
            "stale_plan",
            _("The jobs, the rules or what stands on {mill} changed since this order was worked "
              "out. Ask for a new one."),
            mill=mill.name,
        )  # fmt: skip
    return offer


def _offer(mill: Mill, task: int) -> Proposal:
    offer = proposal(mill)
    if offer is None or offer.task != task or offer.state not in (TaskState.DONE, TaskState.STALE):
        raise Conflict(
            "no_such_order",
            _("That is not the newest order worked out for {mill}. Load the page again."),
            mill=mill.name,
        )
    if offer.settled:
        raise Conflict(
            "order_settled",
            _("That order was settled already. Ask for a new one."),
        )
    return offer
