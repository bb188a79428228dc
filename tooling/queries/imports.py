"""What the import pages show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Import, ImportMapping, ImportState
from tooling.queries.import_tables import TableLine, table_line
from tooling.queries.import_tasks import (
    FileLine,
    TaskLine,
    file_lines,
    problem_count,
    task_line,
)
from tooling.queries.import_typed import as_typed
from tooling.spreadsheets.kinds import KINDS

FEW = 25
SHOWN_AT_ONCE = 8
ANSWERED_BY_MAPPING = frozenset(
    ("unit_missing", "ambiguous_date", "ambiguous_number", "ambiguous_length", "improbable_value",
     "missing_column", "unknown_column", "unclear_sheet", "not_split", "other_date_order",
     "duplicate_row", "missing_value")
)  # fmt: skip
"""Problems that a choice on the mapping form settles."""

_DECIMALS = _(
    "If the whole sheet writes decimals one way, say so below, under “Decimals are written with”."
)
_DATES = _("If the whole sheet writes dates one way, say so below, under “Dates are written”.")
HINTS = {
    "ambiguous_length": _DECIMALS,
    "ambiguous_number": _DECIMALS,
    "ambiguous_date": _DATES,
    "other_date_order": _DATES,
    "duplicate_row": _(
        "If they are copies of one piece, say so below, under “One name on two rows”."
    ),
    "missing_value": _(
        "If a blank cell means the same as above, say so below, beside the column. A row that is "
        "no record can be left out under “Which part of the sheet”."
    ),
    "not_split": _("Pick another way to take the column apart below, or mend the cell."),
}
"""What a choice on the mapping form can do about a problem."""

KIND_NAMES = tuple((kind.name, kind.label) for kind in KINDS.values())
OPEN = (ImportState.MAPPING, ImportState.READY, ImportState.PROBLEMS)


@dataclass(frozen=True)
class ProblemGroup:
    """The problems of one column of one sheet that have the same reason."""

    sheet: str
    column: str
    code: str
    count: int
    first: tuple[dict[str, Any], ...]
    further: tuple[dict[str, Any], ...]
    is_open: bool
    hint: str


@dataclass(frozen=True)
class ImportPage:
    """An import as far as it has come."""

    number: int
    state: str
    state_word: str
    is_open: bool
    by: str
    created_at: datetime
    applied_at: datetime | None
    counts: dict[str, int]
    groups: tuple[ProblemGroup, ...]
    problems_more: int
    preview: tuple[dict[str, Any], ...]
    more: int
    sheets: tuple[TableLine, ...]
    problem_count: int
    files: tuple[FileLine, ...]
    task: TaskLine | None
    kinds: tuple[tuple[str, str], ...]
    mapping_is_needed: bool


@dataclass(frozen=True)
class ImportLine:
    """One line of the list of imports."""

    number: int
    state_word: str
    files: str
    by: str
    created_at: datetime
    counts: dict[str, int]


@dataclass(frozen=True)
class ImportsPage:
    """Where an import begins."""

    imports: tuple[ImportLine, ...]
    mappings: tuple[str, ...]
    kinds: tuple[tuple[str, str], ...]


def imports_page() -> ImportsPage:
    """Three queries, whatever the number of imports."""
    rows = Import.objects.select_related("by").prefetch_related("files").order_by("-pk")[:50]
    lines = tuple(
        ImportLine(
            number=made.pk,
            state_word=made.get_state_display(),
            files=", ".join(file.name for file in made.files.all()),
            by=str(made.by or ""),
            created_at=made.created_at,
            counts=made.rows,
        )
        for made in rows
    )
    names = tuple(ImportMapping.objects.values_list("name", flat=True))
    return ImportsPage(lines, names, KIND_NAMES)


def import_page(
    number: int, *, problems: int = 300, typed: Mapping[str, str] | None = None
) -> ImportPage:
    """Two queries. ``typed``: a mapping form that could not be used, shown as it was filled in.

    Raises Unknown ``unknown_import``.
    """
    made = Import.objects.select_related("by", "task__file").filter(pk=number).first()
    if made is None:
        raise Unknown("unknown_import", _("There is no import {number}."), number=number)
    count = problem_count(made)
    asking = {p["sheet"] for p in made.problems if p["code"] in ANSWERED_BY_MAPPING}
    sheets = tuple(
        table_line(n, entry, asking) for n, entry in enumerate(made.mapping.get("sheets", []))
    )
    if typed is not None:
        sheets = tuple(as_typed(sheet, typed) for sheet in sheets)
    changing = made.rows.get("create", 0) + made.rows.get("change", 0)
    return ImportPage(
        number=made.pk,
        state=made.state,
        state_word=made.get_state_display(),
        is_open=made.state in OPEN,
        by=str(made.by or ""),
        created_at=made.created_at,
        applied_at=made.applied_at,
        counts=made.rows,
        groups=_groups(made.problems[:problems], {s.title for s in sheets if s.can_letter}),
        problems_more=max(0, count - problems),
        preview=tuple(made.preview),
        more=max(0, changing - len(made.preview)),
        sheets=sheets,
        problem_count=count,
        files=file_lines(made),
        task=task_line(made),
        kinds=KIND_NAMES,
        mapping_is_needed=any(sheet.needs_a_look for sheet in sheets),
    )


def _groups(problems: list[dict[str, Any]], lettered: set[str]) -> tuple[ProblemGroup, ...]:
    """Problems that one look settles together; all open while they are few.

    ``lettered``: the tables whose records may be told apart by letters.
    """
    alike: dict[tuple[str, str, str], list[dict[str, Any]]] = {}
    for each in problems:
        alike.setdefault((each["sheet"], each["column"], each["code"]), []).append(each)
    few = len(problems) <= FEW
    return tuple(
        ProblemGroup(
            sheet=sheet,
            column=column,
            code=code,
            count=len(rows),
            first=tuple(rows[:SHOWN_AT_ONCE]),
            further=tuple(rows[SHOWN_AT_ONCE:]),
            is_open=few or number < 3,
            hint=""
            if code == "duplicate_row" and sheet not in lettered
            else str(HINTS.get(code, "")),
        )
        for number, ((sheet, column, code), rows) in enumerate(alike.items())
    )
