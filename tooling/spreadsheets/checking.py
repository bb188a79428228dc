"""What keeps a whole sheet from being read by a mapping, before any of its rows is looked at."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.fields import Field, Kind
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows_and_keys import Problem
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.values import Reading, read_value


def check_mapping(sheet: Sheet, mapping: Mapping) -> list[Problem]:
    """What keeps the whole sheet from being read: columns that are missing."""
    kind = find_kind(mapping.kind)
    there = {*sheet.headings, *mapping.parts}
    found = [
        _at_heading(sheet, heading, _no_column(heading))
        for heading in sorted((mapping.headings | set(mapping.columns.values())) - there)
    ]
    found += [
        _at_heading(sheet, heading, _no_column(heading))
        for heading in mapping.splits
        if heading not in sheet.headings and heading not in {each.column for each in found}
    ]
    given = {*mapping.columns, *mapping.fixed}
    for each in kind.fields:
        if each.required and each.name not in given:
            found.append(_at_heading(sheet, each.label, _not_mapped(each)))
    for group in kind.any_of:
        if not given & set(group):
            found.append(_at_heading(sheet, kind.field(group[0]).label, _none_mapped(kind, group)))
    return [*found, *_bad_fixed(sheet, mapping, kind)]


def _bad_fixed(sheet: Sheet, mapping: Mapping, kind: Kind) -> Iterator[Problem]:
    """One problem for each value given to every row that cannot be read."""
    for name, text in mapping.fixed.items():
        each = kind.field(name)
        how = reading_of(mapping, each, mapping.units.get(name))
        try:
            read_value(each, text, how)
        except ToolingError as error:
            heading = mapping.columns.get(name) or each.label
            yield Problem(sheet.name, sheet.heading_row, heading, text, error.code, error.message)


def reading_of(mapping: Mapping, each: Field, unit: str | None) -> Reading:
    """How the mapping says that the cells of a field are to be read."""
    return Reading(
        unit=unit,
        date_order=mapping.date_order,
        decimal_mark=mapping.decimal_mark,
        accept_improbable=each.name in mapping.accept,
    )


def _at_heading(sheet: Sheet, column: str, error: ToolingError) -> Problem:
    return Problem(sheet.name, sheet.heading_row, column, "", error.code, error.message)


def _no_column(heading: str) -> ToolingError:
    return ToolingError(
        "unknown_column", _("The sheet has no column “{heading}”. Choose another."), heading=heading
    )


def _not_mapped(each: Field) -> ToolingError:
    return ToolingError(
        "missing_column",
        _("No column gives “{field}”. Choose one, or one value for every row."),
        field=each.label,
    )


def _none_mapped(kind: Kind, group: tuple[str, ...]) -> ToolingError:
    return ToolingError(
        "missing_column",
        _("No column gives any of these: {fields}. Say which column does."),
        fields=", ".join(kind.field(name).label for name in group),
    )
