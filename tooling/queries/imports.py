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
    unmatched: int
    missing: tuple[str, ...]


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
    problems: tuple[dict[str, Any], ...]
    preview: tuple[dict[str, Any], ...]
    more: int
    sheets: tuple[SheetLine, ...]
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
    return ImportsPage(lines, names, tuple((kind.name, kind.label) for kind in KINDS.values()))


def import_page(number: int, *, problems: int = 300) -> ImportPage:
    """One query. Raises Unknown ``unknown_import``."""
    made = Import.objects.select_related("by").filter(pk=number).first()
    if made is None:
        raise Unknown("unknown_import", _("There is no import {number}."), number=number)
    sheets = tuple(_sheet(n, entry) for n, entry in enumerate(made.mapping.get("sheets", [])))
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
        problems=tuple(made.problems[:problems]),
        preview=tuple(made.preview),
        more=max(0, changing - len(made.preview)),
        sheets=sheets,
        mapping_is_needed=any(not s.left_out and (not s.kind or s.missing) for s in sheets),
    )


def _sheet(number: int, entry: dict[str, Any]) -> SheetLine:
    mapping = entry.get("mapping") or {}
    kind = KINDS.get(mapping.get("kind", ""))
    of_heading = {heading: name for name, heading in mapping.get("columns", {}).items()}
    samples = entry.get("samples") or [""] * len(entry["headings"])
    columns = tuple(
        _column(n, heading, sample, of_heading.get(heading, ""), mapping, kind)
        for n, (heading, sample) in enumerate(zip(entry["headings"], samples, strict=False))
    )
    fields = tuple((field.name, field.label) for field in kind.fields) if kind else ()
    return SheetLine(
        number=number,
        file=entry["file"],
        name=entry["sheet"],
        kind=kind.name if kind else "",
        kind_label=kind.label if kind else "",
        left_out=bool(entry.get("left_out")),
        date_order=mapping.get("date_order") or "",
        decimal_mark=mapping.get("decimal_mark") or "",
        has_dates=bool(kind) and any(f.type is FieldType.DATE for f in kind.fields),
        columns=columns,
        fields=fields,
        unmatched=sum(not column.field for column in columns),
        missing=_missing(kind, mapping),
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
