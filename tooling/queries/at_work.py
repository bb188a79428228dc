"""What is at work on a mill, for writing down what happened there: its kit, stations, pieces."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, Q

from tooling.models import Kit, KitPosition, Mill, Piece, Station

MOST_KITS = 6
SHAFT_ORDER = {"top": 0, "bottom": 1, "side": 2, "line": 3}


@dataclass(frozen=True)
class KitAtWork:
    number: str
    job: str
    set_number: str


@dataclass(frozen=True)
class StationAtWork:
    """A station of the mill, the pass that the kit has there, and how many pieces."""

    number: int
    set_pass: int | None
    pieces: int


@dataclass(frozen=True)
class PieceAtWork:
    """A piece that an incident at a station may have touched."""

    code: str
    mark: str
    drawing: str
    shaft: str
    order: int | None
    condition: str

    @property
    def said(self) -> str:
        """As one line of a list to tick."""
        name = f"{self.mark} ({self.code})" if self.mark else self.code
        drawing = self.drawing if self.drawing != self.mark else ""
        place = f"{self.shaft} {self.order}" if self.order is not None else ""
        return " · ".join(part for part in (place, name, drawing, self.condition) if part)


def kits_at_work(mill: Mill) -> tuple[KitAtWork, ...]:
    """Kits for this mill, the likeliest to be on it first: open ones by when their job starts,
    then those closed last. One query."""
    rows = Kit.objects.filter(job__mill=mill).select_related("job__tool_set")
    is_open = ~Q(state="closed")
    found = [
        *rows.filter(is_open).order_by("job__starts_at")[:MOST_KITS],
        *rows.exclude(is_open).order_by("-closed_at")[:MOST_KITS],
    ]
    return tuple(
        KitAtWork(kit.number, kit.job.number, kit.job.tool_set.number) for kit in found[:MOST_KITS]
    )


def kit_on(mill: Mill) -> Kit | None:
    """The kit whose pieces stand on the mill's stations, else the open one whose job starts
    first. Two queries."""
    rows = Kit.objects.filter(job__mill=mill).select_related("job")
    there = rows.filter(positions__piece__place__station__mill=mill)
    found = there.order_by("-job__starts_at").first()
    return found or rows.exclude(state="closed").order_by("job__starts_at").first()


def stations_at_work(mill: Mill, kit: Kit | None) -> tuple[StationAtWork, ...]:
    """Every station. Three queries, two without a kit."""
    claims = _claims(kit)
    standing = _standing(mill)
    rows = Station.objects.filter(mill=mill).order_by("number")
    found = []
    for station in rows:
        mine = [claim for claim in claims if claim.station_number == station.number]
        pieces = {claim.piece_id for claim in mine} | {
            piece.pk for piece, number in standing if number == station.number
        }
        set_pass = mine[0].pass_number if mine else None
        found.append(StationAtWork(station.number, set_pass, len(pieces)))
    return tuple(found)


def pieces_at_work(mill: Mill, kit: Kit | None, station: int) -> tuple[PieceAtWork, ...]:
    """What the kit has at the station and what stands there, as they sit on the shafts. Two
    queries, one without a kit."""
    claims = [claim for claim in _claims(kit) if claim.station_number == station]
    found = {
        claim.piece.pk: _piece(claim.piece, str(claim.get_shaft_display()), claim.order)
        for claim in sorted(claims, key=lambda c: (SHAFT_ORDER.get(c.shaft, 9), c.order))
        if claim.piece is not None
    }
    for piece, number in _standing(mill):
        if number == station and piece.pk not in found:
            found[piece.pk] = _piece(piece, "", None)
    return tuple(found.values())


def pieces_named(codes: Iterable[str]) -> tuple[PieceAtWork, ...]:
    """Pieces by code, as lines to tick. One query."""
    rows = Piece.objects.filter(code__in=list(codes)).select_related("drawing").order_by("code")
    return tuple(_piece(piece, "", None) for piece in rows)


def _claims(kit: Kit | None) -> list[KitPosition]:
    if kit is None:
        return []
    rows = KitPosition.objects.filter(kit=kit, piece__isnull=False)
    return list(rows.select_related("piece__drawing").order_by("station_number", "shaft", "order"))


def _standing(mill: Mill) -> list[tuple[Piece, int]]:
    """Pieces in the places of the mill's stations, with the station's number. One query."""
    rows = Piece.objects.filter(place__station__mill=mill).select_related("drawing")
    numbered = rows.annotate(at_station=F("place__station__number")).order_by("code")
    return [(piece, piece.at_station) for piece in numbered]


def _piece(piece: Piece, shaft: str, order: int | None) -> PieceAtWork:
    return PieceAtWork(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        shaft=shaft,
        order=order,
        condition=str(piece.get_condition_display()),
    )
