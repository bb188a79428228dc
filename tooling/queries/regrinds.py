"""The Regrinds place: plans, and what of the orders waits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q

from tooling.models import PlanState, RegrindPlan
from tooling.queries.regrind_orders import OrderLists, order_lists

MOST = 200
WORKED = ("cut", "face")


@dataclass(frozen=True)
class PlanRow:
    """One plan in a list. ``copies``: of which sets; ``worked``: pieces cut or faced."""

    number: str
    name: str
    state: str
    state_word: str
    copies: tuple[str, ...]
    made_at: datetime
    made_by: str
    is_proven: bool
    worked: int
    replaced: int


@dataclass(frozen=True)
class RegrindsPage:
    """What is planned and what is ordered."""

    plans: tuple[PlanRow, ...]
    orders: OrderLists

    @property
    def is_empty(self) -> bool:
        return not self.plans and not self.orders.count


def regrinds_page(*, today: date) -> RegrindsPage:
    """The newest plans that were not dropped, and every open order. Five queries."""
    return RegrindsPage(plan_rows(), order_lists(today=today))


def plan_rows(*, dropped: bool = False) -> tuple[PlanRow, ...]:
    """Plans, the newest first. Four queries."""
    rows = RegrindPlan.objects.filter(state=PlanState.DROPPED)
    if not dropped:
        rows = RegrindPlan.objects.exclude(state=PlanState.DROPPED)
    counted = rows.annotate(
        worked=Count("lines", filter=Q(lines__decision__in=WORKED)),
        replaced=Count("lines", filter=Q(lines__decision="replace")),
    )
    found = counted.select_related("made_by").prefetch_related("copies__copy__tool_set")
    return tuple(_row(row) for row in found.order_by("-made_at", "-pk")[:MOST])


def _row(row: RegrindPlan) -> PlanRow:
    copies = sorted(f"{c.copy.tool_set.number}-{c.copy.letter}" for c in row.copies.all())
    return PlanRow(
        number=row.number,
        name=row.name,
        state=row.state,
        state_word=row.get_state_display(),
        copies=tuple(copies),
        made_at=row.made_at,
        made_by=str(row.made_by or ""),
        is_proven=row.is_proven,
        worked=row.worked,  # type: ignore[attr-defined]
        replaced=row.replaced,  # type: ignore[attr-defined]
    )
