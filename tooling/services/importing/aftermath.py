"""What an import means for the kits that are being gathered."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tooling.models import (
    DrawingRevision,
    Job,
    Kit,
    KitPosition,
    KitState,
    LengthEntry,
    Mill,
    MillShaft,
    Movement,
    Person,
    Piece,
    SetPosition,
    Station,
    StockLine,
)
from tooling.services import staging
from tooling.services.importing.plan import Plan
from tooling.services.touched import touch_kits_of
from tooling.services.write import bump, lock


def moves_of(plan: Plan) -> list[staging.Moved]:
    """The moves of saved pieces to saved places, as staging is told of them."""
    return [
        staging.Moved(
            piece_id=movement.piece.pk,
            from_place_id=movement.from_seen.pk if movement.from_seen else None,
            to_place_id=movement.to.pk,
            kit_id=None,
        )
        for movement, _outcome in plan.moves
        if movement.piece.pk and movement.to.pk
    ]


def refuse_wrong_staging(plan: Plan) -> None:
    """A piece that may not come into the kit whose gathering place a sheet puts it in."""
    moves = moves_of(plan)
    refused = staging.check_may_stage(moves=moves, at=plan.at) if moves else {}
    for movement, outcome in plan.moves:
        error = refused.get(movement.piece.pk)
        if error is not None:
            plan.refuse(outcome, "place", error)


def hold_rows(plan: Plan) -> None:
    """Lock what the plan's history rows will change, in the house's order."""
    pieces = {piece.pk for piece, _outcome in plan.resized.values() if piece.pk}
    stock = {row.stock.pk for row in plan.records(Movement) if row.stock is not None}
    lock(
        kits=_open_kits(),
        pieces=pieces | {move.piece_id for move in moves_of(plan)},
        stock={key for key in stock if key},
    )


def _open_kits() -> list[int]:
    return list(Kit.objects.exclude(state=KitState.CLOSED).values_list("pk", flat=True))


def tell_kits(plan: Plan, *, by: Person | None) -> None:
    """Staged flags and versions of every open kit that shows what the plan wrote."""
    edited = [edit.record for edit in plan.edits.values()]
    pieces = {each.pk for each in _of(Piece, edited)}
    pieces |= {piece.pk for piece, _outcome in plan.resized.values()}
    pieces |= {entry.piece_id for entry in plan.records(LengthEntry)}
    drawings = {
        each.drawing_id
        for each in (
            *_of(DrawingRevision, edited), *plan.records(DrawingRevision),
            *plan.records(Piece), *_of(StockLine, edited),
        )
    }  # fmt: skip
    counted = [row for row in plan.records(Movement) if row.stock is not None]
    drawings |= {row.stock.drawing_id for row in counted}
    touch_kits_of(pieces=pieces, drawings=drawings)
    _bump_further(edited)
    moves = moves_of(plan)
    if moves:
        staging.after_moves(by=by, at=plan.at, moves=moves)
    stock = [
        staging.StockMoved(row.stock_id, row.stock_id, abs(row.quantity), None) for row in counted
    ]
    if stock:
        staging.after_stock_moves(by=by, at=plan.at, moves=stock)


def _of(model: type[Any], records: Iterable[Any]) -> list[Any]:
    return [record for record in records if isinstance(record, model)]


def _bump_further(edited: list[Any]) -> None:
    """Kits of edited jobs, mills and positions."""
    mills = {each.pk for each in _of(Mill, edited)}
    mills |= {each.mill_id for each in _of(Station, edited)}
    mills |= {each.station.mill_id for each in _of(MillShaft, edited)}
    still_open = Kit.objects.exclude(state=KitState.CLOSED)
    kits = set(still_open.filter(job__in=_of(Job, edited)).values_list("pk", flat=True))
    kits |= set(still_open.filter(job__mill__in=mills).values_list("pk", flat=True))
    positions = KitPosition.objects.filter(is_open=True, set_position__in=_of(SetPosition, edited))
    bump(kits | set(positions.values_list("kit_id", flat=True)))
