"""Writes a plan: one transaction, bulk inserts in the order in which records need each other."""

from __future__ import annotations

from typing import Any

from django.db.models import Model

from tooling.models import (
    Allotment,
    Change,
    ChartPass,
    Drawing,
    DrawingRevision,
    DriveGroup,
    Gauge,
    Job,
    LengthEntry,
    Mill,
    MillShaft,
    Movement,
    Owner,
    Person,
    Piece,
    PieceAlias,
    Place,
    Reading,
    SetCopy,
    SetPass,
    SetPosition,
    SetupChart,
    SetVariant,
    Station,
    StockLine,
    ToolSet,
    Work,
    WorkMeasure,
)
from tooling.services import codes, derived
from tooling.services.importing.plan import Edit, Plan, readable

ORDER: tuple[type[Model], ...] = (
    *(Owner, Place, Gauge, Drawing, DrawingRevision, Mill, DriveGroup, Station, MillShaft),
    *(Piece, PieceAlias, StockLine, ToolSet, SetVariant, SetPass, SetPosition, SetCopy),
    *(Allotment, SetupChart, ChartPass, Job, Movement, Reading, Work, WorkMeasure, LengthEntry),
)
"""Every model that a plan can make; each comes after those it points to."""

HISTORY_ROWS = (Movement, Reading, Work, WorkMeasure, LengthEntry)
BATCH = 400


def write_plan(plan: Plan, *, by: Person | None) -> None:
    """Make and change everything in the plan. Call inside ``writing()``."""
    _issue_codes(plan)
    for edit in plan.edits.values():
        _write_edit(edit)
    for model in ORDER:
        records = list(plan.records(model))
        if model is Movement:
            _settle_stock(records)
        for record in records:
            _complete(record, by)
        if model is Place:
            _create_from_outside_in(records)
        else:
            model._default_manager.bulk_create(records, batch_size=BATCH)
    _settle_places(plan)
    pieces = {piece.pk for piece in plan.resized.values()}
    derived.refresh_sizes(pieces)
    derived.refresh_length_run(entry.piece_id for entry in plan.records(LengthEntry))
    _leave_changes(plan, by)


def _create_from_outside_in(places: list[Place]) -> None:
    """A place needs its parent saved: one bulk insert for each depth of nesting."""
    waiting = places
    while waiting:
        ready = [place for place in waiting if place.parent is None or place.parent.pk]
        Place.objects.bulk_create(ready, batch_size=BATCH)
        waiting = [place for place in waiting if place.pk is None]


def _letter(record: Any) -> str | None:
    if isinstance(record, Piece):
        return codes.PIECE_LETTERS[record.drawing.kind]  # type: ignore[index]
    if isinstance(record, Place):
        return codes.place_letter(record.kind)
    return {StockLine: "B", ToolSet: "T", Station: "M"}.get(type(record))


def _issue_codes(plan: Plan) -> None:
    """Labels for what has none; what came with a code keeps it and is never issued again."""
    wanting: dict[str, list[Any]] = {}
    brought: list[str] = []
    for records in plan.created.values():
        for record in records:
            letter = _letter(record)
            if letter is None:
                continue
            if record.code:
                brought.append(record.code)
            else:
                wanting.setdefault(letter, []).append(record)
    codes.step_past(brought)
    for letter, records in wanting.items():
        for record, code in zip(
            records, codes.next_codes(kind=letter, count=len(records)), strict=True
        ):
            record.code = code


def _complete(record: Any, by: Person | None) -> None:
    """What only the write can know: a place's path, who brought it in."""
    if isinstance(record, Place):
        record.path = f"{record.parent.path if record.parent else '/'}{record.code}/"
    if isinstance(record, (Movement, Reading, Work, LengthEntry)):
        record.by = by


def _write_edit(edit: Edit) -> None:
    type(edit.record)._default_manager.filter(pk=edit.record.pk).update(
        **{name: getattr(edit.record, name) for name in edit.after}
    )


def _settle_stock(movements: list[Movement]) -> None:
    lines = {m.stock.pk: m.stock for m in movements if m.stock is not None}
    StockLine.objects.bulk_update(list(lines.values()), ["count"], batch_size=BATCH)


def _settle_places(plan: Plan) -> None:
    pieces: list[Piece] = []
    for movement in plan.records(Movement):
        if movement.piece is not None:
            piece = movement.piece
            piece.placed_by, piece.place = movement, movement.to
            piece.placed_effective_at = movement.effective_at
            piece.placed_received_at = movement.received_at
            pieces.append(piece)
    fields = ["place", "placed_by", "placed_effective_at", "placed_received_at"]
    Piece.objects.bulk_update(pieces, fields, batch_size=BATCH)


def _leave_changes(plan: Plan, by: Person | None) -> None:
    made = [
        Change(
            at=plan.at,
            by=by,
            subject=model.__name__,
            subject_key=plan.keys[id(record)][:60],
            what="imported",
            after=_after(record),
        )
        for model, records in plan.created.items()
        if model not in HISTORY_ROWS
        for record in records
    ]
    edited = [
        Change(
            at=plan.at,
            by=by,
            subject=type(edit.record).__name__,
            subject_key=edit.key[:60],
            what="edited",
            before=edit.before,
            after=edit.after,
            reason="import",
        )
        for edit in plan.edits.values()
    ]
    Change.objects.bulk_create([*made, *edited], batch_size=BATCH)


def _after(record: Model) -> dict[str, Any]:
    code = getattr(record, "code", None) or getattr(record, "number", None)
    return {"code": readable(code)} if code else {}
