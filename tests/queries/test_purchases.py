"""The reads of orders are a fixed number of queries, with 0, 1 and 250 lines and receipts."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM, World
from tooling.models import Inspection, Piece, Purchase, PurchaseLine, Receipt
from tooling.queries.purchases import orders_today, purchase_list, purchase_page
from tooling.queries.receipts import came_with, receipt_page

COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


class Ordered:
    """One order late by a day, with so many further lines of which one piece came each."""

    def __init__(self, world: World, lines: int) -> None:
        self.today = world.at.date()
        drawing, rack = world.drawing("R-1", bore_nm=60 * MM), world.place("Rack A")
        revision = drawing.revisions.get()
        orders = Purchase.objects.bulk_create(
            Purchase(
                number=f"PO-{n}", vendor="Halden Tool", owner=world.shop,
                ordered_on=self.today - timedelta(days=9), due_on=self.today - timedelta(days=1),
            )
            for n in range(lines + 1)
        )  # fmt: skip
        rows = PurchaseLine.objects.bulk_create(
            PurchaseLine(purchase=orders[0], line=n + 1, revision=revision, quantity=2)
            for n in range(lines + 1)
        )
        pieces = Piece.objects.bulk_create(
            Piece(
                code=f"RX{n:06d}", drawing=drawing, revision=revision, owner=world.shop, place=rack
            )
            for n in range(lines + 1)
        )  # fmt: skip
        when = {"happened_at": world.at, "at": world.at}
        receipts = Receipt.objects.bulk_create(
            Receipt(line=row, piece=piece, **when) for row, piece in zip(rows, pieces, strict=True)
        )
        Inspection.objects.bulk_create(
            Inspection(receipt=receipt, verdict="accepted", at=world.at)
            for receipt in receipts[::2]
        )
        self.receipt, self.piece = receipts[0], pieces[0]


READS: dict[str, Callable[[Ordered], object]] = {
    "order list": lambda shop: purchase_list(today=shop.today),
    "order page": lambda shop: purchase_page("PO-0", today=shop.today),
    "receipt page": lambda shop: receipt_page(shop.receipt.pk),
    "orders today": lambda shop: orders_today(shop.today),
    "came with": lambda shop: came_with(shop.piece.code),
}


@pytest.mark.parametrize("lines", [0, 1, 250])
def test_reads_ask_no_more_when_there_is_more(lines: int, world: World) -> None:
    shop = Ordered(world, lines)
    asked = {}
    for name, read in READS.items():
        with CaptureQueriesContext(connection) as captured:
            read(shop)
        asked[name] = len(captured)
    beyond = {name: n for name, n in asked.items() if n > COUNTS[name]}
    assert beyond == {}
    if lines > 1:
        assert asked == {name: COUNTS[name] for name in READS}


def test_the_first_due_comes_first_and_what_is_missing_is_counted(world: World) -> None:
    shop = Ordered(world, 2)
    Purchase.objects.filter(number="PO-2").update(due_on=None)
    Purchase.objects.filter(number="PO-1").update(due_on=shop.today - timedelta(days=3))
    rows = purchase_list(today=shop.today)
    assert [(row.number, row.days_late) for row in rows] == [("PO-1", 3), ("PO-0", 1), ("PO-2", 0)]
    # three lines of two: six ordered, three came, of which the second was not measured
    first = next(row for row in rows if row.number == "PO-0")
    assert (first.ordered, first.received, first.lacking, first.to_inspect) == (6, 3, 3, 1)
    today = orders_today(shop.today)
    assert (today.late, today.waiting) == (2, 1)
