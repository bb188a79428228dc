"""What the mapping page shows of each table: its choices, its cells as they would be read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from tooling.errors import ToolingError
from tooling.queries.import_columns import ColumnLine, Read, column_lines, error_said, read_entry
from tooling.spreadsheets.cells import shown
from tooling.spreadsheets.entries import LEFT_OUT_AT_FIRST, Entry, skipped_rows
from tooling.spreadsheets.fields import FieldType, Kind
from tooling.spreadsheets.glimpse import shown_numbers, shown_sheet
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.picking import NotSplit
from tooling.spreadsheets.rows import ReadCell
from tooling.spreadsheets.sheets import Region, column_letters
from tooling.spreadsheets.telling import tell

_ROWS_NAMED = 12
REASON_WORDS = {
    "total": gettext_lazy("adds up other rows"),
    "footer": gettext_lazy("is a remark under the table"),
    "heading": gettext_lazy("says the headings again"),
    "title": gettext_lazy("is a title over the headings"),
}


@dataclass(frozen=True)
class FixedLine:
    """A field that no column fills: one value for every row, or none yet."""

    field: str
    label: str
    value: str
    choices: tuple[tuple[str, str], ...]
    is_needed: bool


@dataclass(frozen=True)
class LeftLine:
    """Rows that hold no record for one reason, and whether they are left out."""

    why: str
    words: str
    count: int
    rows: str
    example: str
    is_left: bool


@dataclass(frozen=True)
class CellLine:
    """One cell of the preview: what it says, taken from above or not, or what is wrong."""

    told: str
    above: bool = False
    error: str = ""


@dataclass(frozen=True)
class PreviewLine:
    row: int
    cells: tuple[CellLine, ...]


@dataclass(frozen=True)
class PlaceLine:
    """Where the table stands, as the form asks it."""

    row: int
    deep: int
    first: str
    last: str
    last_row: str
    rows: tuple[tuple[int, str], ...]
    new_row: str = ""
    new_first: str = ""
    new_last: str = ""
    is_open: bool = False


@dataclass(frozen=True)
class TableLine:
    """One table of an import with its mapping."""

    number: int
    file: str
    name: str
    title: str
    kind: str
    kind_label: str
    left_out: bool
    date_order: str
    decimal_mark: str
    has_dates: bool
    copies: str
    can_letter: bool
    groups: str
    group_rows: str
    has_groups: bool
    place: PlaceLine | None
    left: tuple[LeftLine, ...]
    keep_rows: str
    drop_rows: str
    told: tuple[str, ...]
    columns: tuple[ColumnLine, ...]
    fields: tuple[tuple[str, str], ...]
    fixed: tuple[FixedLine, ...]
    others: tuple[tuple[str, str], ...]
    preview_headings: tuple[str, ...]
    preview: tuple[PreviewLine, ...]
    matched: int
    unmatched: int
    missing: tuple[str, ...]
    needs_a_look: bool


def table_line(number: int, entry: Entry, asking: set[str]) -> TableLine:
    """One entry of an import as the page shows it. ``asking``: tables with problems that a
    choice on the form settles."""
    given = entry.get("mapping") or {}
    kind = KINDS.get(given.get("kind", ""))
    mapping = _mapping(given) if kind else None
    read = read_entry(entry, mapping) if mapping else []
    columns = tuple(column_lines(entry, kind, mapping, read))
    used = [choice for column in columns for choice in (column.choice, *column.parts)]
    fixed = _fixed(kind, mapping)
    named = {*(choice.field for choice in used), *(line.field for line in fixed)}
    fields = tuple((field.name, field.label) for field in kind.fields) if kind else ()
    missing = _missing(kind, mapping)
    left_out = bool(entry.get("left_out"))
    title = entry.get("title") or entry["sheet"]
    headings, preview = _preview(kind, mapping, read, shown_numbers(entry))
    if kind is None:
        headings, preview = tuple(entry["headings"]), _as_they_stand(entry)
    group_rows = [row for row, why, _text in entry.get("left_rows") or () if why == "group"]
    return TableLine(
        number=number,
        file=entry["file"],
        name=entry["sheet"],
        title=title,
        kind=kind.name if kind else "",
        kind_label=kind.label if kind else "",
        left_out=left_out,
        date_order=given.get("date_order") or "",
        decimal_mark=given.get("decimal_mark") or "",
        has_dates=kind is not None and any(f.type is FieldType.DATE for f in kind.fields),
        copies=given.get("copies") or "",
        can_letter=bool(kind and kind.letters),
        groups=entry.get("groups") or "",
        group_rows=rows_said(group_rows),
        has_groups=bool(group_rows),
        place=_place(entry),
        left=tuple(_left(entry)),
        keep_rows=", ".join(map(str, entry.get("keep_rows") or ())),
        drop_rows=", ".join(map(str, entry.get("drop_rows") or ())),
        told=tuple(_told(entry, kind)),
        columns=columns,
        fields=fields,
        fixed=fixed,
        others=tuple((name, label) for name, label in fields if name not in named),
        preview_headings=headings,
        preview=preview,
        matched=sum(bool(choice.field) for choice in used),
        unmatched=sum(not (c.choice.field or c.pattern) for c in columns),
        missing=missing,
        needs_a_look=not left_out and (kind is None or bool(missing) or title in asking),
    )


def _mapping(given: dict[str, Any]) -> Mapping | None:
    """The mapping; None where it was kept by an older version and cannot be used."""
    try:
        return Mapping.from_dict(given)
    except ToolingError:
        return None


# --- where it stands and what is left out -----------------------------------------------------


def _place(entry: Entry) -> PlaceLine | None:
    if not entry.get("region"):
        return None
    region = Region.from_dict(entry["region"])
    last = "" if region.last_column is None else column_letters(region.last_column)
    rows = dict(entry.get("peek") or ())
    rows.setdefault(region.heading_row, " · ".join(entry["headings"])[:80])
    return PlaceLine(
        row=region.heading_row,
        deep=region.heading_last - region.heading_row + 1,
        first=column_letters(region.first_column),
        last=last,
        last_row="" if region.last_row is None else str(region.last_row),
        rows=tuple(sorted(rows.items())),
    )


def _left(entry: Entry) -> Iterable[LeftLine]:
    leave = set(entry.get("leave", LEFT_OUT_AT_FIRST))
    for why, words in REASON_WORDS.items():
        found = [(row, text) for row, of, text in entry.get("left_rows") or () if of == why]
        if found:
            rows = rows_said([row for row, _text in found])
            yield LeftLine(why, str(words), len(found), rows, found[0][1], why in leave)
    for note in entry.get("notes") or ():
        if note["what"] == "hidden_rows":
            told = _("hidden in the workbook")
            yield LeftLine("hidden", told, note["count"], "", "", "hidden" in leave)


def rows_said(rows: Sequence[int]) -> str:
    """Row numbers for a sentence: the first few, and how many more."""
    first = ", ".join(map(str, rows[:_ROWS_NAMED]))
    more = len(rows) - _ROWS_NAMED
    if more <= 0:
        return first
    return ngettext("%(rows)s and one more", "%(rows)s and %(more)s more", more) % {
        "rows": first,
        "more": more,
    }


def _told(entry: Entry, kind: Kind | None) -> Iterable[str]:
    """What will happen with the table, in sentences."""
    if kind is not None and "body" in entry and not entry.get("left_out"):
        yield _rows_told(entry, kind)
    for note in entry.get("notes") or ():
        if sentence := _note(note):
            yield sentence


def _rows_told(entry: Entry, kind: Kind) -> str:
    groups = [row for row, why, _text in entry.get("left_rows") or () if why == "group"]
    gone = skipped_rows(entry, frozenset()) | set(groups if entry.get("groups") else ())
    count = max(0, entry["body"] - len(gone))
    return ngettext(
        "One row is read as: %(kind)s.", "%(count)s rows are read as: %(kind)s.", count
    ) % {"count": count, "kind": kind.label}


def _note(note: dict[str, Any]) -> str:
    what = note["what"]
    if what == "title":
        return ngettext(
            "Over the headings stands “%(text)s”; it is not read.",
            "Over the headings stand %(count)s rows that are not read, the last: “%(text)s”.",
            note.get("count", 1),
        ) % {"text": note["text"], "count": note.get("count", 1)}
    if what == "hidden_sheet":
        return _("The sheet is hidden in the workbook.")
    if what == "hidden_columns":
        names = ", ".join(note["names"])
        return _("Hidden in the workbook, but read like the others: %s.") % names
    if what == "merged_across":
        return ngettext(
            "Cell %(cell)s is merged with cells at its right: its value counts for its own "
            "column only.",
            "%(count)s cells (the first is %(cell)s) are merged with cells at their right: their "
            "values count for their own columns only.",
            note["count"],
        ) % {"cell": note["cell"], "count": note["count"]}
    if what == "dates":
        first = _("day") if note["value"] == "dmy" else _("month")
        return _("Dates are read with the %(first)s first, because of “%(cell)s”.") % {
            "first": first,
            "cell": note["cell"],
        }
    if what == "decimals":
        mark = _("comma") if note["value"] == "," else _("point")
        return _("Decimals are read with a %(mark)s, because of “%(cell)s”.") % {
            "mark": mark,
            "cell": note["cell"],
        }
    return ""


# --- fields without a column, and the preview -------------------------------------------------


def _fixed(kind: Kind | None, mapping: Mapping | None) -> tuple[FixedLine, ...]:
    """What has one value for every row, and the needed fields that nothing fills."""
    if kind is None or mapping is None:
        return ()
    return tuple(
        FixedLine(
            field=field.name,
            label=field.label,
            value=mapping.fixed.get(field.name, ""),
            choices=tuple((name, name.replace("_", " ")) for name in field.choices),
            is_needed=field.required,
        )
        for field in kind.fields
        if field.name in mapping.fixed or (field.required and field.name not in mapping.columns)
    )


def _missing(kind: Kind | None, mapping: Mapping | None) -> tuple[str, ...]:
    """The needed fields that no column fills."""
    if kind is None or mapping is None:
        return ()
    filled = {*mapping.columns, *mapping.fixed}
    return tuple(f.label for f in kind.fields if f.required and f.name not in filled)


def _preview(
    kind: Kind | None, mapping: Mapping | None, read: Read, shown_rows: set[int]
) -> tuple[tuple[str, ...], tuple[PreviewLine, ...]]:
    """The first rows as they would be read, field by field."""
    if kind is None or mapping is None or not mapping.columns:
        return (), ()
    fields = [field for field in kind.fields if field.name in {*mapping.columns, *mapping.fixed}]
    lines = tuple(
        PreviewLine(
            number,
            tuple(_cell(found.get(field.name), field.name, kind) for field in fields),
        )
        for number, _cells, found in read
        if number in shown_rows
    )
    return tuple(field.label for field in fields), lines


def _as_they_stand(entry: Entry) -> tuple[PreviewLine, ...]:
    """The first rows as the sheet has them, to see what the table may hold."""
    rows = shown_numbers(entry)
    return tuple(
        PreviewLine(number, tuple(CellLine(shown(cell)) for cell in cells))
        for number, cells in shown_sheet(entry).body()
        if number in rows
    )


def _cell(read: ReadCell | None, name: str, kind: Kind) -> CellLine:
    if read is None:
        return CellLine("")
    if read.error is not None:
        raw = read.cell.text if isinstance(read.cell, NotSplit) else shown(read.cell)
        return CellLine(raw, read.above, error_said(read.error))
    return CellLine(tell(kind.field(name), read.value, read.unit), read.above)
