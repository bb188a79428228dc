"""The Regrinds place: plans, and what of the orders waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q

from tooling.models import PlanState, RegrindPlan
from tooling.queries.regrind_asks import asks_from
from tooling.queries.regrind_facts import read_facts
from tooling.queries.regrind_orders import OrderLists, order_lists
from tooling.queries.regrind_problem import problem_of

MOST = 200
MOST_JUDGED = 12
"""So many solved plans, the newest, are held against what is known now."""
WORKED = ("cut", "face")


@dataclass(frozen=True)
class PlanRow:
    """One plan in a list. ``copies``: of which sets; ``worked``: pieces cut or faced;
    ``is_stale``: what it rests on moved since it was worked out."""

    number: str
    name: str
    state: str
    state_word: str
    copies: tuple[str, ...]
    made_at: datetime
    made_by: str
    is_proven: bool
    is_stale: bool
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


def regrinds_page(*, at: datetime, today: date) -> RegrindsPage:
    """The newest plans that were not put aside, and every open order. Twenty queries at most."""
    return RegrindsPage(plan_rows(at=at), order_lists(today=today))


def plan_rows(*, at: datetime) -> tuple[PlanRow, ...]:
    """Plans that were not put aside, the newest first. Nineteen queries at most."""
    rows = RegrindPlan.objects.exclude(state=PlanState.DROPPED)
    counted = rows.annotate(
        worked=Count("lines", filter=Q(lines__decision__in=WORKED)),
        replaced=Count("lines", filter=Q(lines__decision="replace")),
    )
    found = counted.select_related("made_by").prefetch_related("copies__copy__tool_set")
    listed = list(found.order_by("-made_at", "-pk")[:MOST])
    stale = _stale(listed, at)
    return tuple(_row(row, row.pk in stale) for row in listed)


def _stale(rows: Sequence[RegrindPlan], at: datetime) -> set[int]:
    """Those of the newest solved plans whose problem is another today."""
    solved = [row for row in rows if row.state == PlanState.SOLVED and row.problem_key]
    copies = {row.pk: [each.copy_id for each in sorted(row.copies.all(), key=lambda c: c.pk)]
              for row in solved[:MOST_JUDGED]}  # fmt: skip
    if not copies:
        return set()
    facts = read_facts({pk for ids in copies.values() for pk in ids}, at=at)
    return {
        row.pk for row in solved[:MOST_JUDGED]
        if problem_of(facts, copies[row.pk], asks_from(row.asks)).key != row.problem_key
    }  # fmt: skip


def _row(row: RegrindPlan, is_stale: bool) -> PlanRow:
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
        is_stale=is_stale,
        worked=row.worked,  # type: ignore[attr-defined]
        replaced=row.replaced,  # type: ignore[attr-defined]
    )
