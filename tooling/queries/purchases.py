"""Orders for new tooling as pages and programs see them: what is to come, what came, what it
measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import DrawingFile, Inspection, Purchase, PurchaseLine, Receipt
from tooling.queries.owner_values import currency
from tooling.queries.piece_page import FileLink
from tooling.queries.received import standing

FEW = 5
MOST = 200


@dataclass(frozen=True)
class PurchaseRow:
    """One order in a list."""

    number: str
    vendor: str
    owner: str
    ordered_on: date
    due_on: date | None
    is_open: bool
    ordered: int
    received: int
    to_inspect: int
    days_late: int

    @property
    def lacking(self) -> int:
        return max(0, self.ordered - self.received)


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


@dataclass(frozen=True)
class LineView:
    """One line of an order with what came against it, the newest first."""

    line: int
    drawing: str
    title: str
    kind: str
    revision: str
    revision_is_current: bool
    quantity: int
    received: int
    is_counted: bool
    set_copy: str
    set_number: str
    copy_letter: str
    mark: str
    price_cents: int | None
    receipts: tuple[ReceiptView, ...]

    @property
    def lacking(self) -> int:
        return max(0, self.quantity - self.received)


@dataclass(frozen=True)
class PurchasePage:
    number: str
    vendor: str
    owner: str
    owner_code: str
    ordered_on: date
    due_on: date | None
    is_open: bool
    note: str
    days_late: int
    currency: str
    lines: tuple[LineView, ...]

    @property
    def lacking(self) -> int:
        return sum(line.lacking for line in self.lines)

    @property
    def to_inspect(self) -> tuple[ReceiptView, ...]:
        """Pieces that nobody measured to print yet."""
        return tuple(each for line in self.lines for each in line.receipts if each.waits)

    @property
    def total_cents(self) -> int | None:
        """What all of it costs; None while a line has no price."""
        prices = [(line.price_cents, line.quantity) for line in self.lines]
        if not prices or any(cents is None for cents, _quantity in prices):
            return None
        return sum((cents or 0) * quantity for cents, quantity in prices)


def purchase_list(*, today: date, closed: bool = False) -> list[PurchaseRow]:
    """Open orders, the first due first; or the closed ones, the newest first. One query."""
    rows = _counted(Purchase.objects.filter(is_open=not closed))
    order = ("-ordered_on", "number") if closed else (F("due_on").asc(nulls_last=True), "number")
    return [_row(row, today) for row in rows.order_by(*order)[:MOST]]


@dataclass(frozen=True)
class OrdersToday:
    """Orders past their day, and received pieces that nobody measured to print yet: how many,
    and the first few."""

    late: int
    late_rows: tuple[PurchaseRow, ...]
    waiting: int
    waiting_rows: tuple[ReceiptView, ...]


def orders_today(today: date) -> OrdersToday:
    """What of the orders waits for somebody. Two queries, one more for each list that is long."""
    late = Purchase.objects.filter(is_open=True, due_on__lt=today)
    few = [_row(row, today) for row in _counted(late).order_by("due_on", "number")[:FEW]]
    waiting = standing().filter(piece__isnull=False, inspections=None)
    first = [_receipt(row, {}) for row in _with_subjects(waiting).order_by("at", "pk")[:FEW]]
    return OrdersToday(
        late=len(few) if len(few) < FEW else late.count(),
        late_rows=tuple(few),
        waiting=len(first) if len(first) < FEW else waiting.count(),
        waiting_rows=tuple(first),
    )


def _counted(rows: QuerySet[Purchase]) -> QuerySet[Purchase]:
    lines = PurchaseLine.objects.filter(purchase=OuterRef("pk")).order_by().values("purchase")
    came = standing().filter(line__purchase=OuterRef("pk")).order_by().values("line__purchase")
    return rows.select_related("owner").annotate(
        ordered=Coalesce(Subquery(lines.annotate(n=Sum("quantity")).values("n")), 0),
        received=Coalesce(Subquery(came.annotate(n=Sum("quantity")).values("n")), 0),
        to_inspect=Coalesce(
            Subquery(
                came.filter(piece__isnull=False, inspections=None)
                .annotate(n=Count("pk"))
                .values("n")
            ),
            0,
        ),
    )


def _row(row: Any, today: date) -> PurchaseRow:
    return PurchaseRow(
        number=row.number,
        vendor=row.vendor,
        owner=row.owner.name,
        ordered_on=row.ordered_on,
        due_on=row.due_on,
        is_open=row.is_open,
        ordered=row.ordered,
        received=row.received,
        to_inspect=row.to_inspect,
        days_late=_late(row, today),
    )


def _late(row: Purchase, today: date) -> int:
    """Days past the due date; 0 when it is not, or is closed."""
    if row.due_on is None or not row.is_open:
        return 0
    return max(0, (today - row.due_on).days)


def find_purchase(number: str) -> Purchase:
    """By number, capitals or not. Raises Unknown ``unknown_order``."""
    found = Purchase.objects.select_related("owner").filter(number__iexact=_clean(number)).first()
    if found is None:
        raise Unknown(
            "unknown_order",
            _("There is no order {number}. Choose one from the list of orders."),
            number=number[:60],
        )
    return found


def find_line(purchase: Purchase, line: int) -> PurchaseLine:
    """A line of an order. Raises Unknown ``unknown_line``."""
    rows = PurchaseLine.objects.select_related(
        "purchase__owner", "revision__drawing", "set_copy__tool_set"
    )
    found = rows.filter(purchase=purchase, line=line).first()
    if found is None:
        raise Unknown(
            "unknown_line",
            _("Order {number} has no line {line}."),
            number=purchase.number,
            line=line,
        )
    return found


def find_receipt(key: int) -> Receipt:
    """By its id. Raises Unknown ``unknown_receipt``."""
    rows = Receipt.objects.select_related(
        "line__purchase", "line__revision__drawing", "piece", "certificate"
    )
    found = rows.filter(pk=key, is_taken_back=False).first()
    if found is None:
        raise Unknown("unknown_receipt", _("There is no receipt {key}."), key=key)
    return found


def purchase_page(number: str, *, today: date) -> PurchasePage:
    """One order with its lines and what came against each. Five queries.

    Raises Unknown ``unknown_order``.
    """
    row = find_purchase(number)
    lines = PurchaseLine.objects.filter(purchase=row).select_related(
        "revision__drawing", "set_copy__tool_set"
    )
    came = list(
        _with_subjects(Receipt.objects.filter(line__purchase=row, is_taken_back=False)).order_by(
            "-at", "-pk"
        )
    )
    verdicts = _verdicts(Inspection.objects.filter(receipt__line__purchase=row))
    by: dict[int, list[ReceiptView]] = {}
    for receipt in came:
        by.setdefault(receipt.line_id, []).append(_receipt(receipt, verdicts))
    return PurchasePage(
        number=row.number,
        vendor=row.vendor,
        owner=row.owner.name,
        owner_code=row.owner.code,
        ordered_on=row.ordered_on,
        due_on=row.due_on,
        is_open=row.is_open,
        note=row.note,
        days_late=_late(row, today),
        currency=currency(),
        lines=tuple(_line(line, by.get(line.pk, [])) for line in lines.order_by("line")),
    )


def _line(row: PurchaseLine, receipts: Iterable[ReceiptView]) -> LineView:
    came = tuple(receipts)
    copy = row.set_copy
    return LineView(
        line=row.line,
        drawing=row.revision.drawing.number,
        title=row.revision.drawing.title,
        kind=row.revision.drawing.kind,
        revision=row.revision.revision,
        revision_is_current=row.revision.is_current,
        quantity=row.quantity,
        received=sum(each.quantity for each in came if not each.is_taken_back),
        is_counted=row.is_counted,
        set_copy=f"{copy.tool_set.number}-{copy.letter}" if copy else "",
        set_number=copy.tool_set.number if copy else "",
        copy_letter=copy.letter if copy else "",
        mark=row.mark,
        price_cents=row.price_cents,
        receipts=came,
    )


def _with_subjects(rows: QuerySet[Receipt]) -> QuerySet[Receipt]:
    return rows.select_related("piece__place", "stock_line__place", "by", "corrected_by")


def _receipt(row: Receipt, verdicts: Mapping[int, InspectionView]) -> ReceiptView:
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


def _verdicts(rows: QuerySet[Inspection]) -> dict[int, InspectionView]:
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
    rows = _with_subjects(Receipt.objects.filter(pk=key, is_taken_back=False))
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
        view=_receipt(row, {row.pk: history[0]} if history else {}),
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
    verdicts = _verdicts(Inspection.objects.filter(receipt=row))
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


def _clean(text: str) -> str:
    return text.replace("\x00", "").strip()
