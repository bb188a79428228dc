"""Scans that cannot both be right: kept, held by the ledger's rule, listed for somebody to settle.

The rule stays one: of what stands, the latest event says where a thing is. A contradiction
changes nothing; it asks. Looked for in the transaction of the scan, without a query where none is
suspected:

- *places*: another device put the piece elsewhere within two minutes, neither place being one
  that moves;
- *late*: what came late would move the piece from where it was seen afterwards;
- *gone*: it is put somewhere after it was scrapped, or was scrapped before it was seen;
- *refused*, *count*: what came late was refused: it was done in the shop all the same.

A cart is looked at for *places* where it is moved (``cart_contradictions``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Contradiction,
    ContradictionKind,
    Movement,
    Person,
    Place,
    PlaceKind,
    RefusedScan,
    StockLine,
    What,
)
from tooling.models.shop import MOVING_KINDS
from tooling.permissions import Verb, check_can
from tooling.queries.prepared import Prepared, Row
from tooling.services.cart_contradictions import AT_ABOUT_THE_SAME_TIME, COMES_AND_GOES
from tooling.services.carts import move_cart
from tooling.services.edits import require_text
from tooling.services.movements import PieceNow, PieceRow, move_pieces
from tooling.services.write import lock, writing

CAME_LATE = timedelta(minutes=2)
NOTHING_WAS_DONE = ("id_reused", "improbable_value")
"""Late refusals that say nothing of what was done in the shop."""


@dataclass(frozen=True)
class Stood:
    """What was known of a piece before a scan of it was taken."""

    place_id: int
    effective_at: datetime | None
    placed_by: int | None
    seen_at: datetime | None
    is_scrapped: bool

    @classmethod
    def of(cls, piece: PieceNow) -> Stood:
        """A picture of the present; it does not follow."""
        return cls(
            piece.place_id, piece.placed_effective_at, piece.placed_by_id, piece.seen_at,
            piece.place_kind == PlaceKind.SCRAP,
        )  # fmt: skip


_PLACED = Prepared(
    lambda ids: Movement.objects.filter(pk__in=ids).values_list(
        "pk", "device_id", "to__kind", "to__path"
    )
)
_WRITTEN = Prepared(lambda keys: Movement.objects.filter(uuid__in=keys).values_list("uuid", "pk"))


def find_in_pieces(
    *,
    at: datetime,
    rows: Sequence[PieceRow],
    stood: Mapping[int, Stood],
    places: Mapping[int, Place],
) -> None:
    """Keep what among rows just written contradicts what stood before. ``places``: those that the
    rows name, by id. No query where nothing is suspected, else one; two more where something is
    found."""
    suspected = [(row, kind) for row in rows if (kind := _suspect(row, stood[row.piece_id]))]
    if not suspected:
        return
    before = {stood[row.piece_id].placed_by for row, _kind in suspected} - {None}
    known = {row[0]: row for row in _PLACED(before)}
    found = [
        (row, kind)
        for row, kind in suspected
        if kind != ContradictionKind.TWO_PLACES
        or _are_two_places(row, places[row.to_id], known.get(stood[row.piece_id].placed_by))
    ]
    if not found:
        return
    written: dict[Any, int] = dict(_WRITTEN([row.uuid for row, _kind in found]))
    Contradiction.objects.bulk_create(
        Contradiction(
            kind=kind,
            piece_id=row.piece_id,
            first_id=stood[row.piece_id].placed_by,
            second_id=written[row.uuid],
            found_at=at,
        )
        for row, kind in found
    )


def _suspect(row: PieceRow, stood: Stood) -> str:
    """The kind of contradiction that a row may be, by what is at hand."""
    if row.to_id == stood.place_id:
        return ""
    seen, placed = stood.seen_at, stood.effective_at
    is_newest = placed is None or row.effective_at >= placed
    to_scrap = row.what == What.SCRAP
    if stood.is_scrapped and not to_scrap and is_newest:
        return ContradictionKind.GONE
    if to_scrap and seen is not None and row.effective_at < seen:
        return ContradictionKind.GONE
    if is_newest and seen is not None and row.effective_at < seen:
        return ContradictionKind.LATE
    is_near = placed is not None and abs(row.effective_at - placed) <= AT_ABOUT_THE_SAME_TIME
    return ContradictionKind.TWO_PLACES if is_near and row.device_id is not None else ""


def _are_two_places(row: PieceRow, to: Place, first: Row | None) -> bool:
    """Another device says so, and neither place is one that moves or lies within the other."""
    if first is None:
        return False
    _key, device, kind, path = first
    if device in (None, row.device_id) or path is None:
        return False
    moves = {to.kind, kind} & {*COMES_AND_GOES}
    return not moves and not to.path.startswith(path) and not path.startswith(to.path)


def find_in_refused(
    *, at: datetime, refused: Iterable[RefusedScan], stock: Mapping[str, StockLine]
) -> None:
    """Keep the refusals of what came late: whoever did it went on believing that it was taken.
    ``stock``: the batch's bins by code."""
    late = [
        row for row in refused
        if at - row.effective_at > CAME_LATE and row.error_code not in NOTHING_WAS_DONE
    ]  # fmt: skip
    if not late:
        return
    carts = _carts_read(late)
    Contradiction.objects.bulk_create(
        Contradiction(
            kind=_kind_of(row), piece_id=row.piece_id, stock=stock.get(fold(row.code_read)),
            cart_id=carts.get(fold(row.code_read)), refused=row, found_at=at,
        )
        for row in late
    )  # fmt: skip


