"""What a count says of every piece and bin: judged by what was counted and what moved since.

A piece that somebody moved away while the count is open is not missing, one that somebody brought
is no extra, and whoever scanned a piece since the count was opened has seen it. What a closed
count says is read from its lines and entries as its close left them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tooling.models import AWAY_KINDS, Count, CountState, Place, PlaceKind
from tooling.queries.count_bins import Effect, counted_between, effects_since
from tooling.queries.count_rows import (
    Entries,
    bin_lines,
    entries_of,
    piece_lines,
    places_of,
    seen_meanwhile,
    unlined_bins,
    unlined_pieces,
)
from tooling.queries.count_views import BinNow, Outcome, PieceNow, Seen, State
from tooling.queries.whereabouts import GONE_KINDS, Whereabouts, whereabouts


def state_of(count: Count) -> State:
    """Nine queries at most, whatever the count holds. ``count`` has its place loaded."""
    if count.state == CountState.DROPPED:
        return State()
    seen = entries_of(count)
    pieces, bins = piece_lines(count), bin_lines(count)
    unlined = [key for key in seen.pieces if key not in {row.piece_id for row in pieces}]
    pieces += unlined_pieces(unlined, seen)
    others = [key for key in seen.bins if key not in {row.stock_id for row in bins}]
    bins += unlined_bins(others)
    if count.state == CountState.CLOSED:
        places = places_of(pieces, bins, seen)
        return State(
            tuple(_recorded_piece(row, seen, places) for row in pieces),
            tuple(_recorded_bin(row, seen) for row in bins),
            places,
            count.place.path if count.place is not None else "",
        )
    meanwhile = seen_meanwhile(count)
    places = places_of(pieces, bins, seen)
    judge = _Judge(count, seen, meanwhile, places, whereabouts())
    effects = effects_since(count, [row.stock_id for row in bins])
    return State(
        tuple(judge.piece(row) for row in pieces),
        tuple(_judged_bin(row, seen, effects) for row in bins),
        places,
        judge.inside,
    )


class _Judge:
    """Says of each piece what a count that is still open has to say."""

    def __init__(
        self,
        count: Count,
        seen: Entries,
        meanwhile: Mapping[int, Seen],
        places: Mapping[int, Place],
        beyond: Whereabouts,
    ) -> None:
        self.inside = count.place.path if count.place is not None else ""
        self.seen, self.meanwhile = seen.pieces, meanwhile
        self.places, self.beyond = places, beyond

    def piece(self, row: PieceNow) -> PieceNow:
        entry = self.seen.get(row.piece_id)
        if entry is not None and row.line_id is None:
            return replace(row, outcome=self._unexpected(entry), seen=entry)
        if entry is not None:
            return replace(row, outcome=Outcome.FOUND, seen=entry)
        outcome = self._unseen(row)
        glance = self.meanwhile.get(row.piece_id)
        if glance is None or outcome == Outcome.MOVED:
            return replace(row, outcome=outcome)
        return replace(row, outcome=Outcome.FOUND, seen=glance)

    def _unexpected(self, entry: Seen) -> Outcome:
        """Moved here by this count from elsewhere, or brought here by somebody before it."""
        came_from = self.places.get(entry.from_place_id or 0)
        if not entry.moved or came_from is None:
            return Outcome.CAME
        was_here = bool(self.inside) and self._has(came_from)
        is_gone = self._kind_beyond(came_from) in GONE_KINDS
        return Outcome.CAME if was_here and not is_gone else Outcome.EXTRA

    def _kind_beyond(self, place: Place) -> str:
        kept = self.beyond.beyond_reach(place)
        return kept.kind if kept is not None else ""

    def _unseen(self, row: PieceNow) -> Outcome:
        place = self.places[row.place_id]
        kind = self._kind_beyond(place)
        if kind in (PlaceKind.LOST, PlaceKind.SCRAP) or not self._has(place):
            return Outcome.MOVED
        return Outcome.AWAY if kind in AWAY_KINDS and not self.inside else Outcome.MISSING

    def _has(self, place: Place) -> bool:
        return place.path.startswith(self.inside)


def _judged_bin(row: BinNow, seen: Entries, effects: Sequence[Effect]) -> BinNow:
    """By the record at the moment of counting: what moved later is no difference."""
    entry = seen.bins.get(row.stock_id)
    if entry is None:
        return row
    later, is_overtaken = counted_between(effects, row.stock_id, entry.at)
    return replace(
        row, expected=max(0, row.expected - later), counted=entry.quantity, seen=entry,
        is_overtaken=is_overtaken,
    )  # fmt: skip


def _recorded_piece(row: PieceNow, seen: Entries, places: Mapping[int, Place]) -> PieceNow:
    """As the close left it: expected 1 or 0 on the line, and whether an entry stands."""
    entry = seen.pieces.get(row.piece_id)
    was_expected = row.outcome == Outcome.MISSING
    if row.line_id is None:
        outcome = Outcome.CAME
    elif entry is not None:
        outcome = Outcome.FOUND if was_expected else Outcome.EXTRA
    elif was_expected:
        outcome = Outcome.MISSING
    else:
        outcome = Outcome.AWAY if places[row.was_at_id].kind in AWAY_KINDS else Outcome.MOVED
    return replace(row, outcome=outcome, seen=entry)


def _recorded_bin(row: BinNow, seen: Entries) -> BinNow:
    entry = seen.bins.get(row.stock_id)
    return row if entry is None else replace(row, counted=entry.quantity, seen=entry)
