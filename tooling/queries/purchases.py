"""Orders for new tooling as pages and programs see them: what is to come, what came, what it
measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, F, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Inspection, Purchase, PurchaseLine, Receipt
from tooling.queries.owner_values import currency
from tooling.queries.receipts import ReceiptView, receipt_view, verdicts_of, with_subjects
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
    first = [receipt_view(row, {}) for row in with_subjects(waiting).order_by("at", "pk")[:FEW]]
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


def purchase_page(number: str, *, today: date) -> PurchasePage:
    """One order with its lines and what came against each. Five queries.

    Raises Unknown ``unknown_order``.
    """
    row = find_purchase(number)
    lines = PurchaseLine.objects.filter(purchase=row).select_related(
        "revision__drawing", "set_copy__tool_set"
    )
    came = list(
        with_subjects(Receipt.objects.filter(line__purchase=row, is_taken_back=False)).order_by(
            "-at", "-pk"
        )
    )
    verdicts = verdicts_of(Inspection.objects.filter(receipt__line__purchase=row))
    by: dict[int, list[ReceiptView]] = {}
    for receipt in came:
        by.setdefault(receipt.line_id, []).append(receipt_view(receipt, verdicts))
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


def _clean(text: str) -> str:
    return text.replace("\x00", "").strip()
