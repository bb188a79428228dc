"""Everything that ever happened to a piece on one line of time, newest first, paged by key.

Ten sources, each asked for one page beyond the key, then merged: the number of queries does
not depend on how long the history is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from django.db.models import DateTimeField, Q, QuerySet, Value
from django.db.models.expressions import RawSQL
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from tooling.engineering.lengths import say_length
from tooling.engineering.money import plain_money
from tooling.models import (
    Change,
    Condition,
    CountEntry,
    IncidentPiece,
    Inspection,
    LabelEvent,
    LengthEntry,
    Movement,
    Piece,
    Reading,
    RefusedScan,
    Work,
)
from tooling.queries.labels import codes_ever
from tooling.queries.work_moment import counts_from_sql

PAGE = 30


@dataclass(frozen=True)
class Entry:
    """One thing that happened. ``said`` is a sentence; lengths stand apart, in nm, so that the
    page can show them in the reader's unit. ``done_on``: the day is known, its hour is not; ``at``
    is from when it counts."""

    at: datetime
    kind: str
    said: str
    by: str
    id: int
    sizes: tuple[tuple[str, int | None, int | None], ...] = ()
    unit: str = "mm"
    length_nm: int | None = None
    note: str = ""
    is_corrected: bool = False
    status: str = "taken"
    scan: str = ""
    how: str = ""
    place_code: str = ""
    extra: dict[str, str] = field(default_factory=dict)
    strokes: int = 0
    done_on: date | None = None

    @property
    def can_correct(self) -> bool:
        return self.kind in ("reading", "work", "length") and not self.is_corrected


@dataclass(frozen=True)
class HistoryPage:
    entries: tuple[Entry, ...]
    after: str


@dataclass(frozen=True)
class Source:
    """One table of history: which rows are the piece's, by which time, told how."""

    kind: str
    rows: Callable[[Piece], QuerySet[Any]]
    time: str
    tell: Callable[[Any], Entry]


def piece_history(code: str, *, after: str = "", size: int = PAGE) -> HistoryPage:
    """One page of the piece's history, older than the key. Fourteen queries."""
    piece = Piece.objects.select_related("drawing").get(code=code)
    key = _read_key(after)
    merged: list[tuple[datetime, int, int, Entry]] = []
    for rank, source in enumerate(SOURCES):
        rows = _page_of(source, rank, piece, key, size)
        for row in rows:
            entry = source.tell(row)
            merged.append((entry.at, -rank, row.pk, entry))
    merged.sort(key=lambda item: item[:3], reverse=True)
    page = merged[:size]
    more = _write_key(page[-1]) if len(merged) > size else ""
    return HistoryPage(tuple(item[3] for item in page), more)


Key = tuple[datetime, int, int]


def _read_key(after: str) -> Key | None:
    """The key of the last entry shown; nonsense starts at the newest."""
    moment, _dot, rest = after.partition("~")
    rank, _dot, pk = rest.partition("~")
    try:
        at = parse_datetime(moment)
        if at is None or at.tzinfo is None or not (rank.isdigit() and pk.isdigit()):
            return None
        return timezone.localtime(at), int(rank), int(pk)
    except (ValueError, OverflowError):
        return None


def _write_key(item: tuple[datetime, int, int, Entry]) -> str:
    return f"{item[0].astimezone(UTC).strftime('%Y-%m-%dT%H:%M:%S.%fZ')}~{-item[1]}~{item[2]}"


def _page_of(source: Source, rank: int, piece: Piece, key: Key | None, size: int) -> Iterable[Any]:
    rows = source.rows(piece).order_by(f"-{source.time}", "-pk")
    if key is None:
        return rows[: size + 1]
    at, key_rank, key_id = key
    older = Q(**{f"{source.time}__lt": at})
    if rank > key_rank:
        older = Q(**{f"{source.time}__lte": at})
    elif rank == key_rank:
        older |= Q(**{source.time: at, "pk__lt": key_id})
    return rows.filter(older)[: size + 1]


def _name(person: Any) -> str:
    return str(person) if person else ""


def _movements(piece: Piece) -> QuerySet[Movement]:
    rows = Movement.objects.filter(piece=piece)
    return rows.select_related("to", "from_seen", "by", "corrected_by", "corrects")


