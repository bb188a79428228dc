"""What counts say of when a piece was last before somebody's eyes."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Max, Q, QuerySet

from tooling.models import CountEntry, CountState


def live_entries() -> QuerySet[CountEntry]:
    """Entries that stand: not taken back, and the movement they made, if any, was not undone."""
    rows = CountEntry.objects.filter(is_taken_back=False, corrected_by=None)
    return rows.filter(Q(movement=None) | Q(movement__corrected_by=None))


def last_counted(pieces: Iterable[int]) -> dict[int, datetime]:
    """Piece id → when it was last seen in a count that was not dropped. One query."""
    rows = live_entries().filter(piece__in=list(pieces)).exclude(count__state=CountState.DROPPED)
    newest = rows.order_by().values_list("piece").annotate(at=Max("happened_at"))
    return {piece: at for piece, at in newest if piece is not None}
