"""Jobs: planning a run, changing the plan, calling it off."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Job, JobState, Kit, KitPosition, KitState, Mill, Person, ToolSet
from tooling.permissions import Verb, check_can
from tooling.queries.stock_pools import POOLED
from tooling.services import kits
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.touched import touch_kits_of
from tooling.services.write import bump, writing

GATHERS_BEFORE = timedelta(hours=24)
"""How long before its start a job's kit is gathered, unless the plan says otherwise."""

MOST_HOURS = 1_000
MOST_THICKNESS_NM = 30_000_000
MOST_WIDTH_NM = 3_000_000_000
MOST_LENGTH_NM = 10**17
BOUND_BY_KIT = ("tool_set", "variant", "mill")


def plan(
    *,
    by: Person,
    at: datetime,
    number: str,
    tool_set: ToolSet,
    mill: Mill,
    starts_at: datetime,
    **fields: Any,
) -> Job:
    """Plan a run. Without ``gathers_at`` its kit is gathered a day before; without ``customer`` it
    is the set's.

    Raises NotAllowed, ``already_there``, ``other_set``, ``mill_not_used``, ``absurd_hours``,
    ``improbable_value``, ``gathers_after_start``.
    """
    check_can(by, Verb.PLAN_JOBS)
    require_fields(Job, fields)
    number = require_text(number, field="number", label=_("Job"), longest=30)
    fields.setdefault("customer", tool_set.customer)
    fields["gathers_at"] = fields.get("gathers_at") or starts_at - GATHERS_BEFORE
    values = {"tool_set": tool_set, "mill": mill, "starts_at": starts_at, **fields}
    _check(values)
    with writing():
        if Job.objects.filter(number=number).exists():
            raise already_there(label=_("Job"), text=number, field="number")
        job = Job.objects.create(number=number, **values)
        record_creation(by=by, at=at, row=job, key=number, fields=values)
    return job


def edit(*, by: Person, at: datetime, job: Job, reason: str = "", **fields: Any) -> Job:
    """Change a planned job. Set, variant and mill stay while its kit is open. ``gathers_at`` of
    None: a day before its start.

    Raises as ``plan``, and ``job_is_over``, ``job_has_kit``.
    """
    check_can(by, Verb.PLAN_JOBS)
    require_fields(Job, fields)
    with writing():
        fresh = Job.objects.select_for_update().get(pk=job.pk)
        check_planned(fresh)
        if "gathers_at" in fields and fields["gathers_at"] is None:
            fields["gathers_at"] = fields.get("starts_at", fresh.starts_at) - GATHERS_BEFORE
        names = ("tool_set", "mill", "variant", "starts_at", "gathers_at", "hours",
                 "thickness_nm", "width_nm", "length_nm")  # fmt: skip
        _check({name: getattr(fresh, name) for name in names} | fields)
        kit = Kit.objects.filter(job=fresh).exclude(state=KitState.CLOSED).first()
        if kit is not None:
            _check_not_bound(fresh, kit, fields)
        apply_edit(by=by, at=at, row=fresh, key=fresh.number, fields=fields, reason=reason)
        if kit is not None:
            _tell(kit)
    return fresh


def cancel(*, by: Person, at: datetime, job: Job, reason: str) -> Job:
    """Call a job off; its open kit, if any, is closed short for that reason.

    Raises NotAllowed, ``job_is_over``, ``empty_text``.
    """
    check_can(by, Verb.PLAN_JOBS)
    reason = require_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        fresh = Job.objects.select_for_update().get(pk=job.pk)
        check_planned(fresh)
        fields = {"state": JobState.CANCELLED}
        apply_edit(
            by=by, at=at, row=fresh, key=fresh.number, fields=fields, what="cancelled",
            reason=reason,
        )  # fmt: skip
        kit = Kit.objects.filter(job=fresh).exclude(state=KitState.CLOSED).first()
        if kit is not None:
            kits.close(by=by, at=at, kit=kit, reason=reason)
    return fresh


def _tell(kit: Kit) -> None:
    """A changed time may decide who has what is shared: tell all kits that claim the same."""
    pieces = KitPosition.objects.filter(kit=kit, piece__isnull=False)
    counted = KitPosition.objects.filter(POOLED, kit=kit)
    touch_kits_of(
        pieces=set(pieces.values_list("piece_id", flat=True)),
        drawings=set(counted.values_list("drawing_id", flat=True)),
    )
    bump([kit.pk])


def check_planned(job: Job) -> None:
    """A job that is done or called off stays as it is. Raises ``job_is_over``."""
    if job.state != JobState.PLANNED:
        raise Conflict(
            "job_is_over",
            _("Job {job} is {state}; it cannot be changed. Plan a new one."),
            job=job.number,
            state=job.get_state_display(),
        )


def _check_not_bound(job: Job, kit: Kit, fields: dict[str, Any]) -> None:
    for name in BOUND_BY_KIT:
        if name in fields and fields[name] != getattr(job, name):
            raise Conflict(
                "job_has_kit",
                _("Kit {kit} is open for job {job}, so its set, variant and mill stay. Close the "
                  "kit first."),
                kit=kit.number,
                job=job.number,
                in_field=name,
            )  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    variant, tool_set, mill = values.get("variant"), values["tool_set"], values["mill"]
    if variant is not None and variant.tool_set_id != tool_set.pk:
        raise ToolingError(
            "other_set",
            _("Variant {variant} belongs to another set, not to {set}."),
            variant=variant.name,
            set=tool_set.number,
            in_field="variant",
        )
    if not mill.is_active:
        raise Conflict(
            "mill_not_used",
            _("{mill} is no longer used. Choose another mill."),
            mill=mill.name,
            in_field="mill",
        )
    if values["gathers_at"] > values["starts_at"]:
        raise ToolingError(
            "gathers_after_start",
            _("The kit would be gathered after the job starts. Gather it before."),
            in_field="gathers_at",
        )
    _check_hours(values.get("hours", 8))
    _check_size("thickness_nm", values.get("thickness_nm"), 1, MOST_THICKNESS_NM)
    _check_size("width_nm", values.get("width_nm"), 1, MOST_WIDTH_NM)
    _check_size("length_nm", values.get("length_nm"), 0, MOST_LENGTH_NM)


def _check_hours(hours: float) -> None:
    if not 0 < hours <= MOST_HOURS:
        raise ToolingError(
            "absurd_hours",
            _("{hours} h on the mill is not possible. Write more than 0 and up to {most}."),
            hours=hours,
            most=MOST_HOURS,
            in_field="hours",
        )


def _check_size(name: str, value: int | None, least: int, most: int) -> None:
    words = {
        "thickness_nm": _("Strip thickness"),
        "width_nm": _("Strip width"),
        "length_nm": _("Strip length"),
    }
    if value is not None and not least <= value <= most:
        raise ToolingError(
            "improbable_value",
            _("{what}: {value} mm is not possible. Check the number and its unit."),
            what=words[name],
            value=f"{value / 1_000_000:g}",
            in_field=name,
        )
