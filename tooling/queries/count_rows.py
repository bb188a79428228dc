"""The rows of a count as they lie in the database: what was expected, what was counted, what was
seen meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tooling.models import (
    Count,
    CountEntry,
    CountLine,
    CountState,
    Movement,
    Piece,
    Place,
    StockLine,
)
from tooling.queries.count_sights import live_entries
from tooling.queries.count_views import BinNow, Outcome, PieceNow, Seen


@dataclass(frozen=True)
class Entries:
    """The newest entry that stands of every piece and bin; where a piece came from is told by the
    first that moved it."""

    pieces: Mapping[int, Seen]
    bins: Mapping[int, Seen]


def entries_of(count: Count) -> Entries:
    rows: Any = CountEntry.objects.filter(count=count, is_taken_back=False, corrected_by=None)
    if count.state == CountState.OPEN:
        rows = live_entries().filter(count=count)
    pieces: dict[int, Seen] = {}
    bins: dict[int, Seen] = {}
    told = rows.order_by("at", "id").values_list(
        "piece_id", "stock_line_id", "by__name", "by_id", "happened_at", "how", "place_id",
        "quantity", "uuid", "movement__from_seen_id", "movement_id",
    )  # fmt: skip
    for piece, line, by, by_id, at, how, place, quantity, uuid, came_from, movement in told:
        seen = Seen(
            by or "", by_id, at, how, place, quantity, uuid, came_from, movement is not None,
            movement,
        )  # fmt: skip
        if piece is None:
            bins[line] = seen
        elif piece in pieces and pieces[piece].moved:
            pieces[piece] = replace(seen, moved=True, from_place_id=pieces[piece].from_place_id)
        else:
            pieces[piece] = seen
    return Entries(pieces, bins)


_PIECE = ("code", "mark", "drawing__number", "owner__name", "owner__is_shop", "place_id")
_BIN = ("code", "drawing__number", "owner__name", "owner__is_shop", "place_id", "count")


def piece_lines(count: Count) -> list[PieceNow]:
    """Expected when the count was opened; the outcome is that of nobody having looked."""
    rows = CountLine.objects.filter(count=count, piece__isnull=False).order_by("piece__code")
    told = rows.values_list(
        "id", "place_id", "expected", "reason", "piece_id", *(f"piece__{name}" for name in _PIECE)
    )
    return [
        PieceNow(
            piece_id, code, mark, drawing, owner, is_shop, place, was_at,
            Outcome.MISSING if expected else Outcome.MOVED, None, key, reason,
        )
        for key, was_at, expected, reason, piece_id, code, mark, drawing, owner, is_shop, place
        in told
    ]  # fmt: skip


def unlined_pieces(ids: Sequence[int], seen: Entries) -> list[PieceNow]:
    """Counted though not expected. Asks nothing where there are none."""
    if not ids:
        return []
    told = Piece.objects.filter(pk__in=ids).order_by("code").values_list("pk", *_PIECE)
    return [
        PieceNow(
            piece_id, code, mark, drawing, owner, is_shop, place,
            seen.pieces[piece_id].from_place_id or place, Outcome.CAME,
        )
        for piece_id, code, mark, drawing, owner, is_shop, place in told
    ]  # fmt: skip


def bin_lines(count: Count) -> list[BinNow]:
    rows = CountLine.objects.filter(count=count, stock_line__isnull=False)
    told = rows.order_by("stock_line__drawing__number", "stock_line__code").values_list(
        "id", "expected", "reason", "stock_line_id", *(f"stock_line__{name}" for name in _BIN)
    )
    is_open = count.state == CountState.OPEN
    return [
        BinNow(
            stock_id, code, drawing, owner, is_shop, place, now if is_open else expected,
            line_id=key, reason=reason,
        )
        for key, expected, reason, stock_id, code, drawing, owner, is_shop, place, now in told
    ]  # fmt: skip


def unlined_bins(ids: Sequence[int]) -> list[BinNow]:
    if not ids:
        return []
    told = StockLine.objects.filter(pk__in=ids).order_by("code").values_list("pk", *_BIN)
    return [BinNow(*row) for row in told]


def places_of(
    pieces: Iterable[PieceNow], bins: Iterable[BinNow], seen: Entries
) -> dict[int, Place]:
    """Every place that is named, with the one around it. One query."""
    ids: set[int | None] = {each.place_id for each in bins}
    for piece in pieces:
        ids |= {piece.place_id, piece.was_at_id}
    for each in (*seen.pieces.values(), *seen.bins.values()):
        ids.add(each.place_id)
    rows = Place.objects.filter(pk__in=[pk for pk in ids if pk]).select_related("parent")
    return {place.pk: place for place in rows}


def seen_meanwhile(count: Count) -> dict[int, Seen]:
    """Expected pieces that somebody scanned, or counted in another count, since this one was
    opened. Two queries."""
    expected = CountLine.objects.filter(count=count, piece__isnull=False).values("piece")
    since = Movement.objects.filter(
        piece__in=expected, corrected_by=None, sees=True,
        effective_at__gt=count.opened_at, received_at__gt=count.opened_at,
    )  # fmt: skip
    found: dict[int, Seen] = {}
    moved = since.order_by("effective_at", "received_at", "id").values_list(
        "piece_id", "by__name", "by_id", "effective_at", "how", "to_id", "id"
    )
    for piece, by, by_id, at, how, to, key in moved:
        if piece is not None:
            found[piece] = Seen(by or "", by_id, at, how, to, movement_id=key)
    others = live_entries().filter(piece__in=expected, happened_at__gt=count.opened_at)
    others = others.exclude(count=count).exclude(count__state=CountState.DROPPED)
    counted = others.order_by("at", "id").values_list(
        "piece_id", "by__name", "by_id", "happened_at", "how", "place_id"
    )
    for piece, by, by_id, at, how, to in counted:
        if piece is not None and (piece not in found or found[piece].at < at):
            found[piece] = Seen(by or "", by_id, at, how, to)
    return found
