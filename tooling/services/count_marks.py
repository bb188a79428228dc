"""A mark of a count: what a scan, a tick or a number says, and the entry that it leaves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _now

from tooling.models import Count, CountEntry, Movement, Person, Piece, Place, StockLine
from tooling.queries.count_sights import live_entries
from tooling.services.movements import Stamp
from tooling.services.scan_moves import ScanIn


@dataclass(frozen=True)
class Mark:
    """A scan, tick or number that is about to count. ``place``: where it was seen, if said."""

    count: Count
    scan: ScanIn
    stamp: Stamp
    by: Person
    at: datetime
    place: Place | None


@dataclass(frozen=True)
class Said:
    """What became of a mark. No entry: it had been counted already."""

    message: str
    place: str | None
    entry: CountEntry | None = None
    hint: str = ""


def newest(
    count: Count, *, piece: Piece | None = None, line: StockLine | None = None
) -> CountEntry | None:
    about = Q(piece=piece) if piece is not None else Q(stock_line=line)
    rows = live_entries().filter(about, count=count).select_related("by", "place")
    return rows.order_by("-at", "-id").first()


def counted_already(what: str, stands: CountEntry) -> Said:
    said = _now("{who} counted {what} already. It counts once.")
    place = stands.place.code if stands.place else None
    return Said(said.format(who=stands.by or "-", what=what), place)


def write_entry(
    mark: Mark,
    place: Place,
    *,
    piece: Piece | None = None,
    line: StockLine | None = None,
    quantity: int = 1,
    movement: Movement | None = None,
) -> CountEntry:
    return CountEntry.objects.create(
        uuid=mark.scan.id,
        count=mark.count,
        piece=piece,
        stock_line=line,
        place=place,
        quantity=quantity,
        how=mark.scan.how,
        device=mark.stamp.device,
        movement=movement,
        happened_at=max(mark.stamp.effective_at, mark.count.opened_at),
        at=mark.at,
        by=mark.by,
    )
