"""How long vendors have pieces: learned from the shop's own orders, sent to back."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from statistics import median

from tooling.models import RegrindOrderLine

DAY = 86_400.0


@dataclass(frozen=True)
class LeadTime:
    """Days from out to back, of so many pieces on so many orders. ``vendor``: empty for work in
    the shop."""

    vendor: str
    vendor_name: str
    orders: int
    pieces: int
    median_days: float
    least_days: float
    most_days: float


def lead_times() -> tuple[LeadTime, ...]:
    """One for every vendor from which anything came back, by name. One query.

    An order counts once, with the day on which its last piece came back: a plan waits for all.
    """
    return tuple(sorted(_read().values(), key=lambda each: (each.vendor_name, each.vendor)))


def lead_time_of(vendor_id: int | None) -> LeadTime | None:
    """That of one vendor (None: of the shop itself); None where nothing is known. One query."""
    return _read(vendor_id=vendor_id).get(vendor_id)


def _read(**only: int | None) -> dict[int | None, LeadTime]:
    rows = RegrindOrderLine.objects.filter(sent_at__isnull=False, done_on__isnull=False)
    if "vendor_id" in only:
        vendor = only["vendor_id"]
        rows = rows.filter(order__vendor=vendor)
    days: dict[int | None, dict[int, float]] = defaultdict(dict)
    counts: dict[int | None, int] = defaultdict(int)
    names: dict[int | None, tuple[str, str]] = {}
    for vendor, code, name, order, sent, back in rows.order_by().values_list(
        "order__vendor_id", "order__vendor__code", "order__vendor__name", "order_id", "sent_at",
        "back_at",
    ):  # fmt: skip
        if sent is None or back is None:
            continue
        took = (back - sent).total_seconds() / DAY
        days[vendor][order] = max(took, days[vendor].get(order, 0.0))
        counts[vendor] += 1
        names[vendor] = (code or "", name or "")
    return {
        vendor: LeadTime(
            *names[vendor],
            orders=len(took),
            pieces=counts[vendor],
            median_days=round(median(took.values()), 1),
            least_days=round(min(took.values()), 1),
            most_days=round(max(took.values()), 1),
        )
        for vendor, took in days.items()
    }
