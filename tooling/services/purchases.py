"""Orders for new tooling: so many of a drawing's revision on each line, from one vendor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.money import parse_money, plain_money
from tooling.errors import Conflict, ToolingError
from tooling.models import (
    DrawingRevision,
    Owner,
    Person,
    Purchase,
    PurchaseLine,
    SetCopy,
    SetPosition,
)
from tooling.permissions import Verb, check_can
from tooling.queries.received import received_of
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    record_removal,
    require_fields,
    require_text,
)
from tooling.services.write import writing

MOST_LINES = 500
MOST_PIECES = 500
MOST_COUNTED = 1_000_000
KEPT = ("revision", "is_counted")
"""What of a line stays once something came in against it."""


@dataclass(frozen=True)
class LineIn:
    """One line as it is ordered. ``price_cents``: of one piece."""

    revision: DrawingRevision
    quantity: int
    is_counted: bool = False
    set_copy: SetCopy | None = None
    mark: str = ""
    price_cents: int | None = None
    reason: str = ""


def create_purchase(
    *,
    by: Person,
    at: datetime,
    number: str,
    vendor: str,
    owner: Owner,
    ordered_on: date,
    due_on: date | None = None,
    note: str = "",
    lines: Sequence[LineIn] = (),
) -> Purchase:
    """An order with its lines. Raises ``already_there``, ``in_the_future``,
    ``due_before_ordered``, and as `add_line`."""
    check_can(by, Verb.ORDER_TOOLING)
    number = require_text(number, field="number", label=_("Order number"), longest=30)
    fields: dict[str, Any] = {
        "vendor": require_text(vendor, field="vendor", label=_("Vendor"), longest=120),
        "owner": owner,
        "ordered_on": ordered_on,
        "due_on": due_on,
        "note": " ".join(note.split())[:400],
    }
    _check_days(ordered_on, due_on, at)
    with writing():
        if Purchase.objects.filter(number__iexact=number).exists():
            raise already_there(label=_("Order"), text=number, field="number")
        purchase = Purchase.objects.create(number=number, **fields)
        record_creation(by=by, at=at, row=purchase, key=number, fields=fields)
        for line in lines:
            add_line(by=by, at=at, purchase=purchase, line=line)
    return purchase


def edit_purchase(*, by: Person, at: datetime, purchase: Purchase, **fields: Any) -> Purchase:
    """Change vendor, days, note; the owner while nothing came in. Raises ``owner_stays`` and as
    `create_purchase`."""
    check_can(by, Verb.ORDER_TOOLING)
    require_fields(Purchase, fields)
    if "vendor" in fields:
        fields["vendor"] = require_text(
            fields["vendor"], field="vendor", label=_("Vendor"), longest=120
        )
    with writing():
        fresh = _locked(purchase)
        _check_days(
            fields.get("ordered_on", fresh.ordered_on), fields.get("due_on", fresh.due_on), at
        )
        if fields.get("owner", fresh.owner) != fresh.owner and _any_received(fresh):
            raise Conflict(
                "owner_stays",
                _("Pieces came in for {owner} against this order. Change the owner on each piece's "
                  "own page."),
                owner=fresh.owner.name,
                in_field="owner",
            )  # fmt: skip
        apply_edit(by=by, at=at, row=fresh, key=fresh.number, fields=fields)
    return fresh


def add_line(*, by: Person, at: datetime, purchase: Purchase, line: LineIn) -> PurchaseLine:
    """A further line. Raises ``absurd_quantity``, ``old_revision`` (a question), ``other_set``,
    ``counted_has_no_copy``, ``order_closed``, ``absurd_count``."""
    check_can(by, Verb.ORDER_TOOLING)
    _check_line(line)
    with writing():
        fresh = _locked(purchase)
        check_order_open(fresh)
        last = fresh.lines.order_by("-line").first()
        number = last.line + 1 if last else 1
        if number > MOST_LINES:
            raise ToolingError(
                "absurd_count", _("An order has {most} lines at most."), most=MOST_LINES
            )
        row = PurchaseLine.objects.create(purchase=fresh, line=number, **_fields(line))
        values = {**_fields(line), "drawing": line.revision.drawing, "reason": line.reason.strip()}
        record_creation(by=by, at=at, row=row, key=line_key(row), fields=values)
    return row


def edit_line(*, by: Person, at: datetime, row: PurchaseLine, line: LineIn) -> PurchaseLine:
    """Put a line right. What came in against it stays: then its revision does, too. Raises
    ``line_received``, ``below_received`` and as `add_line`."""
    check_can(by, Verb.ORDER_TOOLING)
    _check_line(line)
    with writing():
        check_order_open(_locked(row.purchase))
        fresh = PurchaseLine.objects.select_related("revision", "purchase").get(pk=row.pk)
        came = received_of([fresh.pk]).get(fresh.pk, 0)
        fields = _fields(line)
        if came and any(getattr(fresh, name) != fields[name] for name in KEPT):
            raise Conflict(
                "line_received",
                _("{came} came in against this line already. Order the other on a line of its "
                  "own."),
                came=came,
                in_field="revision",
            )  # fmt: skip
        if line.quantity < came:
            raise ToolingError(
                "below_received",
                _("{came} came in already; the line cannot be of {quantity}."),
                came=came,
                quantity=line.quantity,
                in_field="quantity",
            )
        apply_edit(
            by=by, at=at, row=fresh, key=line_key(fresh), fields=fields, reason=line.reason.strip()
        )
    return fresh


def remove_line(*, by: Person, at: datetime, row: PurchaseLine) -> None:
    """A line that was ordered by mistake. Raises ``line_received`` once anything was ever received
    against it."""
    check_can(by, Verb.ORDER_TOOLING)
    with writing():
        check_order_open(_locked(row.purchase))
        if row.receipts.exists():
            raise Conflict(
                "line_received",
                _("{came} came in against this line already. Order the other on a line of its "
                  "own."),
                came=received_of([row.pk]).get(row.pk, 0),
            )  # fmt: skip
        values = {
            "drawing": row.revision.drawing,
            "revision": row.revision,
            "quantity": row.quantity,
        }
        record_removal(by=by, at=at, row=row, key=line_key(row), fields=values)
        row.delete()


def close(*, by: Person, at: datetime, purchase: Purchase, reason: str = "") -> Purchase:
    """Nothing more is to come. Short of what was ordered, say why. Raises ``order_closed``,
    ``order_short`` (asks for a reason)."""
    check_can(by, Verb.ORDER_TOOLING)
    with writing():
        fresh = _locked(purchase)
        check_order_open(fresh)
        lacking = lacking_of(fresh)
        if lacking and not reason.strip():
            raise ToolingError(
                "order_short",
                _("{count} of this order did not come. To close it short, say why."),
                count=lacking,
                in_field="reason",
                asks="reason",
            )
        close_now(by=by, at=at, purchase=fresh, reason=" ".join(reason.split())[:400])
    return fresh


def reopen(*, by: Person, at: datetime, purchase: Purchase) -> Purchase:
    """Something more is to come after all."""
    check_can(by, Verb.ORDER_TOOLING)
    with writing():
        fresh = _locked(purchase)
        apply_edit(
            by=by, at=at, row=fresh, key=fresh.number, fields={"is_open": True}, what="reopened"
        )
    return fresh


def close_now(*, by: Person, at: datetime, purchase: Purchase, reason: str = "") -> None:
    """Call inside a write that holds the order."""
    fields = {"is_open": False}
    apply_edit(
        by=by, at=at, row=purchase, key=purchase.number, fields=fields, what="closed", reason=reason
    )


def lacking_of(purchase: Purchase) -> int:
    """How many are still to come."""
    lines = dict(purchase.lines.values_list("pk", "quantity"))
    came = received_of(lines)
    return sum(max(0, quantity - came.get(pk, 0)) for pk, quantity in lines.items())


def check_order_open(purchase: Purchase) -> None:
    """Raise ``order_closed`` for an order against which nothing more comes."""
    if not purchase.is_open:
        raise Conflict(
            "order_closed",
            _("Order {number} is closed. Open it again first."),
            number=purchase.number,
        )


def line_key(row: PurchaseLine) -> str:
    """A line's name in the history."""
    return f"{row.purchase.number} line {row.line}"


