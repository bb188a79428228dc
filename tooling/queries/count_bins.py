"""What the record said of a bin at the moment when it was counted."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from tooling.models import Count, Movement, What

COMES_IN = (What.RECEIVE, What.MAKE, What.COUNT)


@dataclass(frozen=True, slots=True)
class Effect:
    """What one movement did to a bin's count; a count elsewhere says all that is there."""

    stock_id: int
    at: datetime
    change: int
    is_count: bool


def effects_since(count: Count, stock: Collection[int]) -> list[Effect]:
    """What stands of the movements of these bins since the count was opened. One query; none
    where there are no bins."""
    if not stock:
        return []
    about = Q(stock__in=stock) | Q(stock_to__in=stock)
    rows = Movement.objects.filter(about, corrected_by=None, effective_at__gt=count.opened_at)
    effects = []
    for line, to_line, what, quantity, at, corrects in rows.values_list(
        "stock_id", "stock_to_id", "what", "quantity", "effective_at", "corrects_id"
    ):
        is_count = what == What.COUNT and corrects is None
        change = quantity if what in COMES_IN else -quantity
        effects.append(Effect(line, at, change, is_count))
        if to_line is not None:
            effects.append(Effect(to_line, at, quantity, False))
    return effects


def counted_between(effects: Sequence[Effect], stock_id: int, at: datetime) -> tuple[int, bool]:
    """How much the record changed after that moment, and whether it was counted anew."""
    later = [each for each in effects if each.stock_id == stock_id and each.at > at]
    return sum(each.change for each in later), any(each.is_count for each in later)
