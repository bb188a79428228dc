"""Ordering pooled stock from the list of what lacks: a line of an order, by count."""

from __future__ import annotations

from datetime import date, datetime

from tooling.models import Drawing, Owner, Person, Purchase
from tooling.permissions import Verb, check_can
from tooling.queries.by_code import revision_of
from tooling.services import purchases
from tooling.services.purchases import LineIn
from tooling.services.write import writing


def order_counted(
    *,
    by: Person,
    at: datetime,
    drawing: Drawing,
    quantity: int,
    number: str,
    vendor: str,
    ordered_on: date,
    due_on: date | None = None,
) -> Purchase:
    """So many of a drawing, by count, for the shop: a new order, or a further line of an open one
    with this number.

    Raises NotAllowed, Unknown ``unknown_revision``, and as ``purchases.create_purchase``.
    """
    check_can(by, Verb.ORDER_TOOLING)
    line = LineIn(revision=revision_of(drawing, ""), quantity=quantity, is_counted=True)
    with writing():
        there = Purchase.objects.filter(number__iexact=number.strip(), is_open=True).first()
        if there is not None:
            purchases.add_line(by=by, at=at, purchase=there, line=line)
            return there
        return purchases.create_purchase(
            by=by,
            at=at,
            number=number,
            vendor=vendor,
            owner=Owner.objects.get(is_shop=True),
            ordered_on=ordered_on,
            due_on=due_on,
            lines=[line],
        )
