"""When things that were taken away are due back: a date with the movement that took them.

Every service that moves something says so here in the same transaction; what stays in the shop
gets no date. The usual number of days is a setting for each kind of place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum
from uuid import UUID

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import DueBack, Movement, Person, Piece, Place
from tooling.queries.out import away_of, standing_dues, usual_day, usual_days

MOST_DAYS = 3_650


class Usual(Enum):
    """Not said: as many days as is usual for the kind of place."""

    USUAL = "usual"


USUAL = Usual.USUAL
DueOn = date | None | Usual
"""A day, no day at all, or the usual one."""


@dataclass(frozen=True)
class Departure:
    """A movement just written, by its uuid; ``before`` is the one that had placed the thing, when
    it was in that very place already. ``by``: who moved it, where that is not who writes."""

    movement: UUID
    to: Place
    moved_at: datetime
    due_on: DueOn = USUAL
    before: int | None = None
    reason: str = ""
    by: Person | None = None


def note_departures(*, by: Person | None, at: datetime, departures: Sequence[Departure]) -> None:
    """Write when what went to a place away is due back. Call inside the write of the movements.

    A thing scanned again where it is keeps the date that stands. Nothing is asked where all goes
    to top places in the shop; else one statement, five where something is away.
    """
    away = away_of(each.to for each in departures)
    gone = [each for each in departures if each.to.pk in away]
    if not gone:
        return
    days = usual_days()
    kept = standing_dues({each.before for each in gone if each.before is not None})
    dates: dict[UUID, tuple[date, str, Person | None]] = {}
    for each in gone:
        old = kept.get(each.before) if each.before is not None else None
        said, reason = each.due_on, each.reason
        if isinstance(said, Usual) and old is not None:
            said, reason = old.due_on, reason or old.reason
        elif isinstance(said, Usual):
            said = usual_day(days, away[each.to.pk], each.moved_at)
        if said is not None:
            dates[each.movement] = (said, reason, each.by or by)
    _write(at=at, dates=dates)


def note_corrections(*, by: Person | None, at: datetime, rows: Sequence[Movement]) -> None:
    """The same for rows that put others right: what is back where it was away has the date that
    stood there, or that of the row it corrects; else the usual one. Of a row that was taken back
    nothing stays but a date that somebody changed since.

    Nothing is asked where all goes to top places in the shop; else one statement, six where
    something is away.
    """
    _keep_changed(by=by, at=at, rows=[row for row in rows if row.takes_back])
    told = [row for row in rows if not row.takes_back]
    away = away_of(row.to for row in told if row.to is not None)
    back = [row for row in told if row.to_id in away]
    if not back:
        return
    earlier = _earlier(back)
    wrong = {row.corrects_id for row in back if row.corrects_id is not None}
    standing = standing_dues(wrong | {pk for keys in earlier.values() for pk in keys})
    days = usual_days()
    made = []
    for row in back:
        keys = [*earlier.get(_thing(row), ()), row.corrects_id]
        due = next((standing[key] for key in keys if key in standing), None)
        outermost = away[row.to_id or 0]
        day = due.due_on if due else usual_day(days, outermost, row.effective_at)
        if day is not None:
            reason = due.reason if due else ""
            made.append(DueBack(movement=row, due_on=day, at=at, by=by, reason=reason))
    DueBack.objects.bulk_create(made)


def _keep_changed(*, by: Person | None, at: datetime, rows: Sequence[Movement]) -> None:
    """A thing scanned twice where it is, then once undone: the date that was changed in between
    goes to the row that places it now. Three queries at most, none where all went elsewhere."""
    stays = {row.corrects_id: row for row in rows if row.to_id == row.from_seen_id}
    dues = standing_dues({pk for pk in stays if pk is not None})
    if not dues:
        return
    pieces = Piece.objects.filter(pk__in={stays[pk].piece_id for pk in dues})
    carts = Place.objects.filter(pk__in={stays[pk].cart_id for pk in dues})
    placed = {("piece", pk): by_id for pk, by_id in pieces.values_list("pk", "placed_by_id")}
    placed |= {("cart", pk): by_id for pk, by_id in carts.values_list("pk", "placed_by_id")}
    made = []
    for pk, due in dues.items():
        row = stays[pk]
        key = placed.get(("piece", row.piece_id or 0)) or placed.get(("cart", row.cart_id or 0))
        if key is not None and row.corrects is not None and due.at > row.corrects.received_at:
            made.append(
                DueBack(movement_id=key, due_on=due.due_on, at=at, by=by, reason=due.reason)
            )
    DueBack.objects.bulk_create(made)


_Thing = tuple[int | None, int | None, int | None]
"""Piece, cart and the place it went to."""


def _thing(row: Movement) -> _Thing:
    return (row.piece_id, row.cart_id, row.to_id)


def _earlier(rows: Sequence[Movement]) -> dict[_Thing, list[int]]:
    """The rows that took the same thing to the same place, the newest first."""
    pieces = {row.piece_id for row in rows if row.piece_id is not None}
    carts = {row.cart_id for row in rows if row.cart_id is not None}
    same = Movement.objects.filter(Q(piece__in=pieces) | Q(cart__in=carts))
    same = same.filter(to__in={row.to_id for row in rows}).exclude(pk__in=[r.pk for r in rows])
    found: dict[_Thing, list[int]] = {}
    ordered = same.order_by("-effective_at", "-received_at", "-id")
    for pk, *thing in ordered.values_list("id", "piece_id", "cart_id", "to_id"):
        found.setdefault((thing[0], thing[1], thing[2]), []).append(pk)
    return found


def check_due(due_on: DueOn, *, at: datetime) -> None:
    """Raise ``due_in_the_past`` for a day before today, ``improbable_value`` beyond ten years."""
    if due_on is None or isinstance(due_on, Usual):
        return
    today = timezone.localdate(at)
    if due_on < today:
        raise ToolingError(
            "due_in_the_past",
            _("{day} is over already; today is {today}. Write the day it will be back."),
            day=due_on.isoformat(),
            today=today.isoformat(),
            in_field="due_on",
        )
    if (due_on - today).days > MOST_DAYS:
        raise ToolingError(
            "improbable_value",
            _("{day} is more than ten years away. Check the year, or leave the date out."),
            day=due_on.isoformat(),
            in_field="due_on",
        )


def _write(*, at: datetime, dates: Mapping[UUID, tuple[date, str, Person | None]]) -> None:
    ids = dict(Movement.objects.filter(uuid__in=dates).values_list("uuid", "id"))
    DueBack.objects.bulk_create(
        DueBack(movement_id=ids[key], due_on=day, reason=reason, at=at, by=by)
        for key, (day, reason, by) in dates.items()
    )
