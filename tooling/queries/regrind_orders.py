"""Orders for work on pieces in lists: what is asked for, out, back and waiting for its release."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import (
    OrderState,
    Piece,
    Place,
    PlaceKind,
    RegrindOrder,
    RegrindOrderLine,
)

FEW = 5
MOST = 200
SHAPE = re.compile(r"G-[0-9]{4,9}")
OPEN = (OrderState.REQUESTED, OrderState.OUT, OrderState.BACK)


@dataclass(frozen=True)
class OrderRow:
    """One order in a list. ``vendor`` is empty for work in the shop. ``days_late``: it is out and
    due back so many days ago; ``days_unsent``: it waits to be sent, and its day is past so long."""

    number: str
    state: str
    state_word: str
    vendor: str
    requested_at: datetime
    due_on: date | None
    pieces: int
    back: int
    days_late: int
    days_unsent: int
    note: str


@dataclass(frozen=True)
class OrderLists:
    """Open orders by what is to be done with them next."""

    to_release: tuple[OrderRow, ...]
    out: tuple[OrderRow, ...]
    to_send: tuple[OrderRow, ...]

    @property
    def count(self) -> int:
        return len(self.to_release) + len(self.out) + len(self.to_send)


@dataclass(frozen=True)
class RegrindsToday:
    """Orders that are overdue or partly back, that wait for their release, and to be sent."""

    late: tuple[OrderRow, ...]
    to_release: tuple[OrderRow, ...]
    to_send: tuple[OrderRow, ...]

    @property
    def count(self) -> int:
        return len(self.late) + len(self.to_release) + len(self.to_send)


@dataclass(frozen=True)
class VendorChoice:
    """A grinder to whom pieces can be sent."""

    code: str
    name: str


def order_lists(*, today: date) -> OrderLists:
    """Every open order, the first due first. One query."""
    rows = [_row(row, today) for row in _open()[:MOST]]
    return OrderLists(
        to_release=tuple(row for row in rows if row.state == OrderState.BACK),
        out=tuple(row for row in rows if row.state == OrderState.OUT),
        to_send=tuple(row for row in rows if row.state == OrderState.REQUESTED),
    )


def ended_orders(*, today: date) -> tuple[OrderRow, ...]:
    """Released and dropped ones, the newest first. One query."""
    rows = _counted(RegrindOrder.objects.exclude(state__in=OPEN)).order_by("-ended_at", "-pk")
    return tuple(_row(row, today) for row in rows[:MOST])


def regrinds_today(*, today: date) -> RegrindsToday:
    """What of the orders waits for somebody. One query."""
    found = order_lists(today=today)
    late = [row for row in found.out if row.days_late or row.back]
    return RegrindsToday(tuple(late[:FEW]), found.to_release[:FEW], found.to_send[:FEW])


def find_order(number: str) -> RegrindOrder:
    """By number, capitals or not. Raises Unknown ``unknown_order``."""
    rows = RegrindOrder.objects.select_related("vendor", "plan", "requested_by")
    found = rows.filter(number__iexact=number.strip()[:20]).first()
    if found is None:
        raise Unknown(
            "unknown_order",
            _("There is no order {number}. Choose one from the list of orders."),
            number=number[:60],
        )
    return found


def order_called(text: str) -> str:
    """The number of the order whose packing list was scanned, unless a piece bears that text; else
    nothing. No query for what has not the shape of an order's number, two for what has."""
    number = text.strip().upper()
    if not SHAPE.fullmatch(number):
        return ""
    is_mark = Piece.objects.filter(Q(mark_key=number) | Q(aliases__text_key=number)).exists()
    found = RegrindOrder.objects.filter(number=number).exists()
    return number if found and not is_mark else ""


def find_order_line(order: RegrindOrder, code: str) -> RegrindOrderLine:
    """The line of a piece. Raises Unknown ``unknown_line``."""
    rows = RegrindOrderLine.objects.select_related(
        "order", "piece__drawing", "piece__revision", "piece__owner", "piece__place"
    )
    found = rows.filter(order=order, piece__code=code.strip().upper()).first()
    if found is None:
        raise Unknown(
            "unknown_line",
            _("{code} is not on order {number}."),
            code=code[:40],
            number=order.number,
        )
    return found


def vendors() -> tuple[VendorChoice, ...]:
    """Grinders in use, by name. One query."""
    rows = Place.objects.filter(kind=PlaceKind.GRINDER, is_active=True).order_by("name")
    return tuple(VendorChoice(code, name) for code, name in rows.values_list("code", "name"))


def _open() -> QuerySet[RegrindOrder]:
    rows = RegrindOrder.objects.filter(state__in=OPEN)
    return _counted(rows).order_by("due_on", "requested_at", "pk")


def _counted(rows: QuerySet[RegrindOrder]) -> QuerySet[RegrindOrder]:
    return rows.select_related("vendor").annotate(
        pieces=Count("lines"),
        came=Count("lines", filter=Q(lines__back_at__isnull=False)),
    )


def _row(row: RegrindOrder, today: date) -> OrderRow:
    return OrderRow(
        number=row.number,
        state=row.state,
        state_word=row.get_state_display(),
        vendor=row.vendor.name if row.vendor else "",
        requested_at=row.requested_at,
        due_on=row.due_on,
        pieces=row.pieces,  # type: ignore[attr-defined]
        back=row.came,  # type: ignore[attr-defined]
        days_late=days_late(row, today),
        days_unsent=days_unsent(row, today),
        note=row.note,
    )


def days_late(row: RegrindOrder, today: date) -> int:
    """Days past the day on which it was due back, while it is out; else 0."""
    return _days_past(row, today) if row.state == OrderState.OUT else 0


def days_unsent(row: RegrindOrder, today: date) -> int:
    """Days past the day on which it was wanted back, while nothing of it was sent; else 0."""
    return _days_past(row, today) if row.state == OrderState.REQUESTED else 0


def _days_past(row: RegrindOrder, today: date) -> int:
    return 0 if row.due_on is None else max(0, (today - row.due_on).days)
