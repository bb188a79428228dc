"""Guided put-away: what lies on a cart, by the place each thing belongs to, in walking order."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from django.utils.translation import gettext as _

from tooling.errors import Unknown
from tooling.models import (
    MOVING_KINDS,
    NOT_FIT,
    Condition,
    KitPosition,
    Piece,
    Place,
    PlaceKind,
    StockLine,
)
from tooling.queries.homes import Home, homes_of_carts, homes_of_pieces
from tooling.queries.stock_homes import GoesBack, homes_of_counts

MOST = 500
"""So many pieces are shown at once; the rest follows when these are put away."""

SOON_DAYS = 3
"""A kit gathered within so many days makes it worth a thought to put a piece away."""


@dataclass(frozen=True)
class PutLine:
    """One thing to put away: ``spot`` is the peg or bin within the stop, ``note`` what to think
    of first (held, wanted by the next kit)."""

    id: int
    kind: Literal["piece", "bin", "cart"]
    code: str
    mark: str
    drawing: str
    quantity: int
    home_id: int | None
    home_code: str
    spot: str
    note: str

    @property
    def name(self) -> str:
        return self.mark or self.drawing or self.code


@dataclass(frozen=True)
class PutStop:
    """A place on the walk with what belongs there."""

    place: str
    place_code: str
    lines: tuple[PutLine, ...]

    @property
    def name(self) -> str:
        """The innermost name, the one to look for."""
        return self.place.rsplit(" / ", 1)[-1]

    @property
    def outer(self) -> str:
        """What it is in, if anything."""
        return self.place.rpartition(" / ")[0]

    @property
    def count(self) -> int:
        return sum(line.quantity for line in self.lines)


@dataclass(frozen=True)
class PutAway:
    """What lies on a cart or in a place: stops in walking order, then what has no home;
    ``at_home`` belongs where it is. ``more``: so many pieces are not among these yet."""

    place: str
    place_code: str
    name: str
    moves: bool
    stops: tuple[PutStop, ...]
    homeless: tuple[PutLine, ...]
    at_home: int
    more: int

    @property
    def count(self) -> int:
        """How many things are still to put away."""
        return sum(stop.count for stop in self.stops) + sum(each.quantity for each in self.homeless)

    @property
    def token(self) -> str:
        """Sixteen hex digits that change with everything that the walk shows."""
        return hashlib.blake2s(repr(self).encode(), digest_size=8).hexdigest()


def put_away(code: str, *, at: datetime) -> PutAway:
    """What is to be put away from a place. Sixteen queries at most.

    Raises Unknown ``unknown_code``.
    """
    source = Place.objects.filter(code=code.upper()).first()
    if source is None:
        raise Unknown(
            "unknown_code",
            _("No place has the code {code}. Scan the cart again."),
            code=code[:60],
        )
    return put_away_from(source, at=at)


def put_away_from(source: Place, *, at: datetime) -> PutAway:
    """The same for a place that is known."""
    rows = Piece.objects.filter(place__path__startswith=source.path).order_by("code")
    pieces = list(rows.select_related("drawing", "place")[:MOST])
    lines = list(
        StockLine.objects.filter(place__path__startswith=source.path, count__gt=0)
        .select_related("drawing", "place")
        .order_by("code")
    )
    carts = _riding(source)
    homes: dict[tuple[str, int], Home] = {
        **_keyed("piece", homes_of_pieces([piece.pk for piece in pieces])),
        **_keyed("cart", homes_of_carts([cart.pk for cart in carts])),
    }
    pieces = [piece for piece in pieces if not piece.place.path.startswith(_paths(carts))]
    lines = [line for line in lines if not line.place.path.startswith(_paths(carts))]
    wanted = _wanted(pieces, before=at + timedelta(days=SOON_DAYS))
    counts = homes_of_counts(lines)
    back = [(line, each, _bin_home(each)) for line in lines for each in counts.get(line.pk, ())]
    stops = _stops_of([*homes.values(), *(home for _l, _b, home in back if home is not None)])
    made = [
        *(
            (_of_piece(piece, home, stops, wanted), home)
            for piece in pieces
            for home in [homes.get(("piece", piece.pk))]
        ),
        *((_of_line(line, each, home, stops), home) for line, each, home in back),
        *(
            (_of_cart(cart, home, stops), home)
            for cart in carts
            for home in [homes.get(("cart", cart.pk))]
        ),
    ]
    return _page(source, made, stops, more=max(rows.count() - MOST, 0))


def _bin_home(each: GoesBack) -> Home | None:
    """A count goes back to the bins that gave it, so many to each."""
    if each.place is None:
        return None
    return Home(each.place, "rested" if each.came else "like")


def _keyed(kind: str, homes: Mapping[int, Home]) -> dict[tuple[str, int], Home]:
    return {(kind, pk): home for pk, home in homes.items()}


def _riding(source: Place) -> list[Place]:
    """Carts and plates that stand on it, not those on them. What is on them goes with them."""
    inside = Place.objects.filter(path__startswith=source.path, kind__in=MOVING_KINDS)
    found: list[Place] = []
    for cart in inside.exclude(pk=source.pk).order_by("path"):
        if not cart.path.startswith(_paths(found)):
            found.append(cart)
    return found


def _paths(carts: Iterable[Place]) -> tuple[str, ...]:
    return tuple(cart.path for cart in carts)


def _wanted(pieces: Iterable[Piece], *, before: datetime) -> dict[int, str]:
    """Piece id → the open kit that is gathered soon and has not got it. One query."""
    ids = [piece.pk for piece in pieces]
    rows = KitPosition.objects.filter(
        piece__in=ids, is_open=True, is_staged=False, kit__job__gathers_at__lt=before
    )
    ordered = rows.order_by("-kit__job__gathers_at")
    return {pk: kit for pk, kit in ordered.values_list("piece_id", "kit__number") if pk}


def _stops_of(homes: Iterable[Home]) -> dict[int, Place]:
    """Home id → where one walks to: of a peg or bin the rack that it is in. One query."""
    places = {home.place.pk: home.place for home in homes}
    small = (PlaceKind.PEG, PlaceKind.BIN)
    outer = Place.objects.in_bulk(
        {p.parent_id for p in places.values() if p.kind in small and p.parent_id is not None}
    )
    return {
        pk: outer.get(place.parent_id or 0, place) if place.kind in small else place
        for pk, place in places.items()
    }


def _of_piece(
    piece: Piece, home: Home | None, stops: Mapping[int, Place], wanted: Mapping[int, str]
) -> PutLine:
    notes = []
    if piece.condition == Condition.HOLD:
        notes.append(_("held: {reason}").format(reason=piece.hold_reason or "-"))
    elif piece.condition in NOT_FIT:
        notes.append(str(piece.get_condition_display()))
    if piece.pk in wanted:
        notes.append(_("kit {kit} wants it").format(kit=wanted[piece.pk]))
    return PutLine(
        id=piece.pk,
        kind="piece",
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        quantity=1,
        note="; ".join(notes),
        **_home_fields(home, stops),
    )


def _of_line(
    line: StockLine, each: GoesBack, home: Home | None, stops: Mapping[int, Place]
) -> PutLine:
    return PutLine(
        id=line.pk,
        kind="bin",
        code=line.code,
        mark="",
        drawing=line.drawing.number,
        quantity=each.count,
        note="",
        **_home_fields(home, stops),
    )


def _of_cart(cart: Place, home: Home | None, stops: Mapping[int, Place]) -> PutLine:
    return PutLine(
        id=cart.pk,
        kind="cart",
        code=cart.code,
        mark=cart.name,
        drawing="",
        quantity=1,
        note="",
        **_home_fields(home, stops),
    )


def _home_fields(home: Home | None, stops: Mapping[int, Place]) -> dict[str, Any]:
    if home is None:
        return {"home_id": None, "home_code": "", "spot": ""}
    place = home.place
    spot = place.name if stops[place.pk].pk != place.pk else ""
    return {"home_id": place.pk, "home_code": place.code, "spot": spot}


def _page(
    source: Place,
    made: Sequence[tuple[PutLine, Home | None]],
    stops: Mapping[int, Place],
    *,
    more: int,
) -> PutAway:
    grouped: dict[int, list[PutLine]] = {}
    homeless, at_home = [], 0
    for line, home in made:
        if home is None:
            homeless.append(line)
        elif home.place.path.startswith(source.path):
            at_home += line.quantity
        else:
            grouped.setdefault(stops[home.place.pk].pk, []).append(line)
    walk = sorted(
        (place for place in {p.pk: p for p in stops.values()}.values() if place.pk in grouped),
        key=lambda place: (place.walking_order, place.path_name),
    )
    orders = {home.place.pk: home.place.walking_order for _line, home in made if home is not None}
    return PutAway(
        place=source.path_name or source.name,
        place_code=source.code,
        name=source.name,
        moves=source.moves,
        stops=tuple(
            PutStop(
                place.path_name or place.name,
                place.code,
                tuple(sorted(grouped[place.pk], key=lambda line: _order(line, orders))),
            )
            for place in walk
        ),
        homeless=tuple(homeless),
        at_home=at_home,
        more=more,
    )


def _order(line: PutLine, orders: Mapping[int, int]) -> tuple[int, str, str]:
    return (orders.get(line.home_id or 0, 0), line.spot, line.code)