def _carts_read(rows: Iterable[RefusedScan]) -> dict[str, int]:
    """The carts and plates that scans name by their labels. One query where any may."""
    codes = {fold(row.code_read) for row in rows if fold(row.code_read).startswith("C")}
    found = Place.objects.filter(code__in=codes, kind__in=MOVING_KINDS).values_list("code", "pk")
    return dict(found) if codes else {}


def _kind_of(row: RefusedScan) -> str:
    short = row.error_code == "stock_short"
    return ContradictionKind.COUNT if short else ContradictionKind.REFUSED


def settle(
    *,
    by: Person,
    at: datetime,
    contradiction: Contradiction,
    reason: str,
    to: Place | None = None,
) -> Contradiction:
    """Say which is right, and why. ``to``: where the piece or cart really is, which a further
    movement then says; None: it is as the ledger has it.

    Raises NotAllowed, Conflict ``already_settled``, ToolingError ``not_about_a_piece``, and what a
    move to that place raises.
    """
    check_can(by, Verb.MOVE_PIECES)
    reason = require_text(reason, field="reason", label=_("How you know"), longest=200)
    with writing():
        row = _locked(contradiction)
        moved = _move(by, at, row, to, reason) if to is not None else None
        row.settled_at, row.settled_by, row.settled_how = at, by, _said(row, to, reason)
        row.settling = moved
        row.save(update_fields=["settled_at", "settled_by", "settled_how", "settling"])
    return row


def _locked(contradiction: Contradiction) -> Contradiction:
    lock(
        places=[contradiction.cart_id] if contradiction.cart_id else [],
        pieces=[contradiction.piece_id] if contradiction.piece_id else [],
    )
    rows = Contradiction.objects.select_for_update(of=("self",)).select_related(
        "piece__place", "cart__parent"
    )
    row = rows.get(pk=contradiction.pk)
    if row.settled_at is not None:
        raise Conflict(
            "already_settled",
            _("{name} settled that already: {how}"),
            name=row.settled_by or "-",
            how=row.settled_how,
        )
    return row


def _move(by: Person, at: datetime, row: Contradiction, to: Place, reason: str) -> Movement | None:
    if row.cart is not None:
        if row.cart.parent_id == to.pk:
            return None
        return move_cart(by=by, at=at, cart=row.cart, to=to, note=reason)
    if row.piece is None:
        raise ToolingError(
            "not_about_a_piece",
            _("That is not about a single piece, so no place settles it. Count the bin, or say "
              "how it is."),
        )  # fmt: skip
    if row.piece.place_id == to.pk:
        return None
    return move_pieces(by=by, at=at, pieces=[row.piece], to=to, note=reason)[0]


def _where(row: Contradiction) -> Place | None:
    if row.cart is not None:
        return row.cart.parent
    return row.piece.place if row.piece is not None else None


def _said(row: Contradiction, to: Place | None, reason: str) -> str:
    place = to or _where(row)
    if place is None:
        return reason
    words = _now("It is in {place}: {reason}")
    return words.format(place=place.path_name or place.name, reason=reason)[:400]
