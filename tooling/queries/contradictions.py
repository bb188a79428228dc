"""Scans that cannot both be right, as somebody reads them who is to say which is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from tooling.engineering.codes import looks_like_code
from tooling.models import Contradiction, Movement, Place, RefusedScan
from tooling.queries.devices import DeviceRow, clocks_off

SETTLED_SHOWN = 20
OPEN_SHOWN = 200


@dataclass(frozen=True)
class Said:
    """One of the scans: what was put where, when it happened and was heard, by whom, from where.

    ``place`` is a label code. ``refused``: why it was not taken; empty when it was.
    """

    place: str
    place_name: str
    happened_at: datetime
    heard_at: datetime
    by: str
    device: str
    clock_is_off: bool
    refused: str = ""


@dataclass(frozen=True)
class ContraryRow:
    """One contradiction. ``here`` is where the thing is by the ledger; ``seen_at`` when anybody
    had it before their eyes last."""

    id: int
    kind: str
    kind_word: str
    piece: str
    mark: str
    drawing: str
    bin: str
    cart: str
    cart_name: str
    read: str
    here: str
    here_name: str
    seen_at: datetime | None
    found_at: datetime
    said: tuple[Said, ...]
    settled_at: datetime | None
    settled_by: str
    settled_how: str

    @property
    def is_seen_since(self) -> bool:
        """Somebody saw the piece after the contradiction was found."""
        return self.seen_at is not None and self.seen_at > self.found_at

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """Where it may be, the ledger's place first: (code, name), each once."""
        if not self.piece and not self.cart:
            return ()
        places = [(self.here, self.here_name), *((s.place, s.place_name) for s in self.said)]
        return tuple(dict.fromkeys(each for each in places if each[0]))


@dataclass(frozen=True)
class ContraryPage:
    """What is open, the latest found first, how many there are, and what was settled lately."""

    open: tuple[ContraryRow, ...]
    count: int
    settled: tuple[ContraryRow, ...]


@dataclass(frozen=True)
class ScansToday:
    """What of scanning waits for somebody: contradictions, and clocks that are wrong."""

    contrary: int
    clocks: tuple[DeviceRow, ...]


RELATED = (
    "piece__drawing", "piece__place", "stock__drawing", "stock__place", "cart__parent",
    "settled_by",
    "first__to", "first__by", "first__device", "second__to", "second__by", "second__device",
    "refused__by", "refused__device",
)  # fmt: skip


def contrary_page() -> ContraryPage:
    """At most four queries, however many there are."""
    rows = Contradiction.objects.select_related(*RELATED)
    waiting = rows.filter(settled_at=None)
    shown = list(waiting[:OPEN_SHOWN])
    count = len(shown) if len(shown) < OPEN_SHOWN else waiting.count()
    done = list(
        rows.filter(settled_at__isnull=False).order_by("-settled_at", "-id")[:SETTLED_SHOWN]
    )
    places = _places_read([*shown, *done])
    return ContraryPage(
        open=tuple(_row(each, places) for each in shown),
        count=count,
        settled=tuple(_row(each, places) for each in done),
    )


def scans_today(*, at: datetime) -> ScansToday:
    """Two queries."""
    return ScansToday(
        contrary=Contradiction.objects.filter(settled_at=None).count(), clocks=clocks_off(at=at)
    )


def open_rows(*, piece: str = "", size: int = 100, before: int | None = None) -> list[ContraryRow]:
    """The open ones for programs, the newest first, of one piece or cart or of all. Two queries."""
    rows: QuerySet[Contradiction] = Contradiction.objects.filter(settled_at=None)
    if piece:
        rows = rows.filter(Q(piece__code=piece) | Q(cart__code=piece))
    if before is not None:
        rows = rows.filter(pk__lt=before)
    found = list(rows.select_related(*RELATED).order_by("-id")[:size])
    places = _places_read(found)
    return [_row(each, places) for each in found]


def _places_read(rows: list[Contradiction]) -> dict[str, Place]:
    """The places that refused scans name by their labels."""
    codes = {row.refused.to_read.strip().upper() for row in rows if row.refused is not None}
    wanted = [code for code in codes if looks_like_code(code)]
    return {place.code: place for place in Place.objects.filter(code__in=wanted)} if wanted else {}


def _row(row: Contradiction, places: dict[str, Place]) -> ContraryRow:
    piece, line, cart = row.piece, row.stock, row.cart
    here = piece.place if piece else line.place if line else cart.parent if cart else None
    drawing = piece.drawing if piece else line.drawing if line else None
    told = [_moved(each) for each in (row.first, row.second) if each is not None]
    if row.refused is not None:
        told.append(_refused(row.refused, places))
    return ContraryRow(
        id=row.pk,
        kind=row.kind,
        kind_word=row.get_kind_display(),
        piece=piece.code if piece else "",
        mark=piece.mark if piece else "",
        drawing=drawing.number if drawing else "",
        bin=line.code if line else "",
        cart=cart.code if cart else "",
        cart_name=cart.name if cart else "",
        read=row.refused.code_read if row.refused else "",
        here=here.code if here else "",
        here_name=_name(here),
        seen_at=piece.seen_at if piece else None,
        found_at=row.found_at,
        said=tuple(told),
        settled_at=row.settled_at,
        settled_by=row.settled_by.name if row.settled_by else "",
        settled_how=row.settled_how,
    )


def _moved(row: Movement) -> Said:
    return Said(
        place=row.to.code if row.to else "",
        place_name=_name(row.to),
        happened_at=row.effective_at,
        clock_is_off=row.clock_is_off,
        **_who(row),
    )


def _refused(row: RefusedScan, places: dict[str, Place]) -> Said:
    place = places.get(row.to_read.strip().upper())
    return Said(
        place=place.code if place else "",
        place_name=_name(place) or row.to_read,
        happened_at=row.effective_at,
        clock_is_off=abs(row.effective_at - row.happened_at) > timedelta(minutes=2),
        refused=row.message,
        **_who(row),
    )


def _who(row: Movement | RefusedScan) -> dict[str, Any]:
    return {
        "heard_at": row.received_at,
        "by": row.by.name if row.by else "",
        "device": str(row.device) if row.device else "",
    }


def _name(place: Place | None) -> str:
    return (place.path_name or place.name) if place is not None else ""