def _tell_movement(row: Movement) -> Entry:
    place = row.from_seen if row.takes_back else row.to
    said = _("moved to {place}") if row.from_seen_id else _("entered at {place}")
    if row.takes_back:
        said = _("taken back: it did not go to {place}")
    elif row.corrects_id:
        said = _("put right: at {place}")
    return Entry(
        at=row.effective_at,
        kind="movement",
        said=said.format(place=place.path_name if place else ""),
        by=_name(row.by),
        id=row.pk,
        note=row.note,
        is_corrected=hasattr(row, "corrected_by"),
        scan=str(row.scan or ""),
        how=row.get_how_display(),
        place_code=row.to.code if row.to and not row.takes_back else "",
    )


def _refused(piece: Piece) -> QuerySet[RefusedScan]:
    return RefusedScan.objects.filter(piece=piece).select_related("by")


def _tell_refused(row: RefusedScan) -> Entry:
    return Entry(
        at=row.effective_at,
        kind="refused",
        said=_("scan refused: {message}").format(message=row.message),
        by=_name(row.by),
        id=row.pk,
        status="refused",
        scan=str(row.scan),
        how=row.get_how_display(),
        extra={"code": row.error_code},
    )


def _readings(piece: Piece) -> QuerySet[Reading]:
    return Reading.objects.filter(piece=piece).select_related("by", "corrected_by", "gauge")


def _tell_reading(row: Reading) -> Entry:
    words = row.dimension.replace("_", " ")
    said = (
        _("measured: {dimension}") if not row.corrects_id else _("reading put right: {dimension}")
    )
    return Entry(
        at=row.happened_at,
        kind="reading",
        said=said.format(dimension=f"{words} {row.point} {row.verdict}".strip()),
        by=_name(row.by),
        id=row.pk,
        length_nm=row.value_nm,
        unit=row.unit,
        note=row.note,
        is_corrected=hasattr(row, "corrected_by"),
    )


def _work(piece: Piece) -> QuerySet[Work]:
    """Each from when it counts (`counts_from`): no moment that is still to come."""
    table = Work._meta.db_table
    columns = (f'"{table}"."done_on"', f'"{table}"."received_at"')
    moment = RawSQL(counts_from_sql(*columns, timezone.get_current_timezone()), (), DateTimeField())
    rows = Work.objects.filter(piece=piece).select_related("by", "corrected_by", "piece")
    return rows.annotate(counts_from=moment).prefetch_related("measures")


def _tell_work(row: Any) -> Entry:
    said = f"{row.get_kind_display()}"
    if row.done_by:
        said = _("{work} by {who}").format(work=said, who=row.done_by)
    return Entry(
        at=row.counts_from,
        done_on=row.done_on,
        kind="work",
        said=said,
        by=_name(row.by),
        id=row.pk,
        sizes=tuple(
            (each.dimension.replace("_", " "), each.before_nm, each.after_nm)
            for each in row.measures.all()
        ),
        unit=row.piece.unit,
        note=row.note,
        is_corrected=hasattr(row, "corrected_by"),
    )


def _lengths(piece: Piece) -> QuerySet[LengthEntry]:
    return LengthEntry.objects.filter(piece=piece).select_related("by", "corrected_by")


def _tell_length(row: LengthEntry) -> Entry:
    said = (
        _("ran strip: {kind}").format(kind=row.strip_class) if row.strip_class else _("ran strip")
    )
    if row.strokes and not row.length_nm:
        said = _("made strokes")
    return Entry(
        at=row.happened_at,
        kind="length",
        said=said,
        by=_name(row.by),
        id=row.pk,
        length_nm=row.length_nm if row.length_nm or not row.strokes else None,
        strokes=row.strokes,
        note=row.note,
        is_corrected=hasattr(row, "corrected_by"),
    )


def _changes(piece: Piece) -> QuerySet[Change]:
    subjects = ("Piece", "PieceAlias")
    rows = Change.objects.filter(subject__in=subjects, subject_key__in=codes_ever(piece.code))
    return rows.select_related("by").annotate(unit=Value(piece.unit))


