"""Reports of loss, damage and tooling found unsuitable: which are open, and what became of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import OwnerReport, ReportNote

SHOWN = 200


@dataclass(frozen=True)
class Note:
    """What became of a report."""

    what: str
    word: str
    happened_at: datetime
    by: str
    whom: str
    note: str


@dataclass(frozen=True)
class ReportView:
    """One report. ``code`` is the piece's or the bin's; open until the owner was told, or the
    entry that caused it was put right."""

    id: int
    owner: str
    owner_name: str
    kind: str
    kind_word: str
    code: str
    is_piece: bool
    mark: str
    drawing: str
    quantity: int
    what_happened: str
    incident: int | None
    opened_at: datetime
    by: str
    is_open: bool
    is_found: bool
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class ReportList:
    """One page of reports, newest first. ``before`` is the id to go on from."""

    rows: tuple[ReportView, ...]
    before: int | None


def open_reports() -> QuerySet[OwnerReport]:
    """Of which the owner has not been told, and which nothing settled."""
    return OwnerReport.objects.filter(~Exists(_notes("told", "settled")))


def report_list(
    *, owner: str = "", piece: str = "", only_open: bool = False, before: int | None = None,
    size: int = SHOWN,
) -> ReportList:  # fmt: skip
    """Newest first. One query."""
    rows = open_reports() if only_open else OwnerReport.objects.all()
    narrow = Q()
    if owner:
        narrow &= Q(owner__code=owner)
    if piece:
        narrow &= Q(piece__code=piece)
    if before is not None:
        narrow &= Q(pk__lt=before)
    found = list(_shown(rows.filter(narrow)).order_by("-pk")[: size + 1])
    after = found[size - 1].pk if len(found) > size else None
    return ReportList(tuple(_view(row) for row in found[:size]), after)


def report_page(number: int) -> ReportView:
    """One report with all its notes. Two queries. Raises Unknown ``unknown_report``."""
    row = _shown(OwnerReport.objects.filter(pk=number)).first()
    if row is None:
        raise Unknown("unknown_report", _("There is no report {number}."), number=number)
    notes = ReportNote.objects.filter(report=number).select_related("by").order_by("at", "pk")
    return _view(row, tuple(_note(note) for note in notes))


def _notes(*what: str) -> QuerySet[ReportNote]:
    return ReportNote.objects.filter(report=OuterRef("pk"), what__in=what)


def _shown(rows: QuerySet[OwnerReport]) -> QuerySet[OwnerReport]:
    return rows.annotate(
        is_over=Exists(_notes("told", "settled")), is_found=Exists(_notes("found"))
    ).select_related("owner", "piece__drawing", "stock_line__drawing", "by")


def _view(row: OwnerReport, notes: tuple[Note, ...] = ()) -> ReportView:
    subject = row.piece or row.stock_line
    assert subject is not None
    return ReportView(
        id=row.pk,
        owner=row.owner.code,
        owner_name=row.owner.name,
        kind=row.kind,
        kind_word=row.get_kind_display(),
        code=subject.code,
        is_piece=row.piece is not None,
        mark=row.piece.mark if row.piece is not None else "",
        drawing=subject.drawing.number,
        quantity=row.quantity,
        what_happened=row.what_happened,
        incident=row.incident_id,
        opened_at=row.opened_at,
        by=str(row.by or ""),
        is_open=not row.is_over,  # type: ignore[attr-defined]
        is_found=row.is_found,  # type: ignore[attr-defined]
        notes=notes,
    )


def _note(note: ReportNote) -> Note:
    return Note(
        what=note.what,
        word=note.get_what_display(),
        happened_at=note.happened_at,
        by=str(note.by or ""),
        whom=note.whom,
        note=note.note,
    )
