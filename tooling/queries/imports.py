"""What the import pages show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Import, ImportMapping, ImportState
from tooling.spreadsheets.fields import FieldType, Kind
from tooling.spreadsheets.kinds import KINDS

FEW = 25
SHOWN_AT_ONCE = 8
ANSWERED_BY_MAPPING = frozenset(
    ("unit_missing", "ambiguous_date", "ambiguous_number", "ambiguous_length", "improbable_value",
     "missing_column", "unknown_column", "unclear_sheet")
)  # fmt: skip
"""Problems that a choice on the mapping form settles."""

KIND_NAMES = tuple((kind.name, kind.label) for kind in KINDS.values())
OPEN = (ImportState.MAPPING, ImportState.READY, ImportState.PROBLEMS)


@dataclass(frozen=True)
class ColumnLine:
    """One column of a sheet and what it stands for."""

    number: int
    heading: str
    sample: str
    field: str
    unit: str
    units: tuple[str, ...]
    fills_down: bool
    accepts: bool


@dataclass(frozen=True)
class FixedLine:
    """A field that no column fills: one value for every row, or none yet."""

    field: str
    label: str
    value: str
    choices: tuple[tuple[str, str], ...]
    is_needed: bool


@dataclass(frozen=True)
class SheetLine:
    """One sheet of an import with its mapping."""

    number: int
    file: str
    name: str
    kind: str
    kind_label: str
    left_out: bool
    date_order: str
    decimal_mark: str
    has_dates: bool
    columns: tuple[ColumnLine, ...]
    fields: tuple[tuple[str, str], ...]
    fixed: tuple[FixedLine, ...]
    others: tuple[tuple[str, str], ...]
    matched: int
    unmatched: int
    missing: tuple[str, ...]
    needs_a_look: bool


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
    sheets: tuple[SheetLine, ...]
    problem_count: int
    files: tuple[str, ...]
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


def import_page(number: int, *, problems: int = 300) -> ImportPage:
    """One query. Raises Unknown ``unknown_import``."""
    made = Import.objects.select_related("by").filter(pk=number).first()
    if made is None:
        raise Unknown("unknown_import", _("There is no import {number}."), number=number)
    asking = {p["sheet"] for p in made.problems if p["code"] in ANSWERED_BY_MAPPING}
    sheets = tuple(
        _sheet(n, entry, asking) for n, entry in enumerate(made.mapping.get("sheets", []))
    )
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
        groups=_groups(made.problems[:problems]),
        problems_more=max(0, len(made.problems) - problems),
        preview=tuple(made.preview),
        more=max(0, changing - len(made.preview)),
        sheets=sheets,
        problem_count=len(made.problems),
        files=tuple(dict.fromkeys(sheet.file for sheet in sheets)),
        kinds=KIND_NAMES,
        mapping_is_needed=any(sheet.needs_a_look for sheet in sheets),
    )


def _groups(problems: list[dict[str, Any]]) -> tuple[ProblemGroup, ...]:
    """Problems that one look settles together; all open while they are few."""
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
        )
        for number, ((sheet, column, code), rows) in enumerate(alike.items())
    )


def _sheet(number: int, entry: dict[str, Any], asking: set[str]) -> SheetLine:
    mapping = entry.get("mapping") or {}
    kind = KINDS.get(mapping.get("kind", ""))
    of_heading = {heading: name for name, heading in mapping.get("columns", {}).items()}
    samples = entry.get("samples") or [""] * len(entry["headings"])
    columns = tuple(
        _column(n, heading, sample, of_heading.get(heading, ""), mapping, kind)
        for n, (heading, sample) in enumerate(zip(entry["headings"], samples, strict=False))
    )
    fields = tuple((field.name, field.label) for field in kind.fields) if kind else ()
    fixed = _fixed(kind, mapping)
    named = {*of_heading.values(), *(line.field for line in fixed)}
    missing = _missing(kind, mapping)
    left_out = bool(entry.get("left_out"))
    return SheetLine(
        number=number,
        file=entry["file"],
        name=entry["sheet"],
        kind=kind.name if kind else "",
        kind_label=kind.label if kind else "",
        left_out=left_out,
        date_order=mapping.get("date_order") or "",
        decimal_mark=mapping.get("decimal_mark") or "",
        has_dates=kind is not None and any(f.type is FieldType.DATE for f in kind.fields),
        columns=columns,
        fields=fields,
        fixed=fixed,
        others=tuple((name, label) for name, label in fields if name not in named),
        matched=sum(bool(column.field) for column in columns),
        unmatched=sum(not column.field for column in columns),
        missing=missing,
        needs_a_look=not left_out
        and (kind is None or bool(missing) or bool(asking & _names(entry))),
    )


def _names(entry: dict[str, Any]) -> set[str]:
    """A sheet alone or, where two files have one of its name, behind its file's."""
    return {entry["sheet"], f"{entry['file']}: {entry['sheet']}"}


def _fixed(kind: Kind | None, mapping: dict[str, Any]) -> tuple[FixedLine, ...]:
    """What has one value for every row, and the needed fields that nothing fills."""
    if kind is None:
        return ()
    given, columns = mapping.get("fixed", {}), mapping.get("columns", {})
    return tuple(
        FixedLine(
            field=field.name,
            label=field.label,
            value=given.get(field.name, ""),
            choices=tuple((name, name.replace("_", " ")) for name in field.choices),
            is_needed=field.required,
        )
        for field in kind.fields
        if field.name in given or (field.required and field.name not in columns)
    )


def _column(
    number: int, heading: str, sample: str, name: str, mapping: dict[str, Any], kind: Kind | None
) -> ColumnLine:
    units = kind.field(name).units if kind and name else ()
    return ColumnLine(
        number=number,
        heading=heading,
        sample=sample,
        field=name,
        unit=mapping.get("units", {}).get(name, ""),
        units=units,
        fills_down=name in mapping.get("fill_down", []),
        accepts=name in mapping.get("accept", []),
    )


def _missing(kind: Kind | None, mapping: dict[str, Any]) -> tuple[str, ...]:
    """The needed fields that no column fills."""
    if kind is None:
        return ()
    filled = set(mapping.get("columns", {})) | set(mapping.get("fixed", {}))
    return tuple(f.label for f in kind.fields if f.required and f.name not in filled)
