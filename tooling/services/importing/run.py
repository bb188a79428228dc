"""Reads an import's sheets part by part and has each planned: the whole way from files to plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from tooling.errors import ToolingError
from tooling.models import Import, Person
from tooling.services import files
from tooling.services.importing import (
    charts,
    drawings,
    gaps,
    jobs,
    mills,
    past,
    pieces,
    present,
    sets,
    shop,
    stock,
    tools,
)
from tooling.services.importing.aftermath import refuse_wrong_moves
from tooling.services.importing.known import Known
from tooling.services.importing.plan import Plan
from tooling.services.importing.stage import Stage
from tooling.spreadsheets.entries import open_entries
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import Problem, Row, iterate
from tooling.spreadsheets.sheets import Sheet

Planner = Callable[[list[Row], Plan, Known], None]
PLANNERS: dict[str, Planner] = {
    "owners": shop.plan_owners,
    "places": shop.plan_places,
    "mills": mills.plan_mills,
    "drawings": drawings.plan_drawings,
    "features": tools.plan_features,
    "pieces": pieces.plan_pieces,
    "stock": stock.plan_stock,
    "sets": sets.plan_sets,
    "paper_sets": sets.plan_paper_sets,
    "fills": gaps.plan_fills,
    "characteristics": gaps.plan_characteristics,
    "charts": charts.plan_charts,
    "axes": gaps.plan_axes,
    "gauges": tools.plan_gauges,
    "gauge_points": tools.plan_gauge_points,
    "regrinds": past.plan_regrinds,
    "readings": past.plan_readings,
    "length_run": past.plan_length_run,
    "jobs": jobs.plan_jobs,
}
"""By kind of sheet, in the order in which an empty shop is filled."""

AFTERWARDS: dict[str, Callable[[Plan, Known], None]] = {
    "owners": shop.plan_waiting_owners,
    "mills": shop.plan_waiting_places,
    "sets": sets.plan_after_sets,
    "charts": charts.plan_after_charts,
}
"""What is looked at when all sheets of a kind are read, also where there are none."""

ROWS_AT_ONCE = 400
READ_SHARE = 0.75
Progress = Callable[[float, str], None]
"""Told how far the work is, 0 to 1, and what it does; may raise to stop it."""


def nobody_asks(share: float, message: str) -> None:
    """For work that is done at once."""


def plan_import(
    *, made: Import, by: Person | None, at: datetime, stage: Stage, progress: Progress
) -> Plan:
    """What the import would do. Reads only; the plan lies in the stage's tables."""
    plan, known = Plan(by=by, at=at, stage=stage), Known(stage)
    by_kind: dict[str, list[tuple[Sheet, Mapping]]] = {}
    total = 0
    for entry, sheet in _tables(made):
        if entry.get("mapping") is None:
            plan.problems.append(_unclear(sheet))
            continue
        mapping = Mapping.from_dict(entry["mapping"])
        plan.read_as(sheet.name, mapping.columns)
        by_kind.setdefault(mapping.kind, []).append((sheet, mapping))
        total += int(entry.get("body") or 0)
    done = 0
    for kind, planner in PLANNERS.items():
        plan.kinds.update(by_kind.keys() & {kind})
        for sheet, mapping in by_kind.get(kind, ()):
            for rows in _parts(sheet, mapping, plan):
                known.begin_part()
                planner(rows, plan, known)
                refuse_wrong_moves(plan)
                plan.flush()
                done += len(rows)
                progress(READ_SHARE * _share(done, total), _rows(done, total))
        if kind in AFTERWARDS:
            known.begin_part()
            AFTERWARDS[kind](plan, known)
            plan.flush()
    present.settle(
        plan,
        known,
        lambda share: progress(READ_SHARE + (1 - READ_SHARE) * share, _("Sizes and length run")),
    )
    plan.close()
    return plan


def _share(done: int, total: int) -> float:
    return min(1.0, done / total) if total else 0.5


def _rows(done: int, total: int) -> str:
    return _("{done} of {all} rows").format(done=done, all=max(done, total))


def _parts(sheet: Sheet, mapping: Mapping, plan: Plan) -> Iterator[list[Row]]:
    """The sheet's good rows, some hundred at a time; its problems go to the plan on the way.

    A sheet that cannot be read to its end is one problem.
    """
    part: list[Row] = []
    try:
        for each in iterate(sheet, mapping):
            if isinstance(each, Row):
                part.append(each)
            else:
                plan.problems.append(each)
            if len(part) + len(plan.problems) >= ROWS_AT_ONCE:
                yield part
                part = []
    except ToolingError as error:
        plan.problems.append(
            Problem(sheet.name, sheet.heading_row, "", "", error.code, error.message)
        )
    if part or plan.problems:
        yield part


def _tables(made: Import) -> Iterator[tuple[dict[str, Any], Sheet]]:
    """The tables that are not left out, each under a name of its own."""
    entries = made.mapping["sheets"]
    for name, path in sources(made):
        yield from open_entries(path, name=name, entries=entries)


def sources(made: Import) -> Iterator[tuple[str, Path]]:
    """Name and place on the disk of every file. Raises Unknown ``file_missing``."""
    for each in made.files.select_related("file").order_by("pk"):
        files.open_file(each.file).close()
        yield each.name, files.path_of(each.file)


def _unclear(sheet: Sheet) -> Problem:
    kinds = ", ".join(str(kind.label) for kind in KINDS.values())
    message = _(
        "What this sheet holds is not clear from its headings. Choose one of: {kinds}; or "
        "leave the sheet out."
    ).format(kinds=kinds)
    return Problem(sheet.name, sheet.heading_row, "", "", "unclear_sheet", message)
