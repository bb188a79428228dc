"""What happened to a stock line, newest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _

from tooling.models import Movement, What

MOST = 60


@dataclass(frozen=True)
class StockNews:
    """One row: ``change`` is what it did to this line's count."""

    at: datetime
    said: str
    change: int
    by: str
    note: str
    is_corrected: bool


def stock_news(code: str) -> list[StockNews]:
    """The last rows of a bin. One query."""
    rows = Movement.objects.filter(Q(stock__code=code) | Q(stock_to__code=code))
    rows = rows.select_related("by", "to", "from_seen", "corrected_by", "stock")
    return [_news(row, code) for row in rows.order_by("-effective_at", "-id")[:MOST]]


def _news(row: Movement, code: str) -> StockNews:
    is_source = row.stock is not None and row.stock.code == code
    comes = row.what in (What.RECEIVE, What.MAKE, What.COUNT) or not is_source
    said = row.get_what_display()
    if row.what == What.MOVE:
        place = row.to if is_source else row.from_seen
        words = _("moved to {place}") if is_source else _("moved here from {place}")
        said = words.format(place=place.path_name if place else "")
    return StockNews(
        at=row.effective_at,
        said=said,
        change=row.quantity if comes else -row.quantity,
        by=str(row.by) if row.by else "",
        note=row.note,
        is_corrected=hasattr(row, "corrected_by"),
    )
