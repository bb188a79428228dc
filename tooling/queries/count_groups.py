"""What a count expects, place by place as one walks along: a row of pegs is one."""

from __future__ import annotations

from dataclasses import dataclass

from tooling.models import Place, PlaceKind
from tooling.queries.count_views import BinNow, Outcome, PieceNow, State
from tooling.queries.count_words import Figures

EXPECTED = (Outcome.FOUND, Outcome.MISSING)


@dataclass(frozen=True)
class Group:
    """What should be at one place, with the pegs on it; by mark within each."""

    place: Place
    pieces: tuple[PieceNow, ...]
    bins: tuple[BinNow, ...]

    @property
    def figures(self) -> Figures:
        pieces = sum((piece.figures for piece in self.pieces), Figures())
        return sum((each.figures for each in self.bins), pieces)

    @property
    def missing(self) -> tuple[PieceNow, ...]:
        return tuple(piece for piece in self.pieces if piece.outcome == Outcome.MISSING)

    @property
    def uncounted(self) -> tuple[BinNow, ...]:
        return tuple(each for each in self.bins if each.counted is None)


def groups_of(state: State) -> tuple[Group, ...]:
    """Every place where something is expected, in walking order."""
    pieces: dict[int, list[PieceNow]] = {}
    bins: dict[int, list[BinNow]] = {}
    for piece in state.pieces:
        if piece.outcome in EXPECTED:
            pieces.setdefault(_spot(state, piece).pk, []).append(piece)
    for each in state.bins:
        bins.setdefault(_row_place(state, state.places[each.place_id]).pk, []).append(each)
    found = {place.pk: place for place in _named(state)}
    ordered = sorted(
        (found[pk] for pk in {*pieces, *bins}), key=lambda place: (place.walking_order, place.path)
    )
    return tuple(
        Group(
            place,
            tuple(sorted(pieces.get(place.pk, ()), key=lambda each: walk_of(state, each))),
            tuple(bins.get(place.pk, ())),
        )
        for place in ordered
    )


def rows_of(state: State, place_id: int) -> tuple[PieceNow, ...]:
    """The expected pieces of one place, as `groups_of` lists them."""
    return tuple(
        piece
        for piece in state.pieces
        if piece.outcome in EXPECTED and _spot(state, piece).pk == place_id
    )


def _spot(state: State, piece: PieceNow) -> Place:
    """Where a piece is looked for: where it is now, or was when it has left what is counted."""
    place = state.places[piece.place_id]
    if not place.path.startswith(state.inside):
        place = state.places[piece.was_at_id]
    return _row_place(state, place)


def _row_place(state: State, place: Place) -> Place:
    """A peg stands in its row, unless that reaches beyond what is counted."""
    above = place.parent
    if place.kind == PlaceKind.PEG and above is not None and above.path.startswith(state.inside):
        return above
    return place


def _named(state: State) -> list[Place]:
    places = list(state.places.values())
    return places + [place.parent for place in places if place.parent is not None]


def walk_of(state: State, piece: PieceNow) -> tuple[int, str, str, str]:
    """Where a piece stands in a walk from place to place."""
    place = state.places[piece.place_id]
    return (place.walking_order, place.path, piece.mark, piece.code)
