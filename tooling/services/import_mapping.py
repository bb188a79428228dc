"""What a person chose on the mapping form, or a program sent, becomes a mapping again."""

from __future__ import annotations

from collections.abc import Mapping as MappingOf
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Import
from tooling.services import files
from tooling.services.import_columns import chosen_columns
from tooling.spreadsheets.entries import (
    GROUPS,
    REASONS,
    Entry,
    end_above,
    moved,
    titled,
    with_evidence,
)
from tooling.spreadsheets.glimpse import shown_sheet
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.numbers import to_numbers
from tooling.spreadsheets.sheets import LAST_ROW, Region, column_index

MOST_TABLES = 200


def chosen(*, made: Import, form: MappingOf[str, str]) -> dict[str, Any]:
    """The mapping that the form says, table by table; a new kind or place is guessed afresh.

    Fields of the form, for the first table: ``s0-kind``, ``s0-out``, ``s0-dates``,
    ``s0-decimal``, ``s0-copies``; where it stands: ``s0-row``, ``s0-deep``, ``s0-from``,
    ``s0-to``, ``s0-last``; rows: ``s0-groups``, ``s0-why`` with ``s0-why-total`` …, ``s0-keep``,
    ``s0-drop``; columns as ``import_columns`` says; ``s0-new-row`` (``-from``, ``-to``) adds a
    further table of that sheet. What the form does not name stays as it is.
    Raises ToolingError ``bad_mapping``, ``bad_region``, ``no_headings``, ``unknown_kind``,
    ``field_twice``, ``bad_pattern``, ``not_a_number``.
    """
    tables: list[Entry] = []
    for number, entry in enumerate(made.mapping["sheets"]):
        prefix = f"s{number}-"
        table = _table(made, entry, prefix, form)
        if form.get(f"{prefix}new-row", "").strip():
            tables += _parted(made, table, f"{prefix}new-", form)
        else:
            tables.append(table)
    return _whole(tables)


def asked(*, made: Import, sheets: Sequence[Any]) -> dict[str, Any]:
    """The mapping that a program sends: entries in the order of the import's own, each with what
    it changes of ``region groups leave keep_rows drop_rows left_out mapping``; further entries
    name ``file sheet region``. Raises as ``chosen`` does.
    """
    if not isinstance(sheets, list) or not all(isinstance(each, dict) for each in sheets):
        raise ToolingError("bad_mapping", _("The mapping is no list of sheets."))
    entries = list(made.mapping["sheets"])
    for number, given in enumerate(sheets):
        if number < len(entries):
            entries[number] = _changed(made, entries[number], given)
        else:
            like = _like(entries, given)
            entries.append(_changed(made, {**like, "mapping": None, "left_out": False}, given))
    return _whole(entries)


def _whole(tables: list[Entry]) -> dict[str, Any]:
    if len(tables) > MOST_TABLES:
        raise ToolingError(
            "too_many_tables",
            _("An import holds at most {most} tables. Bring fewer files at once."),
            most=MOST_TABLES,
        )
    return {"sheets": titled(tables)}


# --- from the form ----------------------------------------------------------------------------


def _table(made: Import, entry: Entry, prefix: str, form: MappingOf[str, str]) -> Entry:
    """The entry as the form says. Columns count only while the table stays where it was."""
    before = entry.get("mapping")
    kind = form.get(f"{prefix}kind", "")
    if kind:
        find_kind(kind)
    if before and before["kind"] == kind:
        entry = _with_columns(entry, chosen_columns(entry, prefix, form))
    entry = {**entry, **_rows_chosen(entry, prefix, form)}
    entry["left_out"] = bool(form.get(f"{prefix}out"))
    region, groups = _region_chosen(entry, prefix, form), form.get(f"{prefix}groups")
    if not kind:
        entry["mapping"] = None
    is_new_kind = bool(kind) and (before is None or before["kind"] != kind)
    return _placed(made, entry, region, groups, kind if is_new_kind else None)


def _with_columns(entry: Entry, mapping: Mapping) -> Entry:
    """The entry with this mapping; columns newly chosen may say how numbers are written."""
    chosen = mapping.to_dict()
    if chosen["columns"] == entry["mapping"].get("columns"):
        return {**entry, "mapping": chosen}
    return with_evidence(shown_sheet(entry), entry, chosen)


def _placed(
    made: Import, entry: Entry, region: Region | None, groups: str | None, kind: str | None
) -> Entry:
    """The entry, looked at anew where its place, its groups or its kind have changed."""
    here = Region.from_dict(entry["region"]) if entry.get("region") else None
    region = region or here
    moves = region != here or groups not in (None, entry.get("groups", ""))
    if region is None or not (moves or kind):
        return entry
    if groups not in (None, *GROUPS):
        raise ToolingError("bad_mapping", _("There is no such choice for rows of one cell."))
    kept = kind or (entry.get("mapping") or {}).get("kind", "")
    data = _data(made, entry["file"])
    groups = entry.get("groups") if groups is None else groups
    return moved(data, entry=entry, region=region, kind=kept, groups=groups)


def _data(made: Import, name: str) -> Path:
    for each in made.files.select_related("file"):
        if each.name == name:
            return files.path_of(each.file)
    raise ToolingError("bad_mapping", _("This import has no file “{name}”."), name=name)


