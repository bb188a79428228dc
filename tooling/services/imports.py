"""Bringing spreadsheets in: files, mapping, preview, then all or nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError
from django.db.models import Max
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Change,
    Import,
    ImportFile,
    ImportMapping,
    ImportState,
    LengthEntry,
    Movement,
    Person,
    Reading,
    Work,
)
from tooling.permissions import Verb, check_can
from tooling.services import files
from tooling.services.importing import (
    charts,
    drawings,
    jobs,
    mills,
    past,
    pieces,
    present,
    sets,
    shop,
    stock,
)
from tooling.services.importing.aftermath import hold_rows, refuse_wrong_staging
from tooling.services.importing.apply import write_plan
from tooling.services.importing.known import Known
from tooling.services.importing.plan import Plan
from tooling.services.write import record_change, writing
from tooling.spreadsheets.entries import guess_entries, open_entries, titled, worth_keeping
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import Problem, Row, read_rows
from tooling.spreadsheets.sheets import Sheet

Planner = Callable[[list[Row], Plan, Known], None]
PLANNERS: dict[str, Planner] = {
    "owners": shop.plan_owners,
    "places": shop.plan_places,
    "mills": mills.plan_mills,
    "drawings": drawings.plan_drawings,
    "pieces": pieces.plan_pieces,
    "stock": stock.plan_stock,
    "sets": sets.plan_sets,
    "paper_sets": sets.plan_paper_sets,
    "charts": charts.plan_charts,
    "regrinds": past.plan_regrinds,
    "readings": past.plan_readings,
    "length_run": past.plan_length_run,
    "jobs": jobs.plan_jobs,
}
"""By kind of sheet, in the order in which an empty shop is filled."""

PREVIEW_ROWS = 400
LONGEST_NAME = 150
ATTEMPTS = 3
OPEN_STATES = (ImportState.MAPPING, ImportState.READY, ImportState.PROBLEMS)


@dataclass(frozen=True)
class Brought:
    """One file as it came: its name and its bytes."""

    name: str
    data: bytes


def bring(
    *,
    by: Person,
    at: datetime,
    brought: Sequence[Brought],
    mapping_name: str = "",
) -> Import:
    """Keep the files, guess what each sheet holds, and work out what applying would do.

    Raises ToolingError ``no_spreadsheet`` and its kin, ``no_files``, ``unknown_mapping``.
    """
    check_can(by, Verb.IMPORT)
    if not brought:
        raise ToolingError("no_files", _("Choose at least one spreadsheet."))
    kept = _kept_mapping(mapping_name)
    brought = _told_apart(brought)
    entries = [
        entry for each in brought for entry in guess_entries(each.data, name=each.name, kept=kept)
    ]
    mapping = {"sheets": titled(entries)}
    stored = [files.store(data=each.data, at=at) for each in brought]
    with writing():
        made = Import.objects.create(
            state=ImportState.MAPPING, mapping=mapping, by=by, created_at=at
        )
        for each, file in zip(brought, stored, strict=True):
            ImportFile.objects.create(brought_by=made, file=file, name=each.name)
    return look_over(by=by, at=at, made=made)


def _told_apart(brought: Sequence[Brought]) -> list[Brought]:
    """Two files of one name get a number; a name longer than is kept loses its beginning."""
    taken: set[str] = set()
    named = []
    for each in brought:
        name, turn = each.name[-LONGEST_NAME:], 1
        while name in taken:
            turn += 1
            name = f"{turn} {each.name}"[-LONGEST_NAME:]
        taken.add(name)
        named.append(Brought(name, each.data))
    return named


def _kept_mapping(name: str) -> list[dict[str, Any]]:
    if not name:
        return []
    kept = ImportMapping.objects.filter(name=name).first()
    if kept is None:
        raise ToolingError("unknown_mapping", _("There is no kept mapping “{name}”."), name=name)
    return list(kept.mapping.get("sheets", []))


def remap(*, by: Person, at: datetime, made: Import, mapping: dict[str, Any]) -> Import:
    """Use another mapping, then look again. ``mapping``: {"sheets": [{…, "mapping": …}]}."""
    check_can(by, Verb.IMPORT)
    _check_open(made)
    for entry in mapping.get("sheets", []):
        if entry.get("mapping"):
            Mapping.from_dict(entry["mapping"])
    with writing():
        made.mapping = mapping
        made.save(update_fields=["mapping"])
    return look_over(by=by, at=at, made=made)


def keep_mapping(*, by: Person, at: datetime, made: Import, name: str) -> ImportMapping:
    """Keep this import's mapping under a name, replacing the one of that name."""
    check_can(by, Verb.IMPORT)
    if not name.strip():
        raise ToolingError("no_name", _("Give the mapping a name."))
    with writing():
        kept, _made = ImportMapping.objects.update_or_create(
            name=name.strip(),
            defaults={
                "mapping": {"sheets": [worth_keeping(each) for each in made.mapping["sheets"]]},
                "by": by,
                "saved_at": at,
            },
        )
        record_change(by=by, at=at, subject=kept, key=kept.name, what="kept")
    return kept


