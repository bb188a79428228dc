"""What movements say of losses: a customer's piece that goes to a place for what is lost is
reported to its owner, and one that comes from there, or is seen again, is noted as found."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from tooling.models import OwnerReport, Person, Piece, Place, PlaceKind, ReportKind, StockLine
from tooling.queries.prepared import Asked, Prepared, one_trip
from tooling.queries.whereabouts import GONE_KINDS
from tooling.services.owner_reports import NO_LONGER_LOST, note_found, open_report


def _missed(ids: Collection[int]) -> QuerySet[Piece, Any]:
    """(id, path, whether the shop's own, whether reported as lost) of pieces."""
    reports = OwnerReport.objects.filter(piece=OuterRef("pk"), kind=ReportKind.LOSS)
    is_missed = Exists(reports.exclude(notes__what__in=NO_LONGER_LOST))
    known = Piece.objects.filter(pk__in=ids).annotate(is_missed=is_missed).order_by()
    return known.values_list("pk", "place__path", "owner__is_shop", "is_missed")


_MISSED = Prepared(_missed)
NOBODY_ELSE: Mapping[int, Person] = MappingProxyType({})
_GONE = Prepared(
    lambda: Place.objects.filter(kind__in=GONE_KINDS).order_by().values_list("path", "kind")
)


@dataclass(frozen=True)
class LossesAsked:
    """The places for what is lost or gone, and pieces as they are after a move, under way."""

    gone: Asked
    missed: Asked


def ask_losses(moved: Collection[int]) -> LossesAsked:
    """Ask what ``after_moves`` of these pieces will want to know, once they are moved."""
    if not moved:
        return LossesAsked(Asked(), Asked())
    with one_trip():
        return LossesAsked(_GONE.ask(), _MISSED.ask(moved))


def after_moves(
    *,
    by: Person | None,
    at: datetime,
    moved: Mapping[int, int | None],
    hands: Mapping[int, Person] = NOBODY_ELSE,
    asked: LossesAsked | None = None,
) -> None:
    """``moved``: piece id → the id of the place that it came from, of those that are elsewhere
    now. ``hands``: who moved which piece, where that was not ``by``. ``asked``: where
    ``ask_losses`` of them was called before. Call inside the write of the movement. Two queries
    where nothing is lost or found."""
    if by is None or not moved:
        return
    asked = asked or ask_losses(moved)
    gone: dict[str, str] = dict(asked.gone.rows())
    lost = tuple(path for path, kind in gone.items() if kind == PlaceKind.LOST)
    lost_now, found_now = set(), set()
    for pk, path, is_shops_own, was_missed in asked.missed.rows():
        if path.startswith(lost) and not is_shops_own:
            lost_now.add(pk)
        elif was_missed and not path.startswith(tuple(gone)):
            found_now.add(pk)
    for piece in _pieces(lost_now):
        open_report(
            by=hands.get(piece.pk, by), at=at, piece=piece, kind=ReportKind.LOSS,
            what_happened=_("Moved to “{place}”.").format(place=piece.place.name),
        )  # fmt: skip
    there = _pieces(found_now)
    if there:
        before = {place for each in there if (place := moved[each.pk]) is not None}
        places = Place.objects.filter(pk__in=before).values_list("pk", "path")
        was_lost = {pk for pk, path in places if path.startswith(lost)}
        taken = {each.pk for each in there if moved[each.pk] in was_lost}
        for person in dict.fromkeys(hands.get(each.pk, by) for each in there):
            theirs = [each for each in there if hands.get(each.pk, by) == person]
            note_found(by=person, at=at, pieces=theirs, taken_from_the_lost=taken)


def _pieces(ids: Collection[int]) -> list[Piece]:
    """By code, with owner and place. No query for none."""
    if not ids:
        return []
    return list(Piece.objects.filter(pk__in=ids).select_related("owner", "place").order_by("code"))


def after_cart(*, by: Person | None, at: datetime, cart: Place, came_from: str) -> None:
    """A cart or plate came into, or out of, a place for what is lost: so did all that is on it.
    ``came_from``: its path before. One query where it did not."""
    lost = tuple(Place.objects.filter(kind=PlaceKind.LOST).values_list("path", flat=True))
    on_it = Q(place__path__startswith=cart.path, owner__is_shop=False)
    pieces = Piece.objects.filter(on_it).select_related("owner", "place").order_by("code")
    if by is None or came_from.startswith(lost) == cart.path.startswith(lost):
        return
    if came_from.startswith(lost):
        back = list(pieces)
        note_found(by=by, at=at, pieces=back, taken_from_the_lost={each.pk for each in back})
        return
    said = _("Lost with {cart}.").format(cart=cart.name)
    for piece in pieces:
        open_report(by=by, at=at, piece=piece, kind=ReportKind.LOSS, what_happened=said)
    lines = StockLine.objects.filter(on_it, count__gt=0).select_related("owner")
    for line in lines.order_by("code"):
        open_report(
            by=by, at=at, stock_line=line, quantity=line.count, kind=ReportKind.LOSS,
            what_happened=said,
        )  # fmt: skip


def after_stock(
    *, by: Person, at: datetime, line: StockLine, quantity: int, to: Place | None
) -> None:
    """So many of a bin went to a place, or were missing when it was counted (no place)."""
    if quantity < 1:
        return
    if to is None:
        said = _("Missing when the bin was counted.")
    elif Place.objects.filter(kind=PlaceKind.LOST, code__in=to.path.split("/")).exists():
        said = _("Moved to “{place}”.").format(place=to.name)
    else:
        return
    open_report(
        by=by, at=at, stock_line=line, quantity=quantity, kind=ReportKind.LOSS, what_happened=said
    )
