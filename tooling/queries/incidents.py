"""Incidents as pages and programs see them: the newest word on each, and what it touched."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import Count, Q, QuerySet
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from tooling.errors import Unknown
from tooling.models import Condition, Incident, IncidentPiece
from tooling.queries.pictures import PictureView, pictures_of_incidents

PAGE = 50
FEW = 5
MOST_CORRECTIONS = 50


@dataclass(frozen=True)
class IncidentRow:
    """One incident in a list. ``withdrawn``: put right by saying that nothing was touched."""

    id: int
    kind: str
    kind_word: str
    mill: str
    mill_number: str
    kit: str
    station: int | None
    set_pass: int | None
    happened_at: datetime
    by: str
    note: str
    pieces: int
    withdrawn: bool

    @property
    def where(self) -> str:
        """Mill, station and pass, as far as they are known."""
        parts = [self.mill]
        if self.station is not None:
            parts.append(_("station {number}").format(number=self.station))
        if self.set_pass is not None:
            parts.append(_("pass {number}").format(number=self.set_pass))
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True)
class TouchedRow:
    """A piece that it touched: found before and after, and now."""

    code: str
    mark: str
    drawing: str
    before: str
    after: str
    now: str
    before_code: str
    after_code: str
    now_code: str

    @property
    def is_held_now(self) -> bool:
        return self.now_code == Condition.HOLD


@dataclass(frozen=True)
class IncidentList:
    rows: tuple[IncidentRow, ...]
    after: str


@dataclass(frozen=True)
class IncidentPage:
    """One incident. ``newer`` is the one that puts it right, ``earlier`` those that it puts
    right, the newest first."""

    row: IncidentRow
    at: datetime
    uuid: str
    corrects: int | None
    newer: int | None
    earlier: tuple[IncidentRow, ...]
    touched: tuple[TouchedRow, ...]
    pictures: tuple[PictureView, ...]


def incident_list(
    *, kind: str = "", mill: str = "", kit: str = "", piece: str = "", after: str = "",
    size: int = PAGE,
) -> IncidentList:  # fmt: skip
    """Incidents as they now stand, the newest first, paged by key. One query."""
    wanted = Q(corrected_by=None)
    if kind:
        wanted &= Q(kind=kind)
    if mill:
        wanted &= Q(mill__number=mill)
    if kit:
        wanted &= Q(kit__number=kit)
    if piece:
        wanted &= Q(pk__in=IncidentPiece.objects.filter(piece__code=piece).values("incident"))
    rows = list(_ordered(Incident.objects.filter(wanted & _older(after)))[: size + 1])
    last = rows[size - 1] if len(rows) > size else None
    return IncidentList(tuple(_row(row) for row in rows[:size]), _key(last))


def incidents_of_mill(number: str) -> tuple[IncidentRow, ...]:
    """The last few. One query."""
    return incident_list(mill=number, size=FEW).rows


def incidents_of_kit(number: str) -> tuple[IncidentRow, ...]:
    """The last few. One query."""
    return incident_list(kit=number, size=FEW).rows


def incident_page(number: int) -> IncidentPage:
    """One incident. Three queries, and one for each incident that it puts right.

    Raises Unknown ``unknown_code``.
    """
    row = _counted(Incident.objects.filter(pk=number)).first()
    if row is None:
        raise Unknown("unknown_code", _("There is no incident {number}."), number=number)
    earlier = _earlier(row)
    touched = IncidentPiece.objects.filter(incident=row).select_related("piece__drawing")
    newer = getattr(row, "corrected_by", None)
    return IncidentPage(
        row=_row(row),
        at=row.at,
        uuid=str(row.uuid),
        corrects=row.corrects_id,
        newer=newer.pk if newer else None,
        earlier=tuple(_row(each) for each in earlier),
        touched=tuple(_touched(each) for each in touched.order_by("piece__code")),
        pictures=pictures_of_incidents({row.pk, *(each.pk for each in earlier)}),
    )


def incident_row(number: int) -> Incident:
    """The row to hand to a service. Raises Unknown ``unknown_code``. One query."""
    rows = Incident.objects.select_related("mill", "kit__job", "by", "corrected_by")
    row = rows.filter(pk=number).first()
    if row is None:
        raise Unknown("unknown_code", _("There is no incident {number}."), number=number)
    return row


def _earlier(row: Incident) -> list[Incident]:
    found: list[Incident] = []
    while row.corrects_id is not None and len(found) < MOST_CORRECTIONS:
        row = _counted(Incident.objects.filter(pk=row.corrects_id)).get()
        found.append(row)
    return found


def _ordered(rows: QuerySet[Incident]) -> QuerySet[Incident]:
    return _counted(rows).order_by("-happened_at", "-pk")


def _counted(rows: QuerySet[Incident]) -> QuerySet[Incident]:
    counted = rows.annotate(piece_count=Count("pieces", distinct=True))
    return counted.select_related("mill", "kit", "by", "corrected_by")


def _row(row: Incident) -> IncidentRow:
    count = row.piece_count  # type: ignore[attr-defined]
    return IncidentRow(
        id=row.pk,
        kind=row.kind,
        kind_word=row.get_kind_display(),
        mill=row.mill.name if row.mill else "",
        mill_number=row.mill.number if row.mill else "",
        kit=row.kit.number if row.kit else "",
        station=row.station_number,
        set_pass=row.pass_number,
        happened_at=row.happened_at,
        by=str(row.by or ""),
        note=row.note,
        pieces=count,
        withdrawn=row.corrects_id is not None and not count,
    )


def _touched(each: IncidentPiece) -> TouchedRow:
    piece = each.piece
    return TouchedRow(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        before=each.get_condition_before_display(),
        after=each.get_condition_after_display(),
        now=piece.get_condition_display(),
        before_code=each.condition_before,
        after_code=each.condition_after,
        now_code=piece.condition,
    )


def _key(last: Incident | None) -> str:
    if last is None:
        return ""
    return f"{last.happened_at.astimezone(UTC).strftime('%Y-%m-%dT%H:%M:%S.%fZ')}~{last.pk}"


def _older(after: str) -> Q:
    """What comes after the key; nonsense begins at the newest."""
    moment, _dot, pk = after.partition("~")
    try:
        at = parse_datetime(moment)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None or not (pk.isascii() and pk.isdigit() and len(pk) < 19):
        return Q()
    return Q(happened_at__lt=at) | Q(happened_at=at, pk__lt=int(pk))