def _tell_change(row: Any) -> Entry:
    names = sorted({*row.before, *row.after} - {"work"}) if row.before else []
    changed = "; ".join(
        f"{name.removesuffix('_nm').removesuffix('_cents').replace('_', ' ')}: "
        f"{_shown(name, row.before.get(name), row.unit)} → "
        f"{_shown(name, row.after.get(name), row.unit)}"
        for name in names
    )
    said = f"{row.what}: {changed}" if changed else row.what
    return Entry(at=row.at, kind="change", said=said, by=_name(row.by), id=row.pk, note=row.reason)


def _shown(name: str, value: Any, unit: str) -> str:
    if value in (None, ""):
        return "–"
    if name.endswith("_cents"):
        return plain_money(value)
    return say_length(value, "in" if unit == "in" else "mm") if name.endswith("_nm") else str(value)


def _labels(piece: Piece) -> QuerySet[LabelEvent]:
    return LabelEvent.objects.filter(code__in=codes_ever(piece.code)).select_related("by")


def _tell_label(row: LabelEvent) -> Entry:
    said = _("label {code} {what}").format(code=row.code, what=row.get_what_display())
    if row.replaces:
        said = _("label {code} in the place of {old}").format(code=row.code, old=row.replaces)
    return Entry(
        at=row.at,
        kind="label",
        said=said,
        by=_name(row.by),
        id=row.pk,
        note=row.reason,
    )


def _incidents(piece: Piece) -> QuerySet[IncidentPiece]:
    rows = IncidentPiece.objects.filter(piece=piece)
    return rows.select_related("incident__mill", "incident__by", "incident__corrected_by")


def _tell_incident(row: IncidentPiece) -> Entry:
    incident = row.incident
    parts = [
        _("station {number}").format(number=incident.station_number)
        if incident.station_number is not None
        else "",
        _("pass {number}").format(number=incident.pass_number)
        if incident.pass_number is not None
        else "",
    ]
    where = ", ".join([incident.mill.name if incident.mill else "", *parts]).strip(", ")
    kind = incident.get_kind_display()
    said = _("{kind} on {where}: {found}") if incident.mill else _("{kind}: {found}")
    found = row.get_condition_after_display()
    if row.condition_after == Condition.SOUND:
        found = _("looked at, sound")
    elif row.condition_after == Condition.HOLD:
        found = _("held")
    return Entry(
        at=incident.happened_at,
        kind="incident",
        said=said.format(kind=kind, where=where, found=found),
        by=_name(incident.by),
        id=incident.pk,
        note=incident.note,
        is_corrected=hasattr(incident, "corrected_by"),
    )


def _inspections(piece: Piece) -> QuerySet[Inspection]:
    rows = Inspection.objects.filter(receipt__piece=piece)
    return rows.select_related("by", "receipt__line__purchase")


def _tell_inspection(row: Inspection) -> Entry:
    said = _("measured to print for order {order}: {verdict}").format(
        order=row.receipt.line.purchase.number, verdict=row.get_verdict_display()
    )
    return Entry(
        at=row.at,
        kind="inspection",
        said=said,
        by=_name(row.by),
        id=row.pk,
        note=row.reason,
    )


def _counted(piece: Piece) -> QuerySet[CountEntry]:
    """Marks of counts that moved nothing; one that did is told by its movement."""
    rows = CountEntry.objects.filter(piece=piece, is_taken_back=False, movement=None)
    return rows.select_related("count", "place", "by", "corrected_by")


def _tell_counted(row: CountEntry) -> Entry:
    place = row.place.path_name if row.place else "–"
    return Entry(
        at=row.happened_at,
        kind="count",
        said=_("seen in count {number} at {place}").format(number=row.count.number, place=place),
        by=_name(row.by),
        id=row.pk,
        is_corrected=hasattr(row, "corrected_by"),
        how=row.get_how_display(),
    )


SOURCES: tuple[Source, ...] = (
    Source("movement", _movements, "effective_at", _tell_movement),
    Source("refused", _refused, "effective_at", _tell_refused),
    Source("reading", _readings, "happened_at", _tell_reading),
    Source("work", _work, "counts_from", _tell_work),
    Source("length", _lengths, "happened_at", _tell_length),
    Source("change", _changes, "at", _tell_change),
    Source("label", _labels, "at", _tell_label),
    Source("incident", _incidents, "incident__happened_at", _tell_incident),
    Source("inspection", _inspections, "at", _tell_inspection),
    Source("count", _counted, "happened_at", _tell_counted),
)
