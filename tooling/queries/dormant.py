"""Tooling that lies still: for some months nothing was run with it, it was moved for no job, and
nobody counted it. What came in since is not judged yet."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from tooling.models import (
    CountEntry,
    KitPosition,
    LengthEntry,
    Movement,
    Owner,
    Piece,
)
from tooling.queries.owner_register import pieces_of
from tooling.queries.settings import setting_value

PAGE = 100


@dataclass(frozen=True)
class DormantRow:
    """One piece; ``ran_at``, ``for_job_at`` and ``counted_at`` are the last times, if ever."""

    code: str
    mark: str
    drawing: str
    owner: str
    owner_name: str
    place: str
    place_code: str
    value_cents: int | None
    ran_at: datetime | None
    for_job_at: datetime | None
    counted_at: datetime | None
    moved_at: datetime | None


@dataclass(frozen=True)
class DormantList:
    """One page by code. ``since`` is the moment since which nothing happened."""

    rows: tuple[DormantRow, ...]
    after: str
    months: int
    since: datetime
    count: int


def dormant_list(
    *, at: datetime, owner: Owner | None = None, after: str = "", size: int = PAGE
) -> DormantList:
    """Pieces that lie still, of everybody or one owner. Four queries."""
    months = int(setting_value("dormant_months"))
    since = months_before(at, months)
    still = dormant_pieces(since=since, owner=owner)
    rows = list(
        still.filter(code__gt=after)
        .select_related("drawing", "owner", "place")
        .annotate(
            ran_at=_last(LengthEntry.objects.filter(corrected_by=None), "happened_at"),
            for_job_at=_last(_for_jobs(), "effective_at"),
            counted=_last(_counted(), "happened_at"),
        )
        .order_by("code")[: size + 1]
    )
    return DormantList(
        rows=tuple(_row(piece) for piece in rows[:size]),
        after=rows[size - 1].code if len(rows) > size else "",
        months=months,
        since=since,
        count=still.count(),
    )


def dormant_pieces(*, since: datetime, owner: Owner | None = None) -> QuerySet[Piece]:
    """Pieces known before that moment with which nothing happened from then on."""
    mine = {"piece": OuterRef("pk")}
    known = Movement.objects.filter(**mine, effective_at__lt=since)
    staged = KitPosition.objects.filter(**mine, is_staged=True).filter(
        Q(kit__closed_at=None) | Q(kit__closed_at__gte=since)
    )
    return pieces_of(owner).filter(
        Exists(known),
        ~Exists(LengthEntry.objects.filter(**mine, corrected_by=None, happened_at__gte=since)),
        ~Exists(_for_jobs().filter(**mine, effective_at__gte=since)),
        ~Exists(staged),
        ~Exists(_counted().filter(**mine, happened_at__gte=since)),
    )


def months_before(at: datetime, months: int) -> datetime:
    """The same day so many calendar months before, in the shop's zone; the month's last day where
    it has no such day."""
    local = timezone.localtime(at)
    month = local.year * 12 + local.month - 1 - months
    year, month = divmod(month, 12)
    day = min(local.day, calendar.monthrange(year, month + 1)[1])
    then = local.replace(year=year, month=month + 1, day=day)
    return timezone.make_aware(then.replace(tzinfo=None))


def _for_jobs() -> QuerySet[Movement]:
    return Movement.objects.filter(kit__isnull=False, corrected_by=None)


def _counted() -> QuerySet[CountEntry]:
    return CountEntry.objects.filter(is_taken_back=False, corrected_by=None)


def _last(rows: QuerySet, field: str) -> Subquery:
    mine = rows.filter(piece=OuterRef("pk")).order_by()
    return Subquery(mine.values("piece").annotate(found=Max(field)).values("found"))


def _row(piece: Piece) -> DormantRow:
    return DormantRow(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        owner=piece.owner.code,
        owner_name=piece.owner.name,
        place=piece.place.path_name or piece.place.name,
        place_code=piece.place.code,
        value_cents=piece.value_cents,
        ran_at=piece.ran_at,  # type: ignore[attr-defined]
        for_job_at=piece.for_job_at,  # type: ignore[attr-defined]
        counted_at=piece.counted,  # type: ignore[attr-defined]
        moved_at=piece.placed_effective_at,
    )
