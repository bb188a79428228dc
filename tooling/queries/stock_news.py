"""What happened to a stock line, newest first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tooling.models import Movement, What

MOST = 60


@dataclass(frozen=True)
class StockNews:
    """One row: ``change`` is what it did to this line's count; ``id`` names it to put it right,
    which ``puts_right`` rows have done."""

    id: UUID
    at: datetime
    said: str
    change: int
    by: str
    note: str
    is_corrected: bool
    puts_right: bool = False

    @property
    def may_be_undone(self) -> bool:
        """Whether somebody may still take it back."""
        return not self.is_corrected and not self.puts_right


def said_of(movement: Movement, *, left: int) -> str:
    """What was just done, in a sentence, and how many are left in the bin."""
    words = {
        What.MOVE: _("{count} of {what}: from {source} to {to}."),
        What.RECEIVE: _("{count} of {what} received into {here}."),
        What.MAKE: _("{count} of {what} made, in {here}."),
        What.USE_UP: _("{count} of {what} used up, from {here}."),
        What.SCRAP: _("{count} of {what} scrapped, from {here}."),
        What.COUNT: _("Counted in {here}: {what}, {count} different."),
    }[What(movement.what)]
    line = movement.stock
    assert line is not None
    if movement.what == What.COUNT and movement.quantity == 0:
        words = _("Counted in {here}: {what}, as many as were written down.")
    count = f"{movement.quantity:+d}" if movement.what == What.COUNT else movement.quantity
    here = line.place.path_name or line.place.name
    to = movement.to.path_name or movement.to.name if movement.to else ""
    said = words.format(count=count, what=line.drawing.number, source=here, here=here, to=to)
    return f"{said} " + ngettext("{n} is in it now.", "{n} are in it now.", left).format(n=left)


def stock_news(code: str) -> list[StockNews]:
    """The last rows of a bin. One query."""
    rows = Movement.objects.filter(Q(stock__code=code) | Q(stock_to__code=code))
    rows = rows.select_related("by", "to", "from_seen", "corrected_by", "stock")
    return [_news(row, code) for row in rows.order_by("-effective_at", "-id")[:MOST]]


def _news(row: Movement, code: str) -> StockNews:
    is_source = row.stock is not None and row.stock.code == code
    comes = row.what in (What.RECEIVE, What.MAKE, What.COUNT) or not is_source
    said = {
        What.RECEIVE: _("received"),
        What.MAKE: _("made here"),
        What.USE_UP: _("used up"),
        What.SCRAP: _("scrapped"),
        What.COUNT: _("counted"),
    }.get(What(row.what), "")
    if row.what == What.MOVE:
        place = row.to if is_source else row.from_seen
        words = _("moved to {place}") if is_source else _("moved here from {place}")
        said = words.format(place=place.path_name if place else "")
    if row.corrects_id is not None:
        said = _("put right")
    return StockNews(
        id=row.uuid,
        at=row.effective_at,
        said=said,
        change=row.quantity if comes else -row.quantity,
        by=str(row.by) if row.by else "",
        note=row.note,
        is_corrected=hasattr(row, "corrected_by"),
        puts_right=row.corrects_id is not None,
    )
