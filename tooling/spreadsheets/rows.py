"""A sheet and a mapping become rows and problems."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, is_blank, shown
from tooling.spreadsheets.fields import Field, Kind
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.values import Reading, read_value


@dataclass(frozen=True)
class Row:
    """The values of one row: every mapped field, None where the cell is blank.

    ``units``: the unit in which each measured value was written.
    """

    values: dict[str, Any]
    units: dict[str, str] = field(default_factory=dict)
    sheet: str = ""
    row: int = 0

    def unit(self, kind: Kind) -> str | None:
        """``mm`` or ``in``: as the row says, else as most of its lengths are written."""
        if kind.unit_field and self.values.get(kind.unit_field):
            return str(self.values[kind.unit_field])
        written = [unit for unit in self.units.values() if unit in ("mm", "in")]
        return max(("mm", "in"), key=written.count) if written else None


@dataclass(frozen=True)
class Problem:
    """What is wrong, and where. ``row`` is the sheet's own row number, ``column`` its heading."""

    sheet: str
    row: int
    column: str
    value: str
    code: str
    message: str

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


def read_rows(sheet: Sheet, mapping: Mapping) -> tuple[list[Row], list[Problem]]:
    """Every good row, and every problem of the others. Nothing is raised for bad cells."""
    rows: list[Row] = []
    problems: list[Problem] = []
    for each in iterate(sheet, mapping):
        if isinstance(each, Row):
            rows.append(each)
        else:
            problems.append(each)
    return rows, problems


def iterate(sheet: Sheet, mapping: Mapping) -> Iterator[Row | Problem]:
    """The rows and problems as the sheet is read, with flat memory but for the keys seen."""
    problems = check_mapping(sheet, mapping)
    if problems:
        yield from problems
    else:
        yield from _SheetReader(sheet, mapping).run()


