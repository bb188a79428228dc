"""The ledger of pieces: rows are only added; the present place is folded from them.

Place = rows that nothing corrects, the greatest (effective_at, received_at, id) wins. So a scan
that arrives late finds its place in history and leaves the present alone.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, Unknown
from tooling.models import (
    Device,
    How,
    Kit,
    KitPosition,
    KitState,
    Movement,
    Person,
    Piece,
    Place,
    PlaceKind,
    What,
)
from tooling.permissions import Verb, check_can
from tooling.services import staging
from tooling.services.write import lock, writing

Key = tuple[datetime, datetime, int]
"""(effective_at, received_at, id): where a row stands in time."""


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
    """Where a piece is and the row that says so; brought up to date as rows are added."""

    id: int
    code: str
    mark: str
    place_id: int
    placed_effective_at: datetime | None
    placed_received_at: datetime | None
    placed_by_id: int | None
    seen_at: datetime | None

    @property
    def key(self) -> Key | None:
        if self.placed_effective_at is None or self.placed_received_at is None:
            return None
        return (self.placed_effective_at, self.placed_received_at, self.placed_by_id or 0)

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
)


def pieces_now(**where: Any) -> dict[int, PieceNow]:
    """The present of the pieces that match, by id; one query."""
    rows = Piece.objects.filter(**where).order_by("code").values_list(*FIELDS)
    return {row[0]: PieceNow(*row) for row in rows}


def row(
    *,
    stamp: Stamp,
    by: Person | None,
    how: str,
    id: uuid.UUID | None = None,
    **fields: Any,
) -> Movement:
    """An unsaved movement with its times, device and maker filled in."""
    return Movement(
        uuid=id or uuid.uuid4(),
        device=stamp.device,
        device_sequence=stamp.device_sequence,
        happened_at=stamp.happened_at,
        received_at=stamp.received_at,
        effective_at=stamp.effective_at,
        clock_offset_ms=stamp.clock_offset_ms,
        clock_is_off=stamp.clock_is_off,
        how=how,
        by=by,
        **fields,
    )


def verb_for(to: Place) -> str:
    """What a move to this place is called: scrapping is a move to the scrap."""
    return What.SCRAP if to.kind == PlaceKind.SCRAP else What.MOVE


def add_piece_rows(*, rows: Sequence[Movement], now: Mapping[int, PieceNow]) -> list[PieceNow]:
    """Save rows of different pieces, none of which corrects another, and fold them in.

    ``now`` is brought up to date; given back are the pieces whose present place these rows say.
    """
    Movement.objects.bulk_create(rows)
    changed = {}
    for added in rows:
        piece = now[added.piece_id]  # type: ignore[index]
        newer = piece.key is None or _key(added) > piece.key
        if added.sees and (piece.seen_at is None or added.effective_at > piece.seen_at):
            piece.seen_at = added.effective_at
            changed[piece.id] = piece
        if newer:
            piece.place_id = added.to_id  # type: ignore[assignment]
            piece.placed_effective_at = added.effective_at
            piece.placed_received_at = added.received_at
            piece.placed_by_id = added.pk
            changed[piece.id] = piece
    write_present(changed.values())
    return list(changed.values())


def _key(movement: Movement) -> Key:
    return (movement.effective_at, movement.received_at, movement.pk)


def write_present(pieces: Iterable[PieceNow]) -> None:
    """Write the derived columns of these pieces in one go."""
    adapt = connection.ops.adapt_datetimefield_value
    rows = [
        (
            piece.place_id,
            adapt(piece.placed_effective_at),
            adapt(piece.placed_received_at),
            piece.placed_by_id,
            adapt(piece.seen_at),
            piece.id,
        )
        for piece in pieces
    ]
    if not rows:
        return
    with connection.cursor() as cursor:
        cursor.executemany(
            "UPDATE tooling_piece SET place_id = %s, placed_effective_at = %s, "
            "placed_received_at = %s, placed_by_id = %s, seen_at = %s WHERE id = %s",
            rows,
        )


def refold(now: Mapping[int, PieceNow]) -> list[PieceNow]:
    """Fold the whole history of these pieces again, after a row among it was corrected.

    Given back are the pieces whose place changed.
    """
    newest: dict[int, Movement] = {}
    seen: dict[int, datetime] = {}
    live = Movement.objects.filter(piece_id__in=now.keys(), corrected_by=None)
    for movement in live.order_by("effective_at", "received_at", "id"):
        newest[movement.piece_id] = movement  # type: ignore[index]
        if movement.sees:
            seen[movement.piece_id] = movement.effective_at  # type: ignore[index]
    moved = []
    for piece in now.values():
        piece.seen_at = seen.get(piece.id)
        last = newest.get(piece.id)
        if last is None:
            continue
        if piece.place_id != last.to_id:
            moved.append(piece)
        piece.place_id = last.to_id  # type: ignore[assignment]
        piece.placed_effective_at = last.effective_at
        piece.placed_received_at = last.received_at
        piece.placed_by_id = last.pk
    write_present(now.values())
    return moved


def move_pieces(
    *,
    by: Person,
    at: datetime,
    pieces: Iterable[Piece],
    to: Place,
    how: str = How.TICK,
    kit_id: int | None = None,
    note: str = "",
    sees: bool = True,
) -> list[Movement]:
    """Move pieces to a place as one act: all of them or none.

    Raises NotAllowed, ``place_not_used``, or what ``staging.check_may_stage`` says of a piece.
    """
    check_can(by, Verb.MOVE_PIECES)
    check_place_is_used(to)
    ids = {piece.pk for piece in pieces}
    with writing():
        lock_pieces(piece_ids=ids, places=[to])
        now = pieces_now(pk__in=ids)
        moves = moves_of(now.values(), to_place_id=to.pk, kit_id=kit_id)
        for error in staging.check_may_stage(moves=moves, at=at).values():
            raise error
        rows = [
            row(
                stamp=Stamp.of(at),
                by=by,
                how=how,
                what=verb_for(to),
                piece_id=piece.id,
                from_seen_id=piece.place_id,
                to=to,
                kit_id=kit_id,
                sees=sees,
                note=note,
            )
            for piece in now.values()
        ]
        add_piece_rows(rows=rows, now=now)
        staging.after_moves(by=by, at=at, moves=moves)
    return rows


def lock_pieces(*, piece_ids: Iterable[int], places: Iterable[Place]) -> None:
    """Hold the pieces and, before them, the open kits that their move can touch."""
    if not connection.features.has_select_for_update:
        return
    ids = set(piece_ids)
    around = {code for place in places for code in place.path.split("/") if code}
    claims = KitPosition.objects.filter(piece_id__in=ids, is_open=True)
    gathering = Kit.objects.exclude(state=KitState.CLOSED).filter(place__code__in=around)
    kits = {*claims.values_list("kit_id", flat=True), *gathering.values_list("pk", flat=True)}
    lock(kits=kits, pieces=ids)


def moves_of(
    pieces: Iterable[PieceNow], *, to_place_id: int, kit_id: int | None = None
) -> list[staging.Moved]:
    """What staging is told when these pieces, as they stand now, go to a place."""
    return [
        staging.Moved(
            piece_id=piece.id,
            from_place_id=piece.place_id,
            to_place_id=to_place_id,
            kit_id=kit_id,
        )
        for piece in pieces
    ]


def check_place_is_used(to: Place) -> None:
    """Raise ``place_not_used`` for a place that the shop gave up."""
    if not to.is_active:
        raise Conflict(
            "place_not_used",
            _("{place} ({label}) is no longer used. Choose another place."),
            place=to.path_name or to.name,
            label=to.code,
        )


def find_movement(scan: uuid.UUID) -> Movement:
    """The movement, or the first row of a whole set, that this scan made.

    Raises Unknown ``unknown_scan``.
    """
    found = Movement.objects.filter(uuid=scan).first()
    if found is None:
        raise Unknown(
            "unknown_scan",
            _("No movement came from the scan {scan}, so there is nothing to put right."),
            scan=scan,
        )
    return found
