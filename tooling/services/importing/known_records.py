"""Reads what a part of the rows names: from the shop's tables as the plan changes them, and from
the plan's own."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Model, QuerySet

from tooling.engineering.codes import fold
from tooling.models import Drawing, DrawingRevision, Piece, PieceAlias, StockLine
from tooling.queries.prefixes import capitals
from tooling.queries.scan_lookup import void_labels
from tooling.services.importing.known import Known, plain
from tooling.services.importing.stage import EDIT, Stage, chunks


def in_capitals(texts: Iterable[str]) -> set[str]:
    return {form for text in texts for form in capitals(text)}


def as_planned(stage: Stage, rows: QuerySet[Any]) -> list[Any]:
    """Existing records as the plan leaves them."""
    found = {record.pk: record for record in rows}
    if found and stage.has(rows.model, EDIT):
        found |= {each.pk: each for each in stage.find(rows.model, "id", found, EDIT)}
    return list(found.values())


def with_keys(stage: Stage, model: type[Model], keys: Iterable[int | None]) -> list[Any]:
    """The records with these keys, existing or planned."""
    wanted = {key for key in keys if key}
    found: list[Any] = []
    for part in chunks(key for key in wanted if key > 0):
        found += as_planned(stage, model._default_manager.filter(pk__in=part))
    return found + stage.find(model, "id", [key for key in wanted if key < 0])


def pointing_to(stage: Stage, model: type[Any], column: str, keys: Iterable[int]) -> list[Any]:
    """The records that point to one of these others, existing or planned."""
    found: list[Any] = []
    wanted = set(keys)
    for part in chunks(key for key in wanted if key > 0):
        found += as_planned(stage, model._default_manager.filter(**{f"{column}__in": part}))
    return found + stage.find(model, column, wanted)


def read_drawings(known: Known, numbers: Iterable[Any] = (), keys: Iterable[int] = ()) -> None:
    """These drawings with all their revisions."""
    stage, found = known.stage, []
    wanted = in_capitals(
        str(number) for number in numbers if number and plain(str(number)) not in known.drawings
    )
    for part in chunks(wanted):
        found += as_planned(stage, Drawing.objects.filter(number_key__in=part))
    found += stage.find(Drawing, "number_key", wanted)
    found += with_keys(stage, Drawing, set(keys) - set(known.drawing_keys))
    fresh = {each.pk: each for each in found if each.pk not in known.drawing_keys}
    for drawing in fresh.values():
        known.add_drawing(drawing)
    revisions: list[DrawingRevision] = []
    for part in chunks(key for key in fresh if key > 0):
        revisions += as_planned(stage, DrawingRevision.objects.filter(drawing__in=part))
    revisions += stage.find(DrawingRevision, "drawing_id", fresh)
    for revision in revisions:
        revision.drawing = fresh[revision.drawing_id]
        known.add_revision(revision)


def read_pieces(known: Known, names: Iterable[Any]) -> None:
    """The pieces that these codes, old numbers or marks name."""
    stage = known.stage
    texts = {str(name).strip() for name in names if name}
    keys, codes = in_capitals(texts), {fold(text) for text in texts}
    found: list[Piece] = []
    for part in chunks(keys):
        found += as_planned(stage, Piece.objects.filter(mark_key__in=part))
    for part in chunks(codes):
        found += as_planned(stage, Piece.objects.filter(code__in=part))
    found += stage.find(Piece, "mark_key", keys, EDIT)
    for column, values in (("mark_key", keys), ("code", codes)):
        found += stage.find(Piece, column, values)
    aliases: list[PieceAlias] = stage.find(PieceAlias, "text_key", keys)
    for part in chunks(keys):
        aliases += PieceAlias.objects.filter(text_key__in=part)
    newer: dict[str, str] = {}
    for part in chunks(codes):
        newer |= {old: new for old, new in void_labels(part).items() if new}
    for part in chunks(newer.values()):
        found += as_planned(stage, Piece.objects.filter(code__in=part))
    found += with_keys(stage, Piece, (alias.piece_id for alias in aliases))
    add_pieces(known, found)
    for alias in aliases:
        known.pieces[plain(alias.text)] = known.piece_keys[alias.piece_id]
    for old, new in newer.items():
        if plain(new) in known.pieces:
            known.pieces[plain(old)] = known.pieces[plain(new)]


def add_pieces(known: Known, pieces: Iterable[Piece]) -> None:
    """Pieces with all that they point to."""
    fresh = {each.pk: each for each in pieces if each.pk not in known.piece_keys}
    read_drawings(known, keys=[piece.drawing_id for piece in fresh.values()])
    for piece in fresh.values():
        piece.drawing = known.drawing_keys[piece.drawing_id]
        piece.revision = known.revision_keys[piece.revision_id]
        piece.owner = known.owner_keys[piece.owner_id]
        piece.place = known.place_keys[piece.place_id]
        piece.home = known.place_keys.get(piece.home_id or 0)
        known.add_piece(piece)


def read_pieces_with(known: Known, keys: Iterable[int]) -> None:
    """The pieces with these keys, existing or planned."""
    add_pieces(known, with_keys(known.stage, Piece, set(keys) - set(known.piece_keys)))


def read_stock(known: Known, numbers: Iterable[Any], codes: Iterable[Any]) -> None:
    """The stock lines of these drawings, and those that have these labels."""
    stage = known.stage
    read_drawings(known, numbers)
    drawings = set(known.drawing_keys)
    labels = {fold(str(code)) for code in codes if code}
    found: list[StockLine] = []
    for part in chunks(key for key in drawings if key > 0):
        found += as_planned(stage, StockLine.objects.filter(drawing__in=part))
    for part in chunks(labels):
        found += as_planned(stage, StockLine.objects.filter(code__in=part))
    found += stage.find(StockLine, "drawing_id", drawings)
    found += stage.find(StockLine, "code", labels)
    read_drawings(known, keys=[line.drawing_id for line in found])
    for line in {line.pk: line for line in found}.values():
        line.drawing = known.drawing_keys[line.drawing_id]
        line.place = known.place_keys[line.place_id]
        line.owner = known.owner_keys[line.owner_id]
        known.add_stock(line)
