"""How much came in against the lines of orders, less what was taken back."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet, Sum

from tooling.models import Receipt


def standing() -> QuerySet[Receipt]:
    """Receipts that nobody took back."""
    return Receipt.objects.filter(is_taken_back=False, corrected_by=None)


def received_of(line_ids: Iterable[int]) -> dict[int, int]:
    """Line id → how many came in. One query."""
    rows = standing().filter(line__in=list(line_ids)).order_by().values_list("line_id")
    return {pk: int(total) for pk, total in rows.annotate(total=Sum("quantity"))}
