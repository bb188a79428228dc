"""What a person chose on the mapping form becomes a mapping again."""

from __future__ import annotations

from collections.abc import Mapping as MappingOf
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Import
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.headings import heading_unit
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.suggest import suggest_mapping


def chosen(*, made: Import, form: MappingOf[str, str]) -> dict[str, Any]:
    """The mapping that the form says, sheet by sheet; a new kind is guessed afresh.

    Fields of the form: ``s0-kind``, ``s0-out``, ``s0-dates``, ``s0-decimal``, and for the column
    number 3 of the sheet ``s0-h3`` (the field it fills) and ``s0-u3`` (its unit), ``s0-d3``
    (fill down), ``s0-a3`` (accept improbable values); see ``_fixed`` for values of every row.
    Raises ToolingError ``bad_mapping``, ``unknown_kind``, ``field_twice``.
    """
    sheets = []
    for number, entry in enumerate(made.mapping["sheets"]):
        sheets.append(_sheet(dict(entry), f"s{number}-", form))
    return {"sheets": sheets}


def _sheet(entry: dict[str, Any], prefix: str, form: MappingOf[str, str]) -> dict[str, Any]:
    entry["left_out"] = bool(form.get(f"{prefix}out"))
    name = form.get(f"{prefix}kind", "")
    if not name:
        return {**entry, "mapping": None}
    kind = find_kind(name)
    before = entry.get("mapping")
    if before is None or before["kind"] != name:
        return {**entry, "mapping": _guess(entry, kind).to_dict()}
    return {**entry, "mapping": _columns(entry, prefix, kind, form).to_dict()}


def _guess(entry: dict[str, Any], kind: Kind) -> Mapping:
    bare = Sheet(entry["sheet"], tuple(entry["headings"]), 1, True, lambda: iter(()))
    return suggest_mapping(bare, kind)


def _columns(entry: dict[str, Any], prefix: str, kind: Kind, form: MappingOf[str, str]) -> Mapping:
    before = (entry.get("mapping") or {}).get("columns", {})
    columns: dict[str, str] = {}
    units, down, accept = {}, set(), set()
    for number, heading in enumerate(entry["headings"]):
        field = form.get(f"{prefix}h{number}", "")
        if not field or field not in kind.by_name:
            continue
        if field in columns:
            raise _twice(kind.field(field).label, columns[field], heading)
        columns[field] = heading
        unit = form.get(f"{prefix}u{number}", "")
        if before.get(field) != heading:
            unit = unit or heading_unit(heading, kind.field(field).units) or ""
        if unit in kind.field(field).units:
            units[field] = unit
        if form.get(f"{prefix}d{number}"):
            down.add(field)
        if form.get(f"{prefix}a{number}"):
            accept.add(field)
    return Mapping(
        kind=kind.name,
        columns=columns,
        units=units,
        date_order=form.get(f"{prefix}dates") or None,
        decimal_mark=form.get(f"{prefix}decimal") or None,
        fixed=_fixed(prefix, kind, form),
        fill_down=frozenset(down),
        accept=frozenset(accept),
    )


def _fixed(prefix: str, kind: Kind, form: MappingOf[str, str]) -> dict[str, str]:
    """Values that every row gets: ``s0-f-owner``, and a further pair ``s0-ff`` and ``s0-fv``."""
    given = {name: form.get(f"{prefix}f-{name}", "") for name in kind.by_name}
    further = form.get(f"{prefix}ff", "")
    if further in kind.by_name:
        given[further] = form.get(f"{prefix}fv", "")
    return {name: value.strip() for name, value in given.items() if value.strip()}


def _twice(field: str, first: str, second: str) -> ToolingError:
    return ToolingError(
        "field_twice",
        _("Both “{first}” and “{second}” are to stand for “{field}”. Choose one of them."),
        field=field,
        first=first,
        second=second,
    )
