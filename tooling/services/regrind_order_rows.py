"""What every service of orders for work does: hold the order, write what happened, give numbers.

The rows of an order are current; what happened to it is kept as events, which never change.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import (
    Counter,
    Job,
    OrderEvent,
    OrderState,
    Person,
    Piece,
    RegrindOrder,
    RegrindOrderLine,
)
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock

SERIAL = "g"
ENDED = (OrderState.RELEASED, OrderState.CANCELLED)


def next_number() -> str:
    """Such as G-0012. Whoever asks for work at the same moment waits here."""
    Counter.objects.get_or_create(kind=SERIAL)
    serial = Counter.objects.select_for_update().get(kind=SERIAL)
    number = serial.next_serial
    serial.next_serial = number + 1
    serial.save(update_fields=["next_serial"])
    return f"G-{number:04d}"


def hold_order(order: RegrindOrder) -> RegrindOrder:
    """The order as it is now, nobody else changes it; its pieces are held too."""
    rows = RegrindOrder.objects.select_for_update(of=("self",)).select_related("vendor")
    fresh = rows.get(pk=order.pk)
    lock(pieces=fresh.lines.values_list("piece_id", flat=True))
    return fresh


def lines_of(order: RegrindOrder, **narrow: Any) -> list[RegrindOrderLine]:
    """Its lines with their pieces, in the order asked for."""
    rows = order.lines.filter(**narrow).select_related(
        "piece__drawing", "piece__revision", "piece__owner", "piece__place"
    )
    return list(rows.order_by("pk"))


def write_event(
    *,
    by: Person,
    at: datetime,
    order: RegrindOrder,
    what: str,
    piece: Piece | None = None,
    job: Job | None = None,
    reason: str = "",
    said: Mapping[str, Any] | None = None,
) -> OrderEvent:
    """What happened, for good. Call inside the write of the cause."""
    return OrderEvent.objects.create(
        order=order, what=what, piece=piece, job=job, at=at, by=by,
        reason=" ".join(reason.split())[:400], said=dict(said or {}),
    )  # fmt: skip


def save_order(order: RegrindOrder, **fields: Any) -> None:
    """Set fields of an order; open screens of it are told."""
    RegrindOrder.objects.filter(pk=order.pk).update(version=F("version") + 1, **fields)
    for name, value in fields.items():
        setattr(order, name, value)
    order.version += 1


def settle_order(order: RegrindOrder, at: datetime) -> None:
    """Say how far the order is, by the pieces that are still on it: out while any is out; else to
    be released while any is back, though others were never sent; else asked for. A day on which
    pieces were due that all came goes with them once it is past. Call when lines changed."""
    states = {line.state for line in lines_of(order, is_open=True)}
    fields: dict[str, Any] = {}
    now = next((each for each in (OrderState.OUT, OrderState.BACK) if each in states),
               OrderState.REQUESTED)  # fmt: skip
    if states:
        fields["state"] = now
        if states == {OrderState.BACK}:
            fields["back_at"] = order.back_at or at
        elif order.back_at is not None:
            fields["back_at"] = None
        is_past = order.due_on is not None and order.due_on < timezone.localdate(at)
        if now == OrderState.REQUESTED and order.sent_at is not None and is_past:
            fields["due_on"] = None
    save_order(order, **fields)


def touch(pieces: Iterable[Piece]) -> None:
    """Kits that want these pieces show it."""
    known = list(pieces)
    touch_kits_of(
        pieces=[piece.pk for piece in known], drawings={piece.drawing_id for piece in known}
    )


def check_not_ended(order: RegrindOrder) -> None:
    """Raise Conflict ``order_ended``."""
    if order.state in ENDED:
        raise Conflict(
            "order_ended",
            _("Order {number} is {state}. Make a new one."),
            number=order.number,
            state=order.get_state_display(),
        )


def check_requested(order: RegrindOrder) -> None:
    """Raise Conflict ``order_sent`` once a piece was sent, ``order_ended`` once it is over."""
    check_not_ended(order)
    if order.sent_at is not None:
        raise Conflict(
            "order_sent",
            _("Pieces of order {number} were sent out already. Ask for more work on an order of "
              "its own."),
            number=order.number,
        )  # fmt: skip
