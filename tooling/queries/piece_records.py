"""Pieces as records that a program reads: every fact by its own name, none in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from tooling.models import DIMENSIONS, Piece, PieceAlias
from tooling.queries.piece_page import mass_kg
from tooling.queries.piece_state import piece_state, special_places, staged_pieces
from tooling.queries.pieces import size_of


@dataclass(frozen=True)
class PieceRecord:
    """One piece. ``place`` and ``owner`` are codes; ``sizes_nm`` are the present ones."""

    code: str
    mark: str
    copy_letter: str
    mark_place: str
    aliases: tuple[str, ...]
    drawing: str
    title: str
    revision: str
    kind: str
    owner: str
    owner_name: str
    place: str
    place_name: str
    placed_at: datetime | None
    state: str
    condition: str
    hold_reason: str
    is_seen: bool
    unit: str
    heat_lot: str
    hardness_hrc: float | None
    over_chrome: bool
    mass_kg: float | None
    length_run_nm: int
    strokes_run: int
    note: str
    sizes_nm: Mapping[str, int | None]
    value_cents: int | None = None


def piece_records(codes: Iterable[str]) -> list[PieceRecord]:
    """The pieces of these codes, by code. Four queries."""
    rows = Piece.objects.filter(code__in=list(codes)).order_by("code")
    pieces = list(rows.select_related("drawing", "revision", "owner", "place"))
    special, staged = special_places(), staged_pieces(piece.pk for piece in pieces)
    aliases = _aliases(pieces)
    return [
        _record(piece, piece.pk in staged, special, aliases.get(piece.pk, ())) for piece in pieces
    ]


def _aliases(pieces: list[Piece]) -> dict[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    for pk, text in PieceAlias.objects.filter(piece__in=pieces).values_list("piece_id", "text"):
        found[pk] = (*found.get(pk, ()), text)
    return found


def _record(
    piece: Piece, is_staged: bool, special: Mapping[str, str], aliases: tuple[str, ...]
) -> PieceRecord:
    state = piece_state(
        condition=piece.condition, path=piece.place.path, is_staged=is_staged, special=special
    )
    return PieceRecord(
        code=piece.code,
        mark=piece.mark,
        copy_letter=piece.copy_letter,
        mark_place=piece.mark_place,
        aliases=aliases,
        drawing=piece.drawing.number,
        title=piece.drawing.title,
        revision=piece.revision.revision,
        kind=piece.drawing.kind,
        owner=piece.owner.code,
        owner_name=piece.owner.name,
        place=piece.place.code,
        place_name=piece.place.path_name or piece.place.name,
        placed_at=piece.placed_effective_at,
        state=state.value,
        condition=piece.condition,
        hold_reason=piece.hold_reason,
        is_seen=piece.seen_at is not None,
        unit=piece.unit,
        heat_lot=piece.heat_lot,
        hardness_hrc=piece.hardness_hrc,
        over_chrome=piece.over_chrome,
        mass_kg=mass_kg(piece),
        length_run_nm=piece.length_run_nm,
        strokes_run=piece.strokes_run,
        note=piece.note,
        sizes_nm={name: size_of(piece, name) for name in DIMENSIONS},
        value_cents=piece.value_cents,
    )
