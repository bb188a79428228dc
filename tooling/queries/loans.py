"""What is out, with whom, since when, due back when: pieces, counts of bins, carts with all on
them. A thing is out by the movement that took it away; that movement's date governs."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Literal
from uuid import UUID

from django.utils import timezone

from tooling.models import MOVING_KINDS, KitPosition, Movement, Piece, Place, StockLine
from tooling.queries.out import OutPlaces, places_out, standing_dues
from tooling.queries.settings import setting_value

SOON_DAYS = 7
Which = Literal["all", "overdue", "soon", "open"]
"""All; overdue; due within a week; without a date."""


@dataclass(frozen=True)
class Wanted:
    """The first open kit that claims what is out, and when it is gathered."""

    kit: str
    job: str
    gathers_at: datetime


@dataclass(frozen=True)
class Loan:
    """One thing that is out. ``id`` is the movement that took it away; several pieces on one cart
    share the cart's. ``days_over`` is 0 unless it is overdue.

    ``is_too_long``: it has no date and has been out longer than the shop's setting.
    """

    id: UUID
    kind: Literal["piece", "bin", "cart"]
    code: str
    mark: str
    drawing: str
    owner: str
    quantity: int
    place: str
    place_code: str
    place_kind: str
    place_kind_word: str
    on_cart: str
    since: datetime
    due_on: date | None
    reason: str
    by: str
    days_over: int
    is_too_long: bool
    wanted: Wanted | None = None

    @property
    def is_overdue(self) -> bool:
        return self.days_over > 0

    @property
    def is_late_for_kit(self) -> bool:
        """Whether a kit wants it before it is due back."""
        if self.wanted is None or self.due_on is None:
            return False
        return self.due_on > timezone.localdate(self.wanted.gathers_at)

    @property
    def name(self) -> str:
        """What a person calls it."""
        return self.mark or self.drawing or self.code


@dataclass(frozen=True)
class Holder:
    """A place away with how much of it is out there."""

    code: str
    name: str
    kind: str
    kind_word: str
    count: int
    overdue: int
    loans: tuple[Loan, ...]


@dataclass(frozen=True)
class LoanPage:
    """The page: what was asked for, grouped by who has it, the most urgent first."""

    holders: tuple[Holder, ...]
    count: int
    shown: int
    overdue: int
    soon: int
    without_date: int
    today: date


def loans(*, at: datetime) -> list[Loan]:
    """Everything that is out, the most overdue first, then by day, at last what has no date.

    Eleven queries at most whatever is out, two when nothing is.
    """
    out = places_out()
    if not out:
        return []
    found = [*_carts(out), *_pieces(out), *_bins(out)]
    dues = standing_dues({each.movement for each in found})
    names = _makers({each.movement for each in found})
    wanted = _wanted(out)
    today = timezone.localdate(at)
    long_ago = at - timedelta(days=int(setting_value("out_too_long")))
    made = []
    for each in found:
        due = dues.get(each.movement)
        due_on = due.due_on if due else None
        made.append(
            replace(
                each.loan,
                due_on=due_on,
                reason=due.reason if due else "",
                by=names.get(each.movement, ""),
                days_over=max((today - due_on).days, 0) if due_on else 0,
                is_too_long=due_on is None and each.loan.since < long_ago,
                wanted=wanted.get(each.key),
            )
        )
    return sorted(made, key=_urgency)


def _urgency(loan: Loan) -> tuple[Any, ...]:
    due = loan.due_on or date.max
    return (due, not loan.is_too_long, loan.since, loan.kind != "cart", loan.code)


def loan_page(*, at: datetime, which: Which = "all", place: str = "") -> LoanPage:
    """What is out, narrowed. The same queries as ``loans``."""
    everything = loans(at=at)
    today = timezone.localdate(at)
    told = [loan for loan in everything if not place or loan.place_code == place.upper()]
    shown = [loan for loan in told if _is(loan, which, today)]
    return LoanPage(
        holders=_holders(shown),
        count=len(told),
        shown=len(shown),
        overdue=sum(_is(loan, "overdue", today) for loan in told),
        soon=sum(_is(loan, "soon", today) for loan in told),
        without_date=sum(_is(loan, "open", today) for loan in told),
        today=today,
    )


def _is(loan: Loan, which: Which, today: date) -> bool:
    if which == "overdue":
        return loan.is_overdue
    if which == "soon":
        soon = today + timedelta(days=SOON_DAYS)
        return loan.due_on is not None and today <= loan.due_on <= soon
    return loan.due_on is None if which == "open" else True


def _holders(rows: Iterable[Loan]) -> tuple[Holder, ...]:
    grouped: dict[str, list[Loan]] = {}
    for loan in rows:
        grouped.setdefault(loan.place_code, []).append(loan)
    return tuple(
        Holder(
            code=code,
            name=group[0].place,
            kind=group[0].place_kind,
            kind_word=group[0].place_kind_word,
            count=sum(loan.quantity for loan in group),
            overdue=sum(loan.is_overdue for loan in group),
            loans=tuple(group),
        )
        for code, group in grouped.items()
    )


@dataclass(frozen=True)
class LoansToday:
    """How much is out, and the first few of what somebody must ask after."""

    count: int
    to_ask: int
    rows: tuple[Loan, ...]


TODAY_ROWS = 5


def loans_today(*, at: datetime) -> LoansToday:
    """What of all that is out waits for somebody. The same queries as ``loans``."""
    everything = loans(at=at)
    late = need_a_word(everything)
    return LoansToday(len(everything), len(late), tuple(late[:TODAY_ROWS]))


def need_a_word(rows: Sequence[Loan]) -> list[Loan]:
    """Of what is out, that which somebody must ask after: overdue, or out too long undated."""
    return [loan for loan in rows if loan.is_overdue or loan.is_too_long]


@dataclass(frozen=True)
class _Found:
    """A loan with the key of its movement and, for kits, of the thing: kind and id."""

    movement: int
    key: tuple[str, int]
    loan: Loan


def _loan(away: Place, **fields: Any) -> Loan:
    blank = {"mark": "", "drawing": "", "owner": "", "quantity": 1, "on_cart": ""}
    return Loan(
        **{**blank, **fields},
        place=away.path_name or away.name,
        place_code=away.code,
        place_kind=away.kind,
        place_kind_word=str(away.get_kind_display()),
        due_on=None,
        reason="",
        by="",
        days_over=0,
        is_too_long=False,
    )


def _carts(out: OutPlaces) -> list[_Found]:
    """Carts and plates that stand away themselves, not those that ride on one. One query."""
    rows = [
        place
        for place in out.places.values()
        if place.kind in MOVING_KINDS and place.placed_by_id and _is_outer(place, out)
    ]
    uuids = _uuids_of(rows)
    return [
        _Found(
            cart.placed_by_id or 0,
            ("cart", cart.pk),
            _loan(
                out.away[cart.pk],
                id=uuids[cart.placed_by_id or 0],
                kind="cart",
                code=cart.code,
                mark=cart.name,
                since=cart.placed_effective_at,
            ),
        )
        for cart in rows
    ]


def _is_outer(cart: Place, out: OutPlaces) -> bool:
    """Whether no other cart carries it there."""
    return _carrier(cart.parent_id, out) is None


def _carrier(place_id: int | None, out: OutPlaces) -> Place | None:
    """The outermost cart away that the place is or stands on."""
    found = None
    while place_id is not None and place_id in out.places:
        place = out.places[place_id]
        if place.kind in MOVING_KINDS and place.placed_by_id:
            found = place
        place_id = place.parent_id
    return found


def _pieces(out: OutPlaces) -> list[_Found]:
    """A piece on a cart that left after the piece was put on it is out by the cart's movement.
    Two queries."""
    rows = Piece.objects.filter(place__in=out.places).select_related(
        "drawing", "owner", "placed_by"
    )
    carried = _uuids_of(p for p in out.places.values() if p.kind in MOVING_KINDS)
    found = []
    for piece in rows.order_by("code"):
        by = piece.placed_by
        if by is None or piece.placed_effective_at is None:
            continue
        movement, uuid, since = by.pk, by.uuid, piece.placed_effective_at
        cart = _carrier(piece.place_id, out)
        if cart is not None and cart.placed_effective_at and cart.placed_effective_at >= since:
            movement, since = cart.placed_by_id or 0, cart.placed_effective_at
            uuid = carried[movement]
        found.append(
            _Found(
                movement,
                ("piece", piece.pk),
                _loan(
                    out.away[piece.place_id],
                    id=uuid,
                    kind="piece",
                    code=piece.code,
                    mark=piece.mark,
                    drawing=piece.drawing.number,
                    owner=piece.owner.name,
                    on_cart=cart.name if cart is not None else "",
                    since=since,
                ),
            )
        )
    return found


def _uuids_of(carts: Iterable[Place]) -> dict[int, UUID]:
    """The movements that placed these carts, by id."""
    keys = [cart.placed_by_id for cart in carts if cart.placed_by_id is not None]
    return dict(Movement.objects.filter(pk__in=keys).values_list("pk", "uuid"))


def _bins(out: OutPlaces) -> list[_Found]:
    """What comes back goes against what left first, so the newest departures are still out.
    Two queries."""
    lines = StockLine.objects.filter(place__in=out.places, count__gt=0)
    known = {line.pk: line for line in lines.select_related("drawing", "owner")}
    left = {pk: line.count for pk, line in known.items()}
    rows = Movement.objects.filter(stock_to__in=known, corrected_by=None)
    found = []
    for row in rows.order_by("-effective_at", "-received_at", "-id"):
        pk = row.stock_to_id or 0
        quantity = min(left[pk], row.quantity)
        if quantity <= 0:
            continue
        left[pk] -= quantity
        line = known[pk]
        cart = _carrier(line.place_id, out)
        found.append(
            _Found(
                row.pk,
                ("bin", line.pk),
                _loan(
                    out.away[line.place_id],
                    id=row.uuid,
                    kind="bin",
                    code=line.code,
                    drawing=line.drawing.number,
                    owner=line.owner.name,
                    quantity=quantity,
                    on_cart=cart.name if cart is not None else "",
                    since=row.effective_at,
                ),
            )
        )
    return found


def _makers(movements: Collection[int]) -> dict[int, str]:
    """Movement id → who handed it out. One query."""
    rows = Movement.objects.filter(pk__in=movements).select_related("by")
    return {row.pk: str(row.by) for row in rows if row.by is not None}


def _wanted(out: OutPlaces) -> dict[tuple[str, int], Wanted]:
    """The open kit that gathers each piece first. One query."""
    claims = KitPosition.objects.filter(piece__place__in=out.places, is_open=True)
    rows = claims.order_by("-kit__job__gathers_at").values_list(
        "piece_id", "kit__number", "kit__job__number", "kit__job__gathers_at"
    )
    return {("piece", pk): Wanted(kit, job, gathers) for pk, kit, job, gathers in rows if pk}


@dataclass(frozen=True)
class DueOfPiece:
    """When a piece that is out is due back: ``due_on`` empty where nobody said."""

    due_on: date | None
    since: datetime | None


def dues_of_pieces(pieces: Iterable[Piece]) -> Mapping[int, DueOfPiece]:
    """For these pieces, that are out, when each is due back. One query, one more where some are on
    a cart, none for no piece."""
    rows = list(pieces)
    if not rows:
        return {}
    codes = {c for piece in rows for c in piece.place.path.split("/") if c.startswith("C")}
    carts = list(Place.objects.filter(code__in=codes)) if codes else []
    governing = {piece.pk: _governing(piece, carts) for piece in rows}
    dues = standing_dues({key for key, _since in governing.values() if key is not None})
    return {
        pk: DueOfPiece(dues[key].due_on if key in dues else None, since)
        for pk, (key, since) in governing.items()
    }


def _governing(piece: Piece, carts: Iterable[Place]) -> tuple[int | None, datetime | None]:
    """The movement that a piece which is away left with: its own, or that of its cart."""
    best = (piece.placed_by_id, piece.placed_effective_at)
    on = [cart for cart in carts if piece.place.path.startswith(cart.path) and cart.placed_by_id]
    outermost = min(on, key=lambda cart: len(cart.path), default=None)
    moved = outermost.placed_effective_at if outermost is not None else None
    if outermost is not None and moved and (best[1] is None or moved >= best[1]):
        return outermost.placed_by_id, moved
    return best