def check_mapping(sheet: Sheet, mapping: Mapping) -> list[Problem]:
    """What keeps the whole sheet from being read: columns that are missing."""
    kind = find_kind(mapping.kind)
    found = [
        _at_heading(sheet, heading, _no_column(heading))
        for heading in mapping.columns.values()
        if heading not in sheet.headings
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
        how = _reading(mapping, each, mapping.units.get(name))
        try:
            read_value(each, text, how)
        except ToolingError as error:
            heading = mapping.columns.get(name) or each.label
            yield Problem(sheet.name, sheet.heading_row, heading, text, error.code, error.message)


def _reading(mapping: Mapping, each: Field, unit: str | None) -> Reading:
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


def _none_of(kind: Kind, group: tuple[str, ...]) -> ToolingError:
    return ToolingError(
        "missing_value",
        _("One of these is needed: {fields}."),
        fields=", ".join(kind.field(name).label for name in group),
    )


def _blank_required() -> ToolingError:
    return ToolingError("missing_value", _("The cell is blank. It must be filled in."))


class _SheetReader:
    """Reads one sheet once, remembering keys, repeated facts and the cells above."""

    def __init__(self, sheet: Sheet, mapping: Mapping) -> None:
        self.sheet, self.mapping, self.kind = sheet, mapping, find_kind(mapping.kind)
        self.fields = [each for each in self.kind.fields if each.name in self._given()]
        self.place = {
            name: sheet.headings.index(heading) for name, heading in mapping.columns.items()
        }
        self.keys: dict[tuple[Any, ...], int] = {}
        self.facts: dict[tuple[Any, ...], tuple[Any, int]] = {}
        self.above: dict[str, Cell] = {}
        self.told_unit: set[str] = set()

    def _given(self) -> set[str]:
        return {*self.mapping.columns, *self.mapping.fixed}

    def run(self) -> Iterator[Row | Problem]:
        for number, cells in self.sheet.rows():
            yield from self._read(number, cells)

    def _read(self, number: int, cells: tuple[Cell, ...]) -> Iterator[Row | Problem]:
        if self.sheet.is_text and any(not is_blank(c) for c in cells[len(self.sheet.headings) :]):
            yield self._problem(number, "", shown(cells[-1]), _too_many_cells())
            return
        row, problems = self._values(number, cells)
        if not problems:
            rows = self._expanded(row)
            problems = [each for one in rows for each in self._across(one)]
            if not problems:
                yield from rows
                return
        yield from (problem for problem in problems if problem is not None)

    def _values(self, number: int, cells: tuple[Cell, ...]) -> tuple[Row, list[Problem | None]]:
        row = Row({}, {}, self.sheet.name, number)
        problems: list[Problem | None] = []
        row_unit = self._row_unit(cells)
        for each in self.fields:
            cell = self._cell(each.name, cells)
            try:
                value, unit = self._one(each, cell, row_unit)
            except ToolingError as error:
                problems.append(self._bad_cell(number, each, cell, error))
                continue
            row.values[each.name] = value
            if unit and value is not None:
                row.units[each.name] = unit
        if not problems:
            problems += [*self._groups(row), *self._out_of_order(row)]
        return row, problems

    def _cell(self, name: str, cells: tuple[Cell, ...]) -> Cell:
        at = self.place.get(name)
        cell = cells[at] if at is not None and at < len(cells) else None
        if name in self.mapping.fill_down:
            if is_blank(cell):
                cell = self.above.get(name)
            self.above[name] = cell
        return self.mapping.fixed.get(name) if is_blank(cell) else cell

    def _one(self, each: Field, cell: Cell, row_unit: str | None) -> tuple[Any, str | None]:
        if is_blank(cell):
            if each.required:
                raise _blank_required()
            return None, None
        unit = self.mapping.units.get(each.name) or (row_unit if "mm" in each.units else None)
        return read_value(each, cell, _reading(self.mapping, each, unit))

    def _row_unit(self, cells: tuple[Cell, ...]) -> str | None:
        name = self.kind.unit_field
        if name is None or name not in self._given():
            return None
        cell = self._cell(name, cells)
        try:
            value, _unit = self._one(replace(self.kind.field(name), required=False), cell, None)
        except ToolingError:
            return None
        return str(value) if value else None

    def _bad_cell(
        self, number: int, each: Field, cell: Cell, error: ToolingError
    ) -> Problem | None:
        """The problem; None when the same column's missing unit has been told already."""
        if error.code == "unit_missing":
            if each.name in self.told_unit:
                return None
            self.told_unit.add(each.name)
        return self._problem(number, each.name, shown(cell), error)

    def _problem(self, number: int, name: str, value: str, error: ToolingError) -> Problem:
        column = self.mapping.columns.get(name) or (self.kind.field(name).label if name else "")
        return Problem(self.sheet.name, number, column, value, error.code, error.message)

    def _groups(self, row: Row) -> list[Problem]:
        return [
            self._problem(row.row, group[0], "", _none_of(self.kind, group))
            for group in self.kind.any_of
            if all(row.values.get(name) is None for name in group)
        ]

    def _out_of_order(self, row: Row) -> list[Problem]:
        found = []
        for small, large in self.kind.ordered:
            one, other = row.values.get(small), row.values.get(large)
            if one is not None and other is not None and one > other:
                told = _exceeds(self.kind.field(small), one, self.kind.field(large), other)
                found.append(
                    self._problem(row.row, small, _plainly(self.kind.field(small), one), told)
                )
        return found

    def _expanded(self, row: Row) -> list[Row]:
        if self.kind.expand is None:
            return [row]
        return [replace(row, values=values) for values in self.kind.expand(row.values)]

    def _across(self, row: Row) -> list[Problem]:
        return [*self._repeated_key(row), *self._contradictions(row)]

    def _repeated_key(self, row: Row) -> list[Problem]:
        names = row_key(self.kind, row)
        if names is None:
            return []
        key = (names, *(_folded(row.values.get(name)) for name in names))
        first = self.keys.setdefault(key, row.row)
        if first == row.row:
            return []
        value = ", ".join(shown(row.values[n]) for n in names if row.values.get(n) is not None)
        return [self._problem(row.row, names[0], value, _duplicate(value, first))]

    def _contradictions(self, row: Row) -> list[Problem]:
        found = []
        for each in self.fields:
            value = row.values.get(each.name)
            about = tuple(_folded(row.values.get(name)) for name in each.of)
            if not each.of or value is None or None in about:
                continue
            first_value, first = self.facts.setdefault((each.name, *about), (value, row.row))
            if first_value != value:
                told = _contradicts(each, first_value, first)
                found.append(self._problem(row.row, each.name, _plainly(each, value), told))
        return found


def row_key(kind: Kind, row: Row) -> tuple[str, ...] | None:
    """The names of the fields that identify the row; None when it has none of the kind's keys."""
    for names in kind.keys:
        wanted = [name for name in names if name not in kind.keys_optional]
        if all(row.values.get(name) is not None for name in wanted):
            return names
    return None


def _folded(value: Any) -> Any:
    return value.casefold() if isinstance(value, str) else value


def _plainly(each: Field, value: Any) -> str:
    if each.units and isinstance(value, int):
        return f"{value / 1_000_000:.6f}".rstrip("0").rstrip(".") + " mm"
    return shown(value)


def _duplicate(value: str, first: int) -> ToolingError:
    return ToolingError(
        "duplicate_row",
        _("“{value}” stands in row {first} already. Leave one of the two, or tell them apart."),
        value=value,
        first=first,
    )


def _contradicts(each: Field, value: Any, first: int) -> ToolingError:
    return ToolingError(
        "contradicts_row",
        _("“{field}” was {value} in row {first}. It must be the same, or blank."),
        field=each.label,
        value=_plainly(each, value),
        first=first,
    )


def _exceeds(small: Field, one: Any, large: Field, other: Any) -> ToolingError:
    return ToolingError(
        "wrong_order",
        _("“{small}” ({one}) cannot exceed “{large}” ({other}). Check both."),
        small=small.label,
        one=_plainly(small, one),
        large=large.label,
        other=_plainly(large, other),
    )


def _too_many_cells() -> ToolingError:
    return ToolingError(
        "too_many_cells",
        _(
            "The row has more cells than there are headings. A comma inside a value is probably "
            "not in quotation marks."
        ),
    )
