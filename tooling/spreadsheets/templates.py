"""Empty workbooks to fill in: the headings on one sheet, what each means on another.

The example stands on the notes' sheet, never among the rows, so that nobody imports it.
"""

from __future__ import annotations

from openpyxl import Workbook

from tooling.spreadsheets.exports import add_sheet, fixed_bytes
from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.formatting import heading

NOTES_TITLE = "Notes"
NOTES_HEADINGS = ("Column", "Needed", "What to write", "Example")
_METRIC = {FieldType.LENGTH: "mm", FieldType.STRIP_LENGTH: "m", FieldType.MASS: "kg"}
_INCH = {FieldType.LENGTH: "in", FieldType.STRIP_LENGTH: "ft", FieldType.MASS: "lb"}
_WHAT: dict[FieldType, str] = {
    FieldType.TEXT: "Any text.",
    FieldType.CODE: "A code or number in one line.",
    FieldType.LENGTH: "A length: 63.5, 2 1/2, or with its own unit: 63.5 mm, 2.500 in.",
    FieldType.STRIP_LENGTH: "A length of strip: 12000, or with its own unit: 12 km, 40000 ft.",
    FieldType.MASS: "A mass, or with its own unit: 12.5 kg, 27 lb.",
    FieldType.DATE: "A date: 2026-03-14.",
    FieldType.TIME: "A time of day: 06:30.",
    FieldType.INTEGER: "A whole number.",
    FieldType.NUMBERS: "A whole number, or several: 1-16 or 1, 3, 5.",
    FieldType.NUMBER: "A number.",
    FieldType.RATIO: "A ratio: 1.05, 1.05:1 or 21/20.",
    FieldType.YES_NO: "yes or no.",
    FieldType.UNIT: "mm or in.",
}


def template_xlsx(kind: Kind, *, unit: str = "mm") -> bytes:
    """An empty workbook for one kind, in metric (``mm``) or inch (``in``) units."""
    units = _INCH if unit == "in" else _METRIC
    workbook = Workbook(write_only=True)
    headings = [heading(field, units.get(field.type)) for field in kind.fields]
    add_sheet(workbook, kind.label, headings, [])
    notes = [[heading(field, units.get(field.type)), *_note(kind, field)] for field in kind.fields]
    add_sheet(workbook, NOTES_TITLE, NOTES_HEADINGS, notes)
    return fixed_bytes(workbook)


def _note(kind: Kind, field: Field) -> list[str]:
    return [_needed(kind, field), what_to_write(field), field.example]


def _needed(kind: Kind, field: Field) -> str:
    if field.required:
        return "yes"
    groups = [group for group in kind.any_of if field.name in group]
    others = ", ".join(kind.field(name).label for group in groups for name in group)
    return f"one of: {others}" if groups else "no"


def what_to_write(field: Field) -> str:
    """One or two sentences on what the cells of this column may hold."""
    if field.choices:
        what = "One of: " + ", ".join(name.replace("_", " ") for name in field.choices) + "."
    else:
        what = _WHAT[field.type]
    return f"{what} {field.note}".strip()
