"""Whether the shop's records moved under a plan, in anything that the plan rests on.

Scans go on while an import is prepared: those of other pieces do not matter, and a shop that
scans all day can still import. What matters is looked at again inside the write.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from django.db import connection
from django.db.models import Max, Model

from tooling.models import Change, LengthEntry, Movement, Piece, Place, Reading, StockLine, Work
from tooling.services.importing.plan import Plan
from tooling.services.importing.stage import EDIT, NEW, Stage

LEDGERS: tuple[type[Model], ...] = (Change, Movement, Reading, Work, LengthEntry)
WINDOW = 10_000
"""PostgreSQL gives out keys before rows are committed: a smaller key may appear after a larger
one. So many of the last keys are therefore counted as well."""

EVERYWHERE = ("Owner", "Place")
OF_PIECES = ("Drawing", "DrawingRevision", "DrawingFeature", "Piece", "PieceAlias")
OF_MILLS = ("Mill", "DriveGroup", "Station", "MillShaft")
OF_SETS = ("ToolSet", "SetVariant", "SetPass", "SetPosition", "SetCopy", "Allotment")
RESTS_ON: dict[str, tuple[str, ...]] = {
    "owners": (),
    "places": OF_MILLS,
    "mills": OF_MILLS,
    "drawings": OF_PIECES,
    "features": OF_PIECES,
    "pieces": OF_PIECES,
    "stock": (*OF_PIECES, "StockLine"),
    "sets": (*OF_PIECES, *OF_SETS, "Kit"),
    "paper_sets": OF_SETS,
    "fills": (*OF_SETS, "SetFill"),
    "characteristics": (*OF_SETS, "Characteristic"),
    "charts": (*OF_PIECES, *OF_MILLS, *OF_SETS, "SetupChart", "ChartPass"),
    "axes": (*OF_MILLS, *OF_SETS, "SetupChart", "ChartPass", "ChartAxis"),
    "gauges": ("Gauge",),
    "gauge_points": (*OF_PIECES, "GaugePoint"),
    "regrinds": OF_PIECES,
    "readings": (*OF_PIECES, "Gauge"),
    "length_run": OF_PIECES,
    "jobs": (*OF_MILLS, *OF_SETS, "Job", "Kit"),
}
"""Whose edits make a plan of this kind of sheet stale, by the model's name."""

WHEN_PIECES_MOVE = ("Kit", "Job", "Approval", "Incident")


@dataclass(frozen=True)
class Base:
    """The state of the ledgers when a plan was begun: newest key, and how many of the last."""

    newest: dict[type[Model], tuple[int, int]]


def base() -> Base:
    """Ten short statements."""
    found = {}
    for model in LEDGERS:
        last = model._default_manager.aggregate(last=Max("pk"))["last"] or 0
        found[model] = (last, _count(model, last))
    return Base(found)


def _count(model: type[Model], last: int) -> int:
    return model._default_manager.filter(pk__gt=last - WINDOW, pk__lte=last).count()


Blocks = Mapping[type[Model], tuple[int, int]]
"""First and last key of the rows that the plan itself has written."""


def is_stale(since: Base, plan: Plan, own: Blocks = MappingProxyType({})) -> bool:
    """Whether anything that the plan rests on came in since, beside its ``own`` rows."""
    if connection.vendor == "postgresql":
        for model, (last, count) in since.newest.items():
            if _count(model, last) != count:
                return True
    return _edited(since, plan, own) or _moved(since, plan, own)


def _edited(since: Base, plan: Plan, own: Blocks) -> bool:
    subjects = set(EVERYWHERE)
    for kind in plan.kinds:
        subjects.update(RESTS_ON[kind])
    if plan.has_moves:
        subjects.update(WHEN_PIECES_MOVE)
    marks = ", ".join(["%s"] * len(subjects))
    return _any(plan.stage, since, own, Change, f"subject IN ({marks})", sorted(subjects))


def _moved(since: Base, plan: Plan, own: Blocks) -> bool:
    """New rows of history about pieces, bins and carts that the plan writes about."""
    stage = plan.stage
    pieces = _keys(stage, Piece, (Movement, Reading, Work, LengthEntry), "piece_id")
    lines = _keys(stage, StockLine, (Movement,), "stock_id")
    asked: list[tuple[type[Model], str]] = []
    if pieces:
        ledgers = (Movement, Reading, Work, LengthEntry)
        asked += [(model, f"piece_id IN ({pieces})") for model in ledgers]
    if lines:
        asked.append((Movement, f"stock_id IN ({lines}) OR stock_to_id IN ({lines})"))
    if stage.has(Place, NEW) or stage.has(Place, EDIT):
        asked.append((Movement, "cart_id IS NOT NULL"))
    return any(_any(stage, since, own, model, condition) for model, condition in asked)


def _keys(stage: Stage, subject: type[Model], history: Iterable[type[Model]], column: str) -> str:
    """A query of the existing records that the plan writes about; nothing where there are none."""
    found = [f"SELECT id FROM {stage.of(subject, EDIT)}"] if stage.has(subject, EDIT) else []
    found += [
        f"SELECT {column} FROM {stage.of(model)} WHERE {column} > 0"
        for model in history
        if stage.has(model)
    ]
    return " UNION ".join(found)


def _any(
    stage: Stage, since: Base, own: Blocks, model: type[Model], condition: str,
    values: Sequence[str] = (),
) -> bool:  # fmt: skip
    table = connection.ops.quote_name(model._meta.db_table)
    first, last = own.get(model, (0, 0))
    sql = (
        f"SELECT 1 FROM {table} WHERE id > %s AND NOT id BETWEEN %s AND %s AND ({condition}) "
        "LIMIT 1"
    )
    return bool(stage.rows(sql, [since.newest[model][0], first, last, *values]))