def look_over(*, by: Person, at: datetime, made: Import) -> Import:
    """Work out what applying would do, and keep it as the preview. Changes no record."""
    check_can(by, Verb.IMPORT)
    plan = _plan(made, at)
    outcomes = [outcome.as_json() for outcome in plan.outcomes]
    telling = [each for each in outcomes if each["what"] != "same"]
    with writing():
        made.rows = plan.counts
        made.preview = telling[:PREVIEW_ROWS]
        made.problems = [problem.to_dict() for problem in plan.problems]
        made.state = ImportState.PROBLEMS if plan.problems else ImportState.READY
        made.save(update_fields=["rows", "preview", "problems", "state"])
    return made


def apply(*, by: Person, at: datetime, made: Import) -> Import:
    """Apply the import whole, or refuse with its first problem and change nothing.

    Raises Conflict ``import_over`` when it was applied or dropped, ``import_has_problems``.
    """
    check_can(by, Verb.IMPORT)
    _check_open(made)
    for _attempt in range(ATTEMPTS):
        version = _version()
        plan = _plan(made, at)
        if plan.problems:
            _refuse(made, plan)
        if _write(by, at, made, plan, version):
            return made
    raise Conflict(
        "stale_plan", _("The shop's records kept changing while this was prepared. Try again.")
    )


def _refuse(made: Import, plan: Plan) -> None:
    with writing():
        made.problems = [problem.to_dict() for problem in plan.problems]
        made.rows, made.state = plan.counts, ImportState.PROBLEMS
        made.save(update_fields=["problems", "rows", "state"])
    first = plan.problems[0]
    raise Conflict(
        "import_has_problems",
        _("{count} problems keep this import from being applied. The first: sheet {sheet}, row "
          "{row}, {column}: {message}"),
        count=len(plan.problems), sheet=first.sheet, row=first.row, column=first.column,
        message=first.message,
    )  # fmt: skip


def _write(by: Person, at: datetime, made: Import, plan: Plan, version: str) -> bool:
    try:
        with writing():
            hold_rows(plan)
            Import.objects.select_for_update().get(pk=made.pk)
            _check_open(made)
            if _version() != version:
                return False
            write_plan(plan, by=by)
            made.state, made.applied_at, made.rows = ImportState.APPLIED, at, plan.counts
            made.problems = []
            made.save(update_fields=["state", "applied_at", "rows", "problems"])
            record_change(
                by=by, at=at, subject=made, key=str(made.pk), what="applied", after=plan.counts
            )
    except IntegrityError as error:
        raise Conflict(
            "import_contradicts",
            _("The sheets contradict the shop's records or each other ({reason}). Nothing was "
              "saved."),
            reason=str(error),
        ) from error  # fmt: skip
    return True


def drop(*, by: Person, at: datetime, made: Import) -> None:
    """Put an import away unapplied; its files are kept."""
    check_can(by, Verb.IMPORT)
    _check_open(made)
    with writing():
        made.state = ImportState.DROPPED
        made.save(update_fields=["state"])
        record_change(by=by, at=at, subject=made, key=str(made.pk), what="dropped")


def _check_open(made: Import) -> None:
    made.refresh_from_db(fields=["state"])
    if made.state not in OPEN_STATES:
        raise Conflict(
            "import_over", _("Import {number} is already {state}."), number=made.pk,
            state=made.get_state_display(),
        )  # fmt: skip


def _version() -> str:
    """Moves with everything that the ledger or an edit writes."""
    newest = (
        model._default_manager.aggregate(newest=Max("id"))["newest"] or 0
        for model in (Change, Movement, Reading, Work, LengthEntry)
    )
    return "-".join(str(number) for number in newest)


def _plan(made: Import, at: datetime) -> Plan:
    """Read every sheet by its mapping and work out what it does, kinds in their own order."""
    plan, known = Plan(at=at), Known()
    by_kind: dict[str, list[Row]] = {}
    for entry, sheet in _sheets(made):
        if entry.get("mapping") is None:
            plan.problems.append(_unclear(sheet))
            continue
        mapping = Mapping.from_dict(entry["mapping"])
        plan.read_as(sheet.name, mapping.columns)
        by_kind.setdefault(mapping.kind, []).extend(_read(sheet, mapping, plan))
    for kind, planner in PLANNERS.items():
        if kind in by_kind:
            planner(by_kind[kind], plan, known)
        if kind == "mills":
            shop.plan_waiting_places(plan, known)
    present.settle(plan)
    refuse_wrong_staging(plan)
    return plan


def _read(sheet: Sheet, mapping: Mapping, plan: Plan) -> list[Row]:
    """The sheet's good rows; a sheet that cannot be read to its end is one problem."""
    try:
        rows, problems = read_rows(sheet, mapping)
    except ToolingError as error:
        at = sheet.heading_row
        plan.problems.append(Problem(sheet.name, at, "", "", error.code, error.message))
        return []
    plan.problems.extend(problems)
    return rows


def _sheets(made: Import) -> list[tuple[dict[str, Any], Sheet]]:
    """The tables that are not left out, each under a name of its own."""
    entries = made.mapping["sheets"]
    return [
        found
        for each in made.files.select_related("file").order_by("pk")
        for found in open_entries(files.read(each.file), name=each.name, entries=entries)
    ]


def _unclear(sheet: Sheet) -> Problem:
    kinds = ", ".join(kind.label for kind in KINDS.values())
    message = str(
        _("What this sheet holds is not clear from its headings. Choose one of: {kinds}; or "
          "leave the sheet out.")
    ).format(kinds=kinds)  # fmt: skip
    return Problem(sheet.name, sheet.heading_row, "", "", "unclear_sheet", message)
