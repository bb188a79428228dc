"""The last things of a plan before it is written: label codes, paths, and the rows of history that
say what was imported. All of it outside the write, which then only copies."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from django.db.models import Model

from tooling.engineering.codes import make_code
from tooling.models import (
    Allotment,
    Change,
    Counter,
    DueBack,
    LengthEntry,
    Movement,
    Piece,
    PieceAlias,
    Place,
    Reading,
    Station,
    StockLine,
    ToolSet,
    Work,
    WorkMeasure,
)
from tooling.services.codes import place_letter
from tooling.services.importing.order import ORDER
from tooling.services.importing.places import path_from_outside_in
from tooling.services.importing.plan import Plan
from tooling.services.importing.stage import EDIT, Stage

HISTORY_ROWS = (Movement, DueBack, Reading, Work, WorkMeasure, LengthEntry)
BY_LABEL = (Piece, Place, StockLine)
"""Their changes are filed under their label code, as the services file them."""

Counters = dict[str, tuple[int, int]]
"""Kind letter → the next serial as it stands, and as the import leaves it."""


def prepare(plan: Plan) -> Counters:
    """Make the plan ready to be written; which counters it moves from where to where."""
    counters = _issue_codes(plan)
    path_from_outside_in(plan.records(Place))
    for records in plan.kept.values():
        plan.stage.put(records)
    _stage_changes(plan)
    return counters


def _issue_codes(plan: Plan) -> Counters:
    """Labels for what has none; what came with a code keeps it and is never issued again."""
    present = dict(Counter.objects.values_list("kind", "next_serial"))
    counters: Counters = {}
    for letter, highest in plan.brought_codes.items():
        now = present.get(letter, 1)
        counters[letter] = (now, max(now, highest + 1))
    for letter, records in _unlabelled(plan).items():
        for record, code in zip(records, _codes(letter, len(records), counters, present),
                                strict=True):  # fmt: skip
            record.code = code
    for model, letter in _letters(plan.stage):
        _label_rows(plan.stage, model, letter, counters, present)
    return counters


def _unlabelled(plan: Plan) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for model in (Place, ToolSet, Station):
        for record in plan.records(model):
            letter = {ToolSet: "T", Station: "M"}.get(model) or place_letter(record.kind)
            if not record.code:
                found.setdefault(letter, []).append(record)
    return found


def _codes(letter: str, count: int, counters: Counters, present: dict[str, int]) -> list[str]:
    """So many unused codes after those that were given out before."""
    now, serial = counters.get(letter) or (present.get(letter, 1),) * 2
    issued: list[str] = []
    while len(issued) < count:
        code = make_code(letter, serial)
        serial += 1
        if code is not None:
            issued.append(code)
    counters[letter] = (now, serial)
    return issued


def _letters(stage: Stage) -> Iterator[tuple[type[Model], str]]:
    if stage.has(Piece):
        sql = f"SELECT DISTINCT stage_said FROM {stage.of(Piece)} WHERE code = ''"
        for (letter,) in sorted(stage.rows(sql)):
            yield Piece, letter
    if stage.has(StockLine):
        yield StockLine, "B"


def _label_rows(
    stage: Stage, model: type[Model], letter: str, counters: Counters, present: dict[str, int]
) -> None:
    table = stage.of(model)
    which = f"code = '' AND stage_said = '{letter if model is Piece else ''}'"
    sql = f"SELECT id FROM {table} WHERE {which} AND"
    for page in stage.pages(sql, key="id", after=0, descending=True):
        codes = _codes(letter, len(page), counters, present)
        stage.run_many(
            f"UPDATE {table} SET code = %s WHERE id = %s",
            [(code, key) for code, (key,) in zip(codes, page, strict=True)],
        )


def _stage_changes(plan: Plan) -> None:
    """One row for every record that is made, edited or taken away."""
    for model in ORDER:
        if model not in HISTORY_ROWS and plan.stage.has(model):
            for page in _made(plan.stage, model):
                _put(plan, [
                    _change(plan, model, key, what="imported", after=after) for key, after in page
                ])  # fmt: skip
    for model in ORDER:
        if plan.stage.has(model, EDIT):
            for edits in _edited(plan.stage, model):
                _put(plan, [
                    _change(plan, model, key, what="edited", before=json.loads(before),
                            after=json.loads(after), reason="import")
                    for key, before, after in edits
                ])  # fmt: skip
    _put(plan, [
        _change(plan, type(record), key, what="removed", before=_allotted(record), reason="import")
        for record, key in plan.removed
    ])  # fmt: skip


def _put(plan: Plan, changes: Sequence[Any]) -> None:
    for each in changes:
        each.pk = plan.stage.number(Change)
        each.stage_key, each.stage_told, each.stage_said = "", 0, ""
    plan.stage.put(changes)


def _change(plan: Plan, model: type[Model], key: str, **more: Any) -> Any:
    return Change(at=plan.at, by=plan.by, subject=model.__name__, subject_key=key[:60], **more)


def _allotted(record: Any) -> dict[str, str]:
    return {"piece": str(record.piece), "position": str(record.position)}


def _made(stage: Stage, model: type[Model]) -> Iterator[list[tuple[str, dict[str, str]]]]:
    """Key and what the change says of every planned record, a page at a time."""
    if model in (PieceAlias, Allotment):
        yield from _made_of_pieces(stage, model)
        return
    names = {field.column for field in model._meta.concrete_fields}
    named = next((name for name in ("code", "number") if name in names), None)
    shown = named or "''"
    sql = f"SELECT id, stage_key, {shown} FROM {stage.of(model)} WHERE"
    for page in stage.pages(sql, key="id", after=0, descending=True):
        yield [
            (said if model in BY_LABEL else key, {"code": said} if said else {})
            for _id, key, said in page
        ]


def _made_of_pieces(stage: Stage, model: type[Model]) -> Iterator[list[tuple[str, dict[str, str]]]]:
    """Old numbers and allotments say which piece they are about, by its label."""
    said = "a.text" if model is PieceAlias else "a.stage_said"
    sql = (
        f"SELECT a.id, a.stage_key, {said}, COALESCE(n.code, p.code), COALESCE(n.mark, p.mark) "
        f"FROM {stage.of(model)} a LEFT JOIN {stage.of(Piece)} n ON n.id = a.piece_id "
        "LEFT JOIN tooling_piece p ON p.id = a.piece_id WHERE"
    )
    for page in stage.pages(sql, key="a.id", after=0, descending=True):
        if model is PieceAlias:
            yield [(code, {"text": text}) for _id, _key, text, code, _mark in page]
        else:
            yield [
                (key, {"piece": f"{code} {mark}".strip(), "position": position})
                for _id, key, position, code, mark in page
            ]


def _edited(stage: Stage, model: type[Model]) -> Iterator[list[tuple[str, str, str]]]:
    """What a person's sheet edited; what only follows from history is no edit."""
    key = "code" if model in BY_LABEL else "stage_key"
    sql = (
        f"SELECT id, {key}, stage_before, stage_after FROM {stage.of(model, EDIT)} "
        "WHERE stage_after <> '{}' AND"
    )
    for page in stage.pages(sql, key="id", after=0):
        yield [(name, before, after) for _id, name, before, after in page]
