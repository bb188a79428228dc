"""Drawings: the list by number, and one drawing with its revisions, files and pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import (
    Drawing,
    DrawingFeature,
    DrawingFile,
    DrawingKind,
    DrawingRevision,
    Piece,
    StockLine,
)
from tooling.queries.gauge_points import PointView, points_of
from tooling.queries.old_pieces import OldPiece, old_pieces_of
from tooling.queries.piece_page import HAVE_LEAST, SIZES, FileLink
from tooling.queries.pieces import PieceRow, piece_rows
from tooling.queries.places import StockRow, stock_rows
from tooling.queries.prefixes import begins_in_capitals

PAGE = 50


@dataclass(frozen=True)
class DrawingRow:
    number: str
    title: str
    kind_word: str
    revision: str
    unit: str
    bore_nm: int | None
    face_width_nm: int | None
    drive_diameter_nm: int | None
    outside_diameter_nm: int | None
    pieces: int


@dataclass(frozen=True)
class DrawingList:
    rows: tuple[DrawingRow, ...]
    after: str


@dataclass(frozen=True)
class DrawnSize:
    label: Any
    drawn_nm: int | None
    least_nm: int | None


@dataclass(frozen=True)
class FeatureView:
    """Something that the die makes in the strip; sizes in nm."""

    id: int
    order: int
    shape: str
    shape_word: str
    name: str
    width_nm: int | None
    length_nm: int | None
    note: str


@dataclass(frozen=True)
class RevisionView:
    id: int
    revision: str
    is_current: bool
    issued_on: date | None
    unit: str
    material: str
    bore_class: str
    old_pieces: str
    old_pieces_word: str
    note: str
    strokes_to_sharpen: int | None
    plated_thickness_nm: int | None
    case_depth_nm: int | None
    new_cost_cents: int | None
    sizes: tuple[DrawnSize, ...]
    files: tuple[FileLink, ...]
    features: tuple[FeatureView, ...]


@dataclass(frozen=True)
class DrawingPage:
    number: str
    title: str
    kind: str
    kind_word: str
    revisions: tuple[RevisionView, ...]
    pieces: tuple[PieceRow, ...]
    more_pieces: bool
    stock: tuple[StockRow, ...]
    old_pieces: tuple[OldPiece, ...]
    points: tuple[PointView, ...] = ()

    @property
    def current(self) -> RevisionView | None:
        return next((each for each in self.revisions if each.is_current), None)

    @property
    def earlier(self) -> tuple[RevisionView, ...]:
        return tuple(each for each in self.revisions if not each.is_current)


def drawing_list(*, text: str = "", kind: str = "", after: str = "") -> DrawingList:
    """One page of drawings by number; the text is the beginning of a number. One query."""
    drawings = Drawing.objects.filter(number__gt=after, revisions__is_current=True)
    if text:
        drawings = drawings.filter(begins_in_capitals("number_key", text.strip()))
    if kind in DrawingKind.values:
        drawings = drawings.filter(kind=kind)
    rows = list(_annotated(drawings).order_by("number")[: PAGE + 1])
    page = tuple(_row(drawing) for drawing in rows[:PAGE])
    return DrawingList(page, page[-1].number if len(rows) > PAGE else "")


def drawing_page(number: str) -> DrawingPage:
    """One drawing. Eight queries. Raises Unknown ``unknown_drawing``."""
    drawing = Drawing.objects.filter(number=number).first()
    if drawing is None:
        raise Unknown("unknown_drawing", _("There is no drawing {number}."), number=number)
    pieces = piece_rows(Piece.objects.filter(drawing=drawing), most=PAGE + 1)
    revisions = list(DrawingRevision.objects.filter(drawing=drawing).order_by("pk"))
    return DrawingPage(
        number=drawing.number,
        title=drawing.title,
        kind=drawing.kind,
        kind_word=drawing.get_kind_display(),
        revisions=_revisions(drawing, revisions),
        pieces=pieces[:PAGE],
        more_pieces=len(pieces) > PAGE,
        stock=stock_rows(StockLine.objects.filter(drawing=drawing)),
        old_pieces=old_pieces_of(drawing.pk, revisions),
        points=points_of(drawing.number),
    )


def _annotated(drawings: QuerySet[Drawing]) -> QuerySet[Drawing]:
    made = Piece.objects.filter(drawing=OuterRef("pk")).order_by().values("drawing")
    return drawings.annotate(
        now_revision=F("revisions__revision"),
        now_unit=F("revisions__unit"),
        now_bore=F("revisions__bore_nm"),
        now_width=F("revisions__face_width_nm"),
        now_drive=F("revisions__drive_diameter_nm"),
        now_outside=F("revisions__outside_diameter_nm"),
        piece_count=Coalesce(Subquery(made.annotate(n=Count("pk")).values("n")), 0),
    )


def _row(drawing: Any) -> DrawingRow:
    return DrawingRow(
        number=drawing.number,
        title=drawing.title,
        kind_word=drawing.get_kind_display(),
        revision=drawing.now_revision,
        unit=drawing.now_unit,
        bore_nm=drawing.now_bore,
        face_width_nm=drawing.now_width,
        drive_diameter_nm=drawing.now_drive,
        outside_diameter_nm=drawing.now_outside,
        pieces=drawing.piece_count,
    )


def _revisions(drawing: Drawing, revisions: Sequence[DrawingRevision]) -> tuple[RevisionView, ...]:
    """The current one first, then the newest."""
    files: dict[int, list[FileLink]] = {}
    rows = DrawingFile.objects.filter(revision__drawing=drawing).select_related("file")
    for row in rows:
        files.setdefault(row.revision_id, []).append(FileLink(row.file.sha256, row.name))
    features: dict[int, list[FeatureView]] = {}
    for feature in DrawingFeature.objects.filter(revision__drawing=drawing).order_by("order"):
        features.setdefault(feature.revision_id, []).append(_feature(feature))
    ordered = sorted(revisions, key=lambda each: (each.is_current, each.pk), reverse=True)
    return tuple(
        RevisionView(
            id=each.pk,
            revision=each.revision,
            is_current=each.is_current,
            issued_on=each.issued_on,
            unit=each.unit,
            material=each.material,
            bore_class=each.bore_class,
            old_pieces=each.old_pieces,
            old_pieces_word=each.get_old_pieces_display(),
            note=each.note,
            strokes_to_sharpen=each.strokes_to_sharpen,
            plated_thickness_nm=each.plated_thickness_nm,
            case_depth_nm=each.case_depth_nm,
            new_cost_cents=each.new_cost_cents,
            sizes=_sizes(each),
            files=tuple(files.get(each.pk, [])),
            features=tuple(features.get(each.pk, [])),
        )
        for each in ordered
    )


def _feature(row: DrawingFeature) -> FeatureView:
    return FeatureView(
        id=row.pk,
        order=row.order,
        shape=row.shape,
        shape_word=row.get_shape_display(),
        name=row.name,
        width_nm=row.width_nm,
        length_nm=row.length_nm,
        note=row.note,
    )


def _sizes(revision: DrawingRevision) -> tuple[DrawnSize, ...]:
    return tuple(
        DrawnSize(
            label=label,
            drawn_nm=getattr(revision, f"{name}_nm"),
            least_nm=getattr(revision, f"least_{name}_nm") if name in HAVE_LEAST else None,
        )
        for name, label in SIZES
    )