def _region_chosen(entry: Entry, prefix: str, form: MappingOf[str, str]) -> Region | None:
    """Where the form says that the table stands; None where it says nothing."""
    if f"{prefix}row" not in form:
        return None
    row = _row(form[f"{prefix}row"])
    deep = _row(form.get(f"{prefix}deep") or "1")
    last = form.get(f"{prefix}last", "").strip()
    return Region(
        row,
        row + deep - 1,
        _column(form.get(f"{prefix}from", "")) or 0,
        _column(form.get(f"{prefix}to", "")),
        _row(last) if last else None,
    )


def _parted(made: Import, entry: Entry, prefix: str, form: MappingOf[str, str]) -> list[Entry]:
    """The table and a further one of its sheet, in the order of their rows; its kind is guessed.

    Of two tables below each other the upper ends where the lower begins; of two side by side
    the left ends where the right begins.
    """
    here = Region.from_dict(entry["region"])
    row = _row(form[f"{prefix}row"])
    first, last = _column(form.get(f"{prefix}from", "")), _column(form.get(f"{prefix}to", ""))
    there = Region(row, row, first or 0, last)
    others = [Region.from_dict(e["region"]) for e in made.mapping["sheets"] if _same(e, entry)]
    if there.first_column > here.first_column and row < (here.last_row or LAST_ROW):
        here = replace(here, last_column=there.first_column - 1)
    elif row > here.heading_last:
        here, there = replace(here, last_row=row - 1), replace(there, last_row=here.last_row)
    else:
        lower = min(each.heading_row for each in others if each.heading_row > row)
        there = replace(there, last_row=lower - 1)
    data = _data(made, entry["file"])
    bare = {"file": entry["file"], "sheet": entry["sheet"], "headings": [], "table": 1}
    further = moved(data, entry={**bare, "after": end_above(there, others)}, region=there)
    tables = [_placed(made, entry, here, None, None), further]
    return sorted(tables, key=lambda each: each["region"]["heading_row"])


def _same(one: Entry, other: Entry) -> bool:
    return bool((one["file"], one["sheet"]) == (other["file"], other["sheet"]))


def _rows_chosen(entry: Entry, prefix: str, form: MappingOf[str, str]) -> dict[str, Any]:
    """Which rows are left out, where the form asks it."""
    if not form.get(f"{prefix}why"):
        return {}
    return {
        "leave": [why for why in REASONS if form.get(f"{prefix}why-{why}")],
        "keep_rows": _rows(form.get(f"{prefix}keep", "")),
        "drop_rows": _rows(form.get(f"{prefix}drop", "")),
    }


def _rows(text: str) -> list[int]:
    return list(to_numbers(text)) if text.strip() else []


def _row(text: str) -> int:
    bare = text.strip()
    if not (bare.isascii() and bare.isdecimal() and 1 <= int(bare[:9]) <= LAST_ROW):
        raise ToolingError("not_a_number", _("“{value}” is no row of a sheet."), value=text)
    return int(bare)


def _column(letters: str) -> int | None:
    if not letters.strip():
        return None
    index = column_index(letters)
    if index is None:
        raise ToolingError(
            "bad_region", _("“{value}” is no column. Write its letters: A, B … AA."), value=letters
        )
    return index


# --- from a program ---------------------------------------------------------------------------


def _like(entries: Sequence[Entry], given: MappingOf[str, Any]) -> Entry:
    """The entry of the same sheet, for a further table of it."""
    for entry in entries:
        same = (entry["file"], entry["sheet"]) == (given.get("file"), given.get("sheet"))
        if same and given.get("region"):
            return {"file": entry["file"], "sheet": entry["sheet"], "headings": [], "table": 1}
    raise ToolingError(
        "bad_mapping", _("A further table must name the file, the sheet and the region it has.")
    )


def _changed(made: Import, entry: Entry, given: MappingOf[str, Any]) -> Entry:
    region = Region.from_dict(given["region"]) if given.get("region") else None
    mapping = given.get("mapping")
    wanted = Mapping.from_dict(mapping) if mapping else None
    before = (entry.get("mapping") or {}).get("kind")
    new_kind = wanted.kind if wanted and wanted.kind != before else None
    entry = _placed(made, entry, region, given.get("groups"), new_kind)
    for name in ("keep_rows", "drop_rows"):
        if name in given:
            entry = {**entry, name: _numbers(given[name])}
    if "leave" in given:
        entry = {**entry, "leave": _reasons(given["leave"])}
    if "left_out" in given:
        entry = {**entry, "left_out": bool(given["left_out"])}
    if "mapping" in given:
        entry = {**entry, "mapping": wanted.to_dict() if wanted else None}
    return entry


def _numbers(data: Any) -> list[int]:
    if not isinstance(data, list) or not all(type(each) is int for each in data):
        raise ToolingError("bad_mapping", _("Rows must be a list of whole numbers."))
    return sorted(set(data))


def _reasons(data: Any) -> list[str]:
    if not isinstance(data, list) or not all(each in REASONS for each in data):
        raise ToolingError(
            "bad_mapping",
            _("Rows can be left out for these reasons: {reasons}."),
            reasons=", ".join(REASONS),
        )
    return list(data)
