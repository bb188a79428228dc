"""Writes a plan: one transaction, bulk statements in the order in which records need each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db import connection
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
from tooling.services.importing.aftermath import tell_kits
from tooling.services.importing.known import chunks
from tooling.services.importing.places import create_from_outside_in, renew_paths
from tooling.services.importing.plan import Edit, Plan, readable

ORDER: tuple[type[Model], ...] = (
    *(Owner, Place, Gauge, Drawing, DrawingRevision, Mill, DriveGroup, Station, MillShaft),
    *(Piece, PieceAlias, StockLine, ToolSet, SetVariant, SetPass, SetPosition, SetCopy),
    *(Allotment, SetupChart, ChartPass, Job, Movement, Reading, Work, WorkMeasure, LengthEntry),
)
"""Every model that a plan can make; each comes after those it points to."""

HISTORY_ROWS = (Movement, Reading, Work, WorkMeasure, LengthEntry)
MAY_SWAP = (Allotment, ChartPass)
"""Two of these may exchange what they point to, which no row by row update could do."""
BATCH = 400


def write_plan(plan: Plan, *, by: Person | None) -> None:
    """Make, change and take away everything in the plan. Call inside ``writing()``."""
    _issue_codes(plan)
    _write_edits([edit for edit in plan.edits.values() if _frees(edit)])
    for record, _key in plan.removed:
        record.delete()
    for model in ORDER:
        _create(model, list(plan.records(model)), by)
    _write_edits([edit for edit in plan.edits.values() if not _frees(edit)])
    renew_paths(edit.record for edit in plan.edits.values() if isinstance(edit.record, Place))
    _settle_stock(plan)
    _settle_places(plan)
    _settle_carts(plan)
    for part in chunks(piece.pk for piece, _outcome in plan.resized.values()):
        derived.refresh_sizes(part)
    for part in chunks(entry.piece_id for entry in plan.records(LengthEntry)):
        derived.refresh_length_run(part)
    tell_kits(plan, by=by)
    _leave_changes(plan, by)


def _create(model: type[Model], records: list[Any], by: Person | None) -> None:
    for record in records:
        if isinstance(record, (Movement, Reading, Work, LengthEntry)):
            record.by = by
    if model is Place:
        create_from_outside_in(records)
    else:
        model._default_manager.bulk_create(records, batch_size=BATCH)


def _frees(edit: Edit) -> bool:
    """What gives up being the only one (the shop, the current revision) makes room for the next."""
    return any(value is False for value in edit.after.values())


def _letter(record: Any) -> str | None:
    if isinstance(record, Piece):
        return codes.PIECE_LETTERS[record.drawing.kind]
    if isinstance(record, Place):
        return codes.place_letter(record.kind)
    return {StockLine: "B", ToolSet: "T", Station: "M"}.get(type(record))


def _issue_codes(plan: Plan) -> None:
    """Labels for what has none; what came with a code keeps it and is never issued again."""
    wanting: dict[str, list[Any]] = {}
    brought: list[str] = []
    for records in plan.created.values():
        for record in records:
            letter, code = _letter(record), str(getattr(record, "code", ""))
            if letter is not None and code:
                brought.append(code)
            elif letter is not None:
                wanting.setdefault(letter, []).append(record)
    codes.step_past(brought)
    for letter, lacking in wanting.items():
        issued = codes.next_codes(kind=letter, count=len(lacking))
        for unlabelled, label in zip(lacking, issued, strict=True):
            unlabelled.code = label


def _write_edits(edits: Iterable[Edit]) -> None:
    """One bulk statement for all records whose same fields change."""
    alike: dict[tuple[type[Model], tuple[str, ...]], list[Any]] = defaultdict(list)
    swapping: dict[type[Model], list[Any]] = defaultdict(list)
    for edit in edits:
        if isinstance(edit.record, MAY_SWAP):
            swapping[type(edit.record)].append(edit.record)
        else:
            alike[type(edit.record), tuple(sorted(edit.after))].append(edit.record)
    for (model, fields), records in alike.items():
        model._default_manager.bulk_update(records, fields, batch_size=BATCH)
    for model, records in swapping.items():
        model._default_manager.filter(pk__in=[record.pk for record in records]).delete()
        model._default_manager.bulk_create(records, batch_size=BATCH)


def _settle_stock(plan: Plan) -> None:
    lines = {m.stock.pk: m.stock for m in plan.records(Movement) if m.stock is not None}
    StockLine.objects.bulk_update(list(lines.values()), ["count"], batch_size=BATCH)


def _settle_places(plan: Plan) -> None:
    """A piece is where its movement put it; written row by row, far faster than by CASE."""
    adapt = connection.ops.adapt_datetimefield_value
    rows = [
        (row.to_id, row.pk, adapt(row.effective_at), adapt(row.received_at), row.piece_id)
        for row in plan.records(Movement)
        if row.piece is not None
    ]
    if rows:
        with connection.cursor() as cursor:
            cursor.executemany(
                "UPDATE tooling_piece SET place_id = %s, placed_by_id = %s, "
                "placed_effective_at = %s, placed_received_at = %s WHERE id = %s",
                rows,
            )


def _settle_carts(plan: Plan) -> None:
    carts = []
    for row in plan.records(Movement):
        if row.cart is not None:
            row.cart.placed_by = row
            row.cart.placed_effective_at = row.effective_at
            row.cart.placed_received_at = row.received_at
            carts.append(row.cart)
    placed = ["placed_by", "placed_effective_at", "placed_received_at"]
    Place.objects.bulk_update(carts, placed, batch_size=BATCH)


def _leave_changes(plan: Plan, by: Person | None) -> None:
    made = [
        _change(plan, by, record, plan.keys[id(record)], what="imported", after=_after(record))
        for model, records in plan.created.items()
        if model not in HISTORY_ROWS
        for record in records
    ]
    edited = [
        _change(
            plan, by, edit.record, edit.key, what="edited", before=edit.before, after=edit.after,
            reason="import",
        )
        for edit in plan.edits.values()
    ]  # fmt: skip
    removed = [
        _change(plan, by, record, key, what="removed", before=_after(record), reason="import")
        for record, key in plan.removed
    ]
    Change.objects.bulk_create([*made, *edited, *removed], batch_size=BATCH)


def _change(plan: Plan, by: Person | None, record: Any, key: str, **more: Any) -> Change:
    """Filed under the key by which the services file theirs."""
    if isinstance(record, (Piece, Place, StockLine)):
        key = record.code
    elif isinstance(record, PieceAlias):
        key = record.piece.code
    return Change(at=plan.at, by=by, subject=type(record).__name__, subject_key=key[:60], **more)


def _after(record: Any) -> dict[str, Any]:
    if isinstance(record, Allotment):
        return {"piece": readable(record.piece), "position": readable(record.position)}
    if isinstance(record, PieceAlias):
        return {"text": record.text}
    code = getattr(record, "code", None) or getattr(record, "number", None)
    return {"code": readable(code)} if code else {}
