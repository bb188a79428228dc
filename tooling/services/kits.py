"""Kits: opened for a job, given a gathering place, assembled, closed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    AWAY_KINDS,
    Job,
    JobState,
    Kit,
    KitPosition,
    KitState,
    Person,
    Place,
    PlaceKind,
    Setup,
)
from tooling.permissions import Verb, check_can
from tooling.queries.stock_pools import POOLED
from tooling.queries.whereabouts import GONE_KINDS
from tooling.services import staging
from tooling.services.codes import next_codes
from tooling.services.edits import apply_edit, require_text
from tooling.services.kit_assembly import assemble
from tooling.services.kit_choices import choose, release
from tooling.services.kit_plan import planned_positions
from tooling.services.kit_state import check_open
from tooling.services.movements import check_place_is_used
from tooling.services.write import lock, record_change, writing

__all__ = ["assemble", "choose", "close", "open_kit", "release", "set_gathering_place"]

NO_GATHERING = (*AWAY_KINDS, *GONE_KINDS, PlaceKind.STATION)


def open_kit(*, by: Person, at: datetime, job: Job, place: Place | None = None) -> Kit:
    """A kit for a job: a position for everything that the set, in its variant, calls for.

    ``place``: where it is gathered. Raises NotAllowed, ``job_is_over``, ``kit_is_open``,
    ``set_has_no_positions``, and as ``set_gathering_place``.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        job = Job.objects.select_for_update().get(pk=job.pk)
        _check_may_open(job)
        kit = Kit(number=next_codes(kind="K")[0], job=job)
        rows = planned_positions(kit)
        if not rows:
            raise ToolingError(
                "set_has_no_positions",
                _("Set {set} has no passes with positions yet, so nobody can say what its kit "
                  "needs. Enter its passes first."),
                set=job.tool_set.number,
            )  # fmt: skip
        kit.save(force_insert=True)
        KitPosition.objects.bulk_create(rows)
        record_change(
            by=by,
            at=at,
            subject=kit,
            key=kit.number,
            what="opened",
            after={"job": job.number, "positions": len(rows)},
        )
        if place is not None:
            kit = set_gathering_place(by=by, at=at, kit=kit, place=place)
    return kit


def _check_may_open(job: Job) -> None:
    if job.state != JobState.PLANNED:
        raise Conflict(
            "job_is_over",
            _("Job {job} is {state}; no kit can be opened for it. Plan a new job."),
            job=job.number,
            state=job.get_state_display(),
        )
    there = Kit.objects.filter(job=job).exclude(state=KitState.CLOSED).first()
    if there is not None:
        raise Conflict(
            "kit_is_open",
            _("Kit {kit} is open for job {job} already. Go on with that one."),
            kit=there.number,
            job=job.number,
        )


def set_gathering_place(*, by: Person, at: datetime, kit: Kit, place: Place | None) -> Kit:
    """Where the kit is gathered; what lies there already is here at once. None: nowhere yet.

    A place with pegs gives each position, or each stack, its own peg where there are enough.
    Raises NotAllowed, ``kit_closed``, ``place_not_used``, ``not_a_gathering_place``,
    ``place_taken``.
    """
    check_can(by, Verb.GATHER_KITS)
    if place is not None:
        check_place_is_used(place)
        _check_may_gather(place)
    with writing():
        lock(kits={kit.pk})
        kit = Kit.objects.select_related("place", "job").get(pk=kit.pk)
        check_open(kit)
        if place is not None:
            _check_free(kit, place)
        around = [each.path for each in (kit.place, place) if each is not None]
        changed = apply_edit(
            by=by, at=at, row=kit, key=kit.number, fields={"place": place}, what="gathering place"
        )
        if changed:
            _assign_pegs(kit)
            staging.restage(by=by, at=at, kit_ids=[kit.pk], paths=around)
    kit.refresh_from_db()
    return kit


def _check_may_gather(place: Place) -> None:
    if place.kind in NO_GATHERING:
        raise ToolingError(
            "not_a_gathering_place",
            _("{place} is a {kind}; a kit is gathered on a cart, a plate, a rack or at pegs. "
              "Choose one of those."),
            place=place.path_name or place.name,
            kind=place.get_kind_display(),
            in_field="place",
        )  # fmt: skip


