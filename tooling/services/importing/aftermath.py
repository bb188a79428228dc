"""What an import means for the kits that are being gathered."""

from __future__ import annotations

from collections.abc import Iterator

from tooling.models import (
    Drawing,
    DrawingRevision,
    GaugePoint,
    Job,
    LengthEntry,
    Mill,
    MillShaft,
    Movement,
    Piece,
    Place,
    Reading,
    SetPosition,
    Station,
    StockLine,
    Work,
)
from tooling.services import staging
from tooling.services.importing.apply import Writer
from tooling.services.importing.plan import Plan
from tooling.services.importing.stage import CHUNK, EDIT, NEW, Stage
from tooling.services.wear_states import refresh_wear
from tooling.services.write import bump, lock

OPEN_KITS = "SELECT id FROM tooling_kit WHERE state <> 'closed'"


def refuse_wrong_moves(plan: Plan) -> None:
    """Pieces of this part that may not go where a sheet puts them: into a kit that does not want
    them, or where their owner has not agreed to what is done with them."""
    moves = [
        staging.Moved(movement.piece_id, movement.from_seen_id, movement.to_id, None)
        for movement, _outcome in plan.moves
        if movement.to_id > 0
    ]
    plan.has_moves = plan.has_moves or bool(plan.moves)
    refused = staging.check_may_move(moves=moves, at=plan.at) if moves else {}
    for movement, outcome in plan.moves:
        error = refused.get(movement.piece_id)
        if error is not None:
            plan.refuse(outcome, "place", error)


def hold_rows(stage: Stage) -> None:
    """Lock what exists and changes, in the house's order."""
    kits = [key for (key,) in stage.rows(OPEN_KITS)]
    pieces = _existing(stage, Piece)
    stock = _existing(stage, StockLine)
    if pieces or stock:
        lock(kits=kits)
    for model, keys in (("pieces", pieces), ("stock", stock)):
        for at in range(0, len(keys), CHUNK):
            lock(**{model: keys[at : at + CHUNK]})  # type: ignore[arg-type]


def _existing(stage: Stage, model: type[Piece] | type[StockLine]) -> list[int]:
    """By code, so that parts of them are held in the same order as all."""
    if not stage.has(model, EDIT):
        return []
    return [key for (key,) in stage.rows(f"SELECT id FROM {stage.of(model, EDIT)} ORDER BY code")]


def tell_kits(plan: Plan, writer: Writer) -> None:
    """Staged flags and versions of every open kit that shows what the plan wrote."""
    refresh_wear(_told_of(plan.stage, writer), at=plan.at)
    bump(set(_kits_of_pieces(plan.stage)) | set(_kits_of_plans(plan.stage)))
    for moves in _moves(plan.stage, writer):
        staging.after_moves(by=plan.by, at=plan.at, moves=moves)
    for stock in _stock(plan.stage, writer):
        staging.after_stock_moves(by=plan.by, at=plan.at, moves=stock)


def _told_of(stage: Stage, writer: Writer) -> set[int]:
    """Pieces of which the sheets tell readings, work or length run, and those whose drawings'
    gauge points they change."""
    found = {
        writer.key(Piece, piece)
        for model in (Reading, LengthEntry, Work)
        if stage.has(model)
        for (piece,) in stage.rows(f"SELECT DISTINCT piece_id FROM {stage.of(model)}")
    }
    drawings = {
        writer.key(Drawing, drawing)
        for kind in (NEW, EDIT)
        if stage.has(GaugePoint, kind)
        for (drawing,) in stage.rows(
            f"SELECT DISTINCT drawing_id FROM {stage.of(GaugePoint, kind)}"
        )
    }
    if drawings:
        found |= set(Piece.objects.filter(drawing__in=drawings).values_list("pk", flat=True))
    return found


def _kits_of_pieces(stage: Stage) -> Iterator[int]:
    """Kits that claim an edited piece or call for a drawing of which something is new."""
    drawings = [
        f"SELECT drawing_id FROM {stage.of(model, kind)}"
        for model in (DrawingRevision, Piece, StockLine)
        for kind in (NEW, EDIT)
        if stage.has(model, kind) and (model, kind) != (Piece, EDIT)
    ]
    asked = [f"drawing_id IN ({' UNION '.join(drawings)})"] if drawings else []
    if stage.has(Piece, EDIT):
        asked.append(f"piece_id IN (SELECT id FROM {stage.of(Piece, EDIT)})")
    if stage.has(SetPosition, EDIT):
        asked.append(f"set_position_id IN (SELECT id FROM {stage.of(SetPosition, EDIT)})")
    if asked:
        for (key,) in stage.rows(
            "SELECT DISTINCT kit_id FROM tooling_kitposition WHERE is_open AND "
            f"({' OR '.join(asked)})"
        ):
            yield key


def _kits_of_plans(stage: Stage) -> Iterator[int]:
    """Kits of edited jobs and mills."""
    mills = [
        sql.format(stage.of(model, EDIT))
        for model, sql in (
            (Mill, "SELECT id FROM {}"),
            (Station, "SELECT mill_id FROM {}"),
            (MillShaft, "SELECT s.mill_id FROM {} e JOIN tooling_station s ON s.id = e.station_id"),
        )
        if stage.has(model, EDIT)
    ]
    asked = [f"job.mill_id IN ({' UNION '.join(mills)})"] if mills else []
    if stage.has(Job, EDIT):
        asked.append(f"job.id IN (SELECT id FROM {stage.of(Job, EDIT)})")
    if asked:
        for (key,) in stage.rows(
            "SELECT kit.id FROM tooling_kit kit JOIN tooling_job job ON job.id = kit.job_id "
            f"WHERE kit.state <> 'closed' AND ({' OR '.join(asked)})"
        ):
            yield key


def _moves(stage: Stage, writer: Writer) -> Iterator[list[staging.Moved]]:
    """The moves of pieces that were there before, as staging is told of them."""
    if stage.has(Piece, EDIT) and stage.has(Movement):
        sql = (
            f"SELECT id, piece_id, from_seen_id, to_id FROM {stage.of(Movement)} "
            "WHERE piece_id > 0 AND"
        )
        for page in stage.pages(sql, key="id", after=0, descending=True, size=CHUNK):
            yield [
                staging.Moved(piece, came_from, writer.key(Place, to), None)
                for _id, piece, came_from, to in page
            ]


def _stock(stage: Stage, writer: Writer) -> Iterator[list[staging.StockMoved]]:
    """What was counted, of drawings that open kits call for."""
    if not stage.has(Movement):
        return
    lines = [
        f"SELECT id FROM {stage.of(StockLine, kind)} WHERE drawing_id IN "
        "(SELECT drawing_id FROM tooling_kitposition WHERE is_open)"
        for kind in (NEW, EDIT)
        if stage.has(StockLine, kind)
    ]
    if lines:
        sql = (
            f"SELECT id, stock_id, quantity FROM {stage.of(Movement)} "
            f"WHERE stock_id IN ({' UNION '.join(lines)}) AND"
        )
        for page in stage.pages(sql, key="id", after=0, descending=True, size=CHUNK):
            moved = [(writer.key(StockLine, line), abs(count)) for _id, line, count in page]
            yield [staging.StockMoved(line, line, count, None) for line, count in moved]
