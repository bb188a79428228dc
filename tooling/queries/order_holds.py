"""Pieces on an open line of an order for work are held: from the request to the release.

They may be reserved for later, but not staged. What a supervisor released for one job is not
held for that job.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import FilteredRelation, Q
from django.utils.translation import gettext as _

from tooling.models import OrderState, RegrindOrderLine, state_of_line


@dataclass(frozen=True)
class OrderHold:
    """The order that holds a piece, how far it is there, and the jobs that it was released for."""

    order: str
    state: str
    jobs: frozenset[int] = frozenset()

    def holds_for(self, job_id: int | None, *, is_staged: bool = False) -> bool:
        """Whether that job may not have the piece. What lies with a kit already goes on until it
        is sent: a running setup keeps its rolls."""
        if is_staged and self.state == OrderState.REQUESTED:
            return False
        return job_id not in self.jobs

    @property
    def said(self) -> str:
        """In a sentence."""
        words = {
            OrderState.REQUESTED: _("Held: it is to be sent out on regrind order {order}."),
            OrderState.OUT: _("Held: it is under work on regrind order {order}."),
        }.get(OrderState(self.state), _("Held: regrind order {order} is not released yet."))
        return words.format(order=self.order)


def held_by_orders(piece_ids: Iterable[int]) -> Mapping[int, OrderHold]:
    """Piece id → the order that holds it. One query, none without pieces."""
    ids = set(piece_ids)
    if not ids:
        return {}
    rows = RegrindOrderLine.objects.filter(piece__in=ids, is_open=True).annotate(
        freed=FilteredRelation("order__events", condition=Q(order__events__what="for_job"))
    )
    found: dict[int, tuple[str, str, set[int]]] = {}
    for piece, order, sent, back, of_piece, job in rows.order_by().values_list(
        "piece_id", "order__number", "sent_at", "back_at", "freed__piece_id", "freed__job_id"
    ):
        state = state_of_line(sent, back)
        jobs = found.setdefault(piece, (order, state, set()))[2]
        if job is not None and of_piece == piece:
            jobs.add(job)
    return {
        pk: OrderHold(order, state, frozenset(jobs)) for pk, (order, state, jobs) in found.items()
    }
