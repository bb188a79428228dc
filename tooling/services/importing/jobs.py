"""Jobs to come, from sheets."""

from __future__ import annotations

from datetime import time
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Job, JobState, Kit, KitState, SetVariant, ToolSet
from tooling.services.importing.known import Known, plain
from tooling.services.importing.plan import Plan, same_record
from tooling.services.importing.sets import variants_of
from tooling.services.importing.shop import said
from tooling.services.importing.stage import chunks
from tooling.services.jobs import GATHERS_BEFORE
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

MORNING = time(6)
DAYS_END = time(23, 59)
"""A job that is due on a day without an hour may run all of that day."""
Variants = dict[tuple[str, str], SetVariant]


def plan_jobs(rows: list[Row], plan: Plan, known: Known) -> None:
    jobs = {plain(job.number): job for job in plan.records(Job)} | _jobs(rows, known)
    gathered = dict(Kit.objects.exclude(state=KitState.CLOSED).values_list("job_id", "number"))
    for row in rows:
        with plan.of_row(row, KINDS["jobs"], "number"):
            _plan_job(row, plan, known, jobs, gathered, variants_of(known))


def _jobs(rows: list[Row], known: Known) -> dict[str, Job]:
    """The jobs that the rows name, of those there are."""
    if Job not in known.held:
        numbers = Job.objects.values_list("number", "pk")
        known.held[Job] = {plain(number): key for number, key in numbers}
    named = {plain(row.values["number"]) for row in rows} & known.held[Job].keys()
    found = {}
    for part in chunks(known.held[Job][number] for number in named):
        for job in Job.objects.filter(pk__in=part).select_related("mill", "variant"):
            job.tool_set = known.set_keys[job.tool_set_id]
            job.customer = known.owner_keys.get(job.customer_id or 0)
            found[plain(job.number)] = job
    return found


def _plan_job(
    row: Row, plan: Plan, known: Known, jobs: dict[str, Job], gathered: dict[int, str],
    variants: Variants,
) -> None:  # fmt: skip
    number = row.values["number"]
    job = jobs.get(plain(number))
    wanted = _wanted(row, job, plan, known, variants)
    if job is None:
        job = jobs[plain(number)] = plan.create(Job, number, number=number, **said(wanted))
    else:
        if job.pk in gathered:
            _refuse_other_tooling(job, wanted, gathered[job.pk])
        state = job.get_state_display()
        if plan.edit(job, job.number, **wanted) and job.state != JobState.PLANNED:
            raise Conflict(
                "job_is_over",
                _("Job {job} is {state}; it cannot be changed. Plan a new one."),
                job=job.number,
                state=state,
            )
    plan.speak_of(job, job.number)
    if job.gathers_at > job.starts_at:
        raise ToolingError(
            "gathers_after_start",
            _("The kit would be gathered after the job starts. Gather it before."),
            in_field="gather_date",
        )


def _wanted(
    row: Row, job: Job | None, plan: Plan, known: Known, variants: Variants
) -> dict[str, Any]:
    values = row.values
    tool_set = plan.look("set", known.tool_set, values["set"])
    starts = known.moment(values["date"], values.get("time") or MORNING, in_field="time")
    gathers = None if job else starts - GATHERS_BEFORE
    if values.get("gather_date"):
        hour = values.get("gather_time") or MORNING
        gathers = known.moment(values["gather_date"], hour, in_field="gather_time")
    due = None
    if values.get("due_date"):
        due = known.moment(
            values["due_date"], values.get("due_time") or DAYS_END, in_field="due_time"
        )
    customer = values.get("customer")
    hours = values.get("hours")
    return {
        "tool_set": tool_set, "mill": plan.look("mill", known.mill, values["mill"]),
        "variant": _variant(values.get("variant"), tool_set, variants),
        "customer": plan.look("customer", known.owner, customer)
        if customer
        else (None if job else tool_set.customer),
        "grade": values.get("grade"), "unit": row.unit(KINDS["jobs"]),
        "thickness_nm": values.get("thickness"), "width_nm": values.get("width"),
        "coating": values.get("coating"), "strip_class": values.get("strip_class"),
        "length_nm": values.get("length"), "starts_at": starts,
        "hours": None if hours is None else float(hours), "gathers_at": gathers, "due_at": due,
    }  # fmt: skip


def _variant(name: str | None, tool_set: ToolSet, variants: Variants) -> SetVariant | None:
    if not name:
        return None
    variant = variants.get((plain(tool_set.number), plain(name)))
    if variant is None:
        raise Unknown(
            "unknown_variant", _("Set {set} has no variant “{name}”."), set=tool_set.number,
            name=name, in_field="variant",
        )  # fmt: skip
    return variant


def _refuse_other_tooling(job: Job, wanted: dict[str, Any], kit: str) -> None:
    for name, field in (("tool_set", "set"), ("mill", "mill"), ("variant", "variant")):
        if wanted[name] is not None and not same_record(getattr(job, name), wanted[name]):
            raise Conflict(
                "job_has_kit",
                _(
                    "Kit {kit} is open for job {job}, so its set, variant and mill stay. Close the "
                    "kit first."
                ),
                kit=kit,
                job=job.number,
                in_field=field,
            )
