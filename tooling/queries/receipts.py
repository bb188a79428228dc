"""What came in against orders: receipts with their verdicts, one by one and for a piece's page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q, QuerySet, Sum
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import DrawingFile, Inspection, PurchaseLine, Receipt
from tooling.queries.piece_page import FileLink
from tooling.queries.received import standing


@dataclass(frozen=True)
class InspectionView:
    """A verdict. ``verdict``: accepted, concession, rejected."""

    verdict: str
    verdict_word: str
    reason: str
    at: datetime
    by: str


@dataclass(frozen=True)
class ReceiptView:
    """What came in at once: a piece, or a count into a bin."""

    id: int
    piece: str
    mark: str
    condition: str
    stock: str
    quantity: int
    place: str
    place_code: str
    heat_lot: str
    certificate_name: str
    happened_at: datetime
    by: str
    note: str
    is_taken_back: bool
    inspection: InspectionView | None

    @property
    def waits(self) -> bool:
        """A piece that nobody measured to print yet."""
        return bool(self.piece) and not self.is_taken_back and self.inspection is None


def find_receipt(key: int) -> Receipt:
    """By its id. Raises Unknown ``unknown_receipt``."""
    rows = Receipt.objects.select_related(
        "line__purchase", "line__revision__drawing", "piece", "certificate"
    )
    found = rows.filter(pk=key, is_taken_back=False).first()
    if found is None:
        raise Unknown("unknown_receipt", _("There is no receipt {key}."), key=key)
    return found


def with_subjects(rows: QuerySet[Receipt]) -> QuerySet[Receipt]:
    """With what came, where it lies and who wrote it down."""
    return rows.select_related("piece__place", "stock_line__place", "by", "corrected_by")


def receipt_view(row: Receipt, verdicts: Mapping[int, InspectionView]) -> ReceiptView:
    """A receipt as it is shown. No query when it comes ``with_subjects``."""
    piece, line = row.piece, row.stock_line
    place = piece.place if piece else line.place if line else None
    return ReceiptView(
        id=row.pk,
        piece=piece.code if piece else "",
        mark=piece.mark if piece else "",
        condition=piece.condition if piece else "",
        stock=line.code if line else "",
        quantity=row.quantity,
        place=(place.path_name or place.name) if place else "",
        place_code=place.code if place else "",
        heat_lot=row.heat_lot,
        certificate_name=row.certificate_name if row.certificate_id else "",
        happened_at=row.happened_at,
        by=str(row.by) if row.by else "",
        note=row.note,
        is_taken_back=hasattr(row, "corrected_by"),
        inspection=verdicts.get(row.pk),
    )


def verdicts_of(rows: QuerySet[Inspection]) -> dict[int, InspectionView]:
    """Receipt id → the verdict that stands: the newest. One query."""
    found = {}
    for row in rows.select_related("by").order_by("at", "pk"):
        found[row.receipt_id] = _inspection(row)
    return found


def _inspection(row: Inspection) -> InspectionView:
    return InspectionView(
        verdict=row.verdict,
        verdict_word=str(row.get_verdict_display()),
        reason=row.reason,
        at=row.at,
        by=str(row.by) if row.by else "",
    )


def last_receipt(line: PurchaseLine) -> Receipt | None:
    """What came last for the order, with its place and papers, as a start for the next piece:
    of the same line if anything came, else of any. One query."""
    rows = standing().filter(line__purchase=line.purchase_id)
    return (
        rows.select_related("piece__place", "stock_line__place", "certificate")
        .annotate(same=Count("pk", filter=Q(line=line.pk)))
        .order_by("-same", "-at", "-pk")
        .first()
    )


def files_of(revision_id: int) -> tuple[FileLink, ...]:
    """The files of a drawing's revision. One query."""
    rows = DrawingFile.objects.filter(revision=revision_id).select_related("file")
    return tuple(FileLink(row.file.sha256, row.name) for row in rows.order_by("name"))


@dataclass(frozen=True)
class ReceiptPage:
    """A receipt by itself, with every verdict on it, the newest first, and the next piece of the
    order that waits to be measured."""

    view: ReceiptView
    order: str
    line: int
    line_is_full: bool
    drawing: str
    revision: str
    revision_id: int
    is_counted: bool
    history: tuple[InspectionView, ...]
    files: tuple[FileLink, ...]
    next_waiting: int | None


def receipt_page(key: int) -> ReceiptPage:
    """One receipt. Five queries. Raises Unknown ``unknown_receipt``."""
    rows = with_subjects(Receipt.objects.filter(pk=key, is_taken_back=False))
    row = rows.select_related(
        "piece__place", "stock_line__place", "by", "corrected_by", "line__purchase",
        "line__revision__drawing",
    ).first()  # fmt: skip
    if row is None:
        raise Unknown("unknown_receipt", _("There is no receipt {key}."), key=key)
    verdicts = Inspection.objects.filter(receipt=row).select_related("by").order_by("-at", "-pk")
    history = [_inspection(each) for each in verdicts]
    waiting = standing().filter(line__purchase=row.line.purchase_id, piece__isnull=False)
    others = waiting.filter(inspections=None).exclude(pk=row.pk).order_by("at", "pk")
    came = standing().filter(line=row.line).aggregate(n=Sum("quantity"))["n"] or 0
    return ReceiptPage(
        view=receipt_view(row, {row.pk: history[0]} if history else {}),
        order=row.line.purchase.number,
        line=row.line.line,
        line_is_full=came >= row.line.quantity,
        drawing=row.line.revision.drawing.number,
        revision=row.line.revision.revision,
        revision_id=row.line.revision_id,
        is_counted=row.line.is_counted,
        history=tuple(history),
        files=files_of(row.line.revision_id),
        next_waiting=others.values_list("pk", flat=True).first(),
    )


@dataclass(frozen=True)
class CameWith:
    """How a piece came into the shop, for its own page."""

    receipt: int
    order: str
    line: int
    happened_at: datetime
    heat_lot: str
    certificate_name: str
    is_taken_back: bool
    inspection: InspectionView | None


def came_with(piece_code: str) -> CameWith | None:
    """The receipt of a piece, if it came against an order. Two queries."""
    rows = Receipt.objects.filter(piece__code=piece_code, is_taken_back=False)
    row = rows.select_related("line__purchase", "corrected_by").order_by("-pk").first()
    if row is None:
        return None
    verdicts = verdicts_of(Inspection.objects.filter(receipt=row))
    return CameWith(
        receipt=row.pk,
        order=row.line.purchase.number,
        line=row.line.line,
        happened_at=row.happened_at,
        heat_lot=row.heat_lot,
        certificate_name=row.certificate_name if row.certificate_id else "",
        is_taken_back=hasattr(row, "corrected_by"),
        inspection=verdicts.get(row.pk),
    )