def _locked(purchase: Purchase) -> Purchase:
    return (
        Purchase.objects.select_for_update(of=("self",)).select_related("owner").get(pk=purchase.pk)
    )


def _any_received(purchase: Purchase) -> bool:
    return any(received_of(purchase.lines.values_list("pk", flat=True)).values())


def _fields(line: LineIn) -> dict[str, Any]:
    return {
        "revision": line.revision,
        "quantity": line.quantity,
        "is_counted": line.is_counted,
        "set_copy": line.set_copy,
        "mark": " ".join(line.mark.split())[:40],
        "price_cents": line.price_cents,
    }


def _check_days(ordered_on: date, due_on: date | None, at: datetime) -> None:
    if ordered_on > timezone.localtime(at).date():
        raise ToolingError(
            "in_the_future",
            _("{day} is still to come. Write the day on which it was ordered."),
            day=ordered_on,
            in_field="ordered_on",
        )
    if due_on is not None and due_on < ordered_on:
        raise ToolingError(
            "due_before_ordered",
            _("It cannot be due on {due}, before it was ordered on {ordered}."),
            due=due_on,
            ordered=ordered_on,
            in_field="due_on",
        )


def _check_line(line: LineIn) -> None:
    most = MOST_COUNTED if line.is_counted else MOST_PIECES
    if not 1 <= line.quantity <= most:
        raise ToolingError(
            "absurd_quantity",
            _("{quantity} cannot be ordered on one line. Write a whole number from 1 to {most}."),
            quantity=line.quantity,
            most=most,
            in_field="quantity",
        )
    if not line.revision.is_current and not line.reason.strip():
        raise ToolingError(
            "old_revision",
            _("Revision {revision} of {drawing} is no longer current. Order the current one, or "
              "say why and save again."),
            revision=line.revision.revision,
            drawing=line.revision.drawing.number,
            in_field="revision",
            asks="reason",
        )  # fmt: skip
    if line.set_copy is not None:
        _check_copy(line, line.set_copy)


def _check_copy(line: LineIn, copy: SetCopy) -> None:
    if line.is_counted:
        raise ToolingError(
            "counted_has_no_copy",
            _("What comes into a bin by count belongs to no copy of a set. Leave one of the two "
              "out."),
            in_field="set_copy",
        )  # fmt: skip
    calls = SetPosition.objects.filter(
        set_pass__tool_set=copy.tool_set_id, drawing=line.revision.drawing_id
    )
    if not calls.exists():
        raise Conflict(
            "other_set",
            _("No position of set {set} calls for {drawing}."),
            set=copy.tool_set.number,
            drawing=line.revision.drawing.number,
            in_field="set_copy",
        )


def read_price(text: str) -> int | None:
    """Hundredths of the shop's currency; None for nothing written. Raises ``not_money``,
    ``ambiguous_money``."""
    if not text.strip():
        return None
    try:
        return parse_money(text)
    except ToolingError as error:
        error.values["in_field"] = "price"
        raise


def write_price(cents: int | None) -> str:
    """A price as a field shows it, to be read back by ``read_price``."""
    return "" if cents is None else plain_money(cents)
