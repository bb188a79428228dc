"""The ledger of pieces: rows are only added; the present place is folded from them.

Place = rows that stand (``models/movements.STANDS``), the greatest (effective_at, received_at, id)
wins. So a scan that arrives late finds its place in history and leaves the present alone, and of a
row that was taken back nothing is left: the one before it says again where the piece is.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.db.models import QuerySet

from tooling.models import Device, Movement, Person, Piece, Place, PlaceKind, What
from tooling.models.movements import STANDS
from tooling.queries.count_sights import last_counted
from tooling.queries.prepared import Asked, Prepared
from tooling.services.piece_rows import PieceRow, Placed, insert, write_placed, write_seen

Key = tuple[datetime, datetime]
"""(effective_at, received_at): where a row stands in time; the id decides between equals."""


@dataclass(frozen=True)
class Stamp:
    """When something happened, when we heard of it, and from which device."""

    happened_at: datetime
    received_at: datetime
    effective_at: datetime
    clock_offset_ms: int = 0
    clock_is_off: bool = False
    device: Device | None = None
    device_sequence: int | None = None

    @classmethod
    def of(cls, at: datetime) -> Stamp:
        """Something that happens now, at the server's own clock."""
        return cls(at, at, at)


@dataclass(slots=True)
class PieceNow:
    """Where a piece is and the row that says so; brought up to date as rows are added.

    ``place_kind`` is then the scrap's or nothing: no more is asked of it. ``place_path`` is then
    for whoever adds rows to keep.
    """

    id: int
    code: str
    mark: str
    place_id: int
    placed_effective_at: datetime | None
    placed_received_at: datetime | None
    placed_by_id: int | None
    seen_at: datetime | None
    place_kind: str
    place_path: str

    @property
    def key(self) -> Key | None:
        if self.placed_effective_at is None or self.placed_received_at is None:
            return None
        return (self.placed_effective_at, self.placed_received_at)

    @property
    def name(self) -> str:
        return f"{self.code} ({self.mark})" if self.mark else self.code


FIELDS = (
    "id",
    "code",
    "mark",
    "place_id",
    "placed_effective_at",
    "placed_received_at",
    "placed_by_id",
    "seen_at",
    "place__kind",
    "place__path",
)


def pieces_now(**where: Any) -> dict[int, PieceNow]:
    """The present of the pieces that match, by id; one query."""
    rows = Piece.objects.filter(**where).order_by("code").values_list(*FIELDS)
    return {row[0]: PieceNow(*row) for row in rows}


_PIECES = Prepared(
    lambda ids: Piece.objects.filter(pk__in=ids).order_by("code").values_list(*FIELDS)
)


@dataclass(frozen=True)
class PiecesAsked:
    """The present of pieces, under way."""

    asked: Asked

    def by_id(self) -> dict[int, PieceNow]:
        """The present of each."""
        return {row[0]: PieceNow(*row) for row in self.asked.rows()}


def ask_pieces(ids: Collection[int]) -> PiecesAsked:
    """Ask for the present of these pieces; one query, none for none."""
    return PiecesAsked(_PIECES.ask(ids))


def verb_for(to: Place) -> str:
    """What a move to this place is called: scrapping is a move to the scrap."""
    return What.SCRAP if to.kind == PlaceKind.SCRAP else What.MOVE


def piece_row(
    *,
    stamp: Stamp,
    by: Person | None,
    how: str,
    piece_id: int,
    from_seen_id: int | None,
    to: Place,
    id: UUID | None = None,
    kit_id: int | None = None,
    scan: UUID | None = None,
    sees: bool = True,
    code_read: str = "",
    content_hash: str = "",
    note: str = "",
) -> PieceRow:
    """A row of one piece, not yet written."""
    return PieceRow(
        uuid=id or uuid4(),
        device_id=stamp.device.pk if stamp.device else None,
        device_sequence=stamp.device_sequence,
        happened_at=stamp.happened_at,
        received_at=stamp.received_at,
        effective_at=stamp.effective_at,
        clock_offset_ms=stamp.clock_offset_ms,
        clock_is_off=stamp.clock_is_off,
        what=verb_for(to),
        piece_id=piece_id,
        from_seen_id=from_seen_id,
        to_id=to.pk,
        how=how,
        kit_id=kit_id,
        by_id=by.pk if by else None,
        scan=scan,
        sees=sees,
        code_read=code_read,
        content_hash=content_hash,
        note=note,
    )