def _check_free(kit: Kit, place: Place) -> None:
    there = Kit.objects.filter(place=place).exclude(state=KitState.CLOSED).exclude(pk=kit.pk)
    other = there.select_related("job").first()
    if other is not None:
        raise Conflict(
            "place_taken",
            _("{place} is the gathering place of kit {kit} for job {job}. Choose another, or close "
              "that kit."),
            place=place.path_name or place.name,
            kit=other.number,
            job=other.job.number,
            in_field="place",
        )  # fmt: skip


def _assign_pegs(kit: Kit) -> None:
    pegs: list[Place] = []
    if kit.place is not None:
        inside = Place.objects.filter(path__startswith=kit.place.path, is_active=True)
        pegs = list(inside.filter(kind=PlaceKind.PEG).order_by("walking_order", "path"))
    rows = list(
        KitPosition.objects.filter(kit=kit).order_by("station_number", "shaft", "order", "pk")
    )
    for row, peg in zip(rows, _pegs_for(rows, pegs), strict=True):
        row.peg = peg
    KitPosition.objects.bulk_update(rows, ["peg"], batch_size=200)


def _pegs_for(rows: Sequence[KitPosition], pegs: Sequence[Place]) -> list[Place | None]:
    """One for each position, else one for each stack, else none."""
    stacks = sorted({(row.station_number, row.shaft) for row in rows})
    if len(pegs) >= len(rows):
        return list(pegs[: len(rows)])
    if len(pegs) >= len(stacks):
        of_stack = dict(zip(stacks, pegs, strict=False))
        return [of_stack[row.station_number, row.shaft] for row in rows]
    return [None] * len(rows)


def close(*, by: Person, at: datetime, kit: Kit, reason: str = "") -> Kit:
    """End the kit: complete if it ever was as it is chosen now, else short, which needs a reason.

    Its reservations end. When the job's start is past, the job is done. A closed kit is not
    opened again; a new one may be, while the job is planned.
    Raises NotAllowed, ``kit_closed``, ``kit_short`` (asks for a reason).
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        kit = Kit.objects.select_related("job", "place").get(pk=kit.pk)
        check_open(kit)
        is_short = kit.complete_at is None
        said = _reason(kit, reason) if is_short else " ".join(reason.split())[:400]
        rows = KitPosition.objects.filter(kit=kit)
        claimed = {pk for pk in rows.values_list("piece_id", flat=True) if pk is not None}
        drawings = set(rows.filter(POOLED).values_list("drawing_id", flat=True))
        here = rows.filter(is_staged=True).count()
        fields = {
            "state": KitState.CLOSED,
            "closed_at": at,
            "is_short": is_short,
            "short_reason": said if is_short else "",
        }
        apply_edit(
            by=by, at=at, row=kit, key=kit.number, fields=fields,
            what="closed short" if is_short else "closed", reason=said,
        )  # fmt: skip
        rows.update(is_open=False, holds_piece=False)
        if _has_run(kit, at) and kit.job.state == JobState.PLANNED:
            apply_edit(
                by=by, at=at, row=kit.job, key=kit.job.number, fields={"state": JobState.DONE},
                what="done", reason=f"{here}/{rows.count()}",
            )  # fmt: skip
        free(by=by, at=at, pieces=claimed, drawings=drawings, kit=kit)
    return kit


def _has_run(kit: Kit, at: datetime) -> bool:
    """By now its planned start is past, or a setup of it made a good part before that."""
    return at >= kit.job.starts_at or Setup.objects.filter(kit=kit, good_at__isnull=False).exists()


def free(*, by: Person, at: datetime, pieces: set[int], drawings: set[int], kit: Kit) -> None:
    """After claims ended: other kits may have the pieces now, and their screens are told."""
    claims = KitPosition.objects.filter(is_open=True)
    same = claims.filter(piece__in=pieces) | claims.filter(drawing__in=drawings)
    others = set(same.values_list("kit_id", flat=True))
    around = [kit.place.path] if kit.place is not None else []
    staging.restage(by=by, at=at, kit_ids=others | {kit.pk}, paths=around)


def _reason(kit: Kit, reason: str) -> str:
    if reason.strip():
        return require_text(reason, field="reason", label=_("Reason"), longest=400)
    lacking = KitPosition.objects.filter(kit=kit, is_staged=False).count()
    raise ToolingError(
        "kit_short",
        _("{count} of the kit's pieces are not here. To close it short, say why."),
        count=lacking,
        in_field="reason",
        asks="reason",
    )