def standing(*, without: Iterable[int] = (), **subject: Any) -> QuerySet[Movement]:
    """The rows of pieces or carts that have a say in where they are, the newest last; ``without``
    these, which are about to be corrected."""
    rows = Movement.objects.filter(STANDS, **subject).exclude(pk__in=list(without))
    return rows.order_by("effective_at", "received_at", "id")


def origin(**subject: Any) -> int | None:
    """The id of the place where one piece or cart is when nothing that moved it stands: where the
    first row that was written found it, or entered it. None: no row was written. One query."""
    rows = Movement.objects.filter(**subject).order_by("id")
    first = rows.values_list("from_seen_id", "to_id").first()
    return (first[0] or first[1]) if first is not None else None


def add_piece_rows(*, rows: Sequence[PieceRow], now: Mapping[int, PieceNow]) -> None:
    """Write rows of different pieces, none of which corrects another, and fold them in.

    ``now`` is brought up to date. Rows of equal time are folded as they come: the later row has
    the greater id. Two statements, each run over all rows.
    """
    insert(rows)
    placed: list[tuple[PieceNow, UUID | None]] = []
    seen: list[PieceNow] = []
    for added in rows:
        piece = now[added.piece_id]
        key = piece.key
        if added.sees and (piece.seen_at is None or added.effective_at > piece.seen_at):
            piece.seen_at = added.effective_at
            seen.append(piece)
        if key is None or (added.effective_at, added.received_at) >= key:
            piece.place_id = added.to_id
            piece.place_kind = PlaceKind.SCRAP if added.what == What.SCRAP else ""
            piece.placed_effective_at = added.effective_at
            piece.placed_received_at = added.received_at
            placed.append((piece, added.uuid))
    _write_now(placed)
    told = {piece.id for piece, _row in placed}
    _write_sights([piece for piece in seen if piece.id not in told])


def refold(now: Mapping[int, PieceNow]) -> None:
    """Fold the whole history of these pieces again, after a row among it was corrected."""
    newest: dict[int, Movement] = {}
    seen: dict[int, datetime] = {}
    counted = last_counted(now)
    for movement in standing(piece_id__in=now.keys()):
        newest[movement.piece_id] = movement  # type: ignore[index]
        if movement.sees:
            seen[movement.piece_id] = movement.effective_at  # type: ignore[index]
    placed: list[tuple[PieceNow, UUID | None]] = []
    for piece in now.values():
        sights = [when for when in (seen.get(piece.id), counted.get(piece.id)) if when]
        piece.seen_at = max(sights, default=None)
        last = newest.get(piece.id)
        place = last.to_id if last is not None else origin(piece=piece.id)
        if place is None:
            continue
        piece.place_id = place
        piece.placed_effective_at = last.effective_at if last is not None else None
        piece.placed_received_at = last.received_at if last is not None else None
        piece.placed_by_id = last.pk if last is not None else None
        placed.append((piece, last.uuid if last is not None else None))
    _write_now(placed)


def _write_now(pieces: Sequence[tuple[PieceNow, UUID | None]]) -> None:
    write_placed(
        [
            Placed(
                piece.place_id, piece.placed_effective_at, piece.placed_received_at, row,
                piece.seen_at, piece.id,
            )
            for piece, row in pieces
        ]
    )  # fmt: skip


def _write_sights(pieces: Sequence[PieceNow]) -> None:
    write_seen([(piece.seen_at, piece.id) for piece in pieces])
