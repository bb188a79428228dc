"""A sheet and a mapping become rows and problems."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, CellError, is_blank, shown
from tooling.spreadsheets.checking import check_mapping, reading_of
from tooling.spreadsheets.copies import Letters
from tooling.spreadsheets.fields import Field, Kind
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.picking import NotSplit, Picked, Picker
from tooling.spreadsheets.rows_and_keys import Problem, Row, folded, key_hash, row_key
from tooling.spreadsheets.sheets import Sheet
from tooling.spreadsheets.splits import said
from tooling.spreadsheets.values import read_value

__all__ = [
    "Problem",
    "ReadCell",
    "Row",
    "check_mapping",
    "iterate",
    "read_cells",
    "read_rows",
    "row_key",
]


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
        letters = _letters(sheet, mapping) if mapping.copies else None
        yield from _SheetReader(sheet, mapping).run(letters)


def _letters(sheet: Sheet, mapping: Mapping) -> Letters:
    """The letters of all rows, counted."""
    letters = Letters(find_kind(mapping.kind))
    for row in _SheetReader(sheet, mapping).good_rows():
        letters.count(row)
    return letters


def _none_of(kind: Kind, group: tuple[str, ...]) -> ToolingError:
    return ToolingError(
        "missing_value",
        _("One of these is needed: {fields}."),
        fields=", ".join(kind.field(name).label for name in group),
    )


def _blank_required() -> ToolingError:
    return ToolingError("missing_value", _("The cell is blank. It must be filled in."))


@dataclass(frozen=True)
class ReadCell:
    """One cell as it was understood; ``above``: it stands in a row above."""

    cell: Cell | NotSplit
    value: Any = None
    unit: str | None = None
    above: bool = False
    error: ToolingError | None = None


def read_cells(sheet: Sheet, mapping: Mapping) -> Iterator[tuple[int, dict[str, ReadCell]]]:
    """(row number, field → its cell) of every row, also of rows with something wrong in them.

    Columns that the sheet does not have are passed over.
    """
    there = {*sheet.headings, *mapping.parts}
    columns = {name: heading for name, heading in mapping.columns.items() if heading in there}
    splits = {each: how for each, how in mapping.splits.items() if each in sheet.headings}
    reader = _SheetReader(sheet, replace(mapping, columns=columns, splits=splits))
    for number, cells in sheet.rows():
        yield number, reader.read_cells(number, cells)


class _SheetReader:
    """Reads one sheet once, remembering keys, repeated facts and the cells above."""

    def __init__(self, sheet: Sheet, mapping: Mapping) -> None:
        self.sheet, self.mapping, self.kind = sheet, mapping, find_kind(mapping.kind)
        self.fields = [each for each in self.kind.fields if each.name in self._given()]
        self.picker = Picker(sheet, mapping)
        self.keys: dict[int, int] = {}
        self.facts: dict[tuple[Any, ...], tuple[Any, int]] = {}
        self.told_unit: set[str] = set()
        self.told_split: set[tuple[int, str]] = set()

    def _given(self) -> set[str]:
        return {*self.mapping.columns, *self.mapping.fixed}

    def run(self, letters: Letters | None = None) -> Iterator[Row | Problem]:
        """Every good row, with a copy letter where it needs one, and every problem."""
        for number, cells in self.sheet.rows():
            row, problems = self._read(number, cells)
            yield from problems
            if row is not None:
                if letters is not None:
                    letters.give(row)
                yield from self._placed(row)

    def good_rows(self) -> Iterator[Row]:
        """The rows with nothing wrong in themselves, whatever the others say."""
        for number, cells in self.sheet.rows():
            row, _problems = self._read(number, cells)
            if row is not None:
                yield row

    def _placed(self, row: Row) -> Iterator[Row | Problem]:
        """The row, or the rows it stands for, unless it contradicts another."""
        rows = self._expanded(row)
        problems = [each for one in rows for each in self._across(one)]
        yield from problems or rows

    def _read(self, number: int, cells: tuple[Cell, ...]) -> tuple[Row | None, list[Problem]]:
        """The row by itself, None where something in it is wrong, and what that is."""
        width = len(self.sheet.headings)
        if self.sheet.is_text and any(not is_blank(cell) for cell in cells[width:]):
            return None, [self._problem(number, "", shown(cells[-1]), _too_many_cells())]
        row, bad_cells = self._values(number, cells)
        if bad_cells:
            return None, [each for each in bad_cells if each is not None]
        problems = [*self._groups(row), *self._out_of_order(row)]
        return (None if problems else row), problems

    def _values(self, number: int, cells: tuple[Cell, ...]) -> tuple[Row, list[Problem | None]]:
        values, units = {}, {}
        problems: list[Problem | None] = []
        found = self.read_cells(number, cells)
        for each in self.fields:
            read = found[each.name]
            if read.error is not None:
                problems.append(self._bad_cell(number, each, read.cell, read.error))
                continue
            values[each.name] = read.value
            if read.unit and read.value is not None:
                units[each.name] = read.unit
        above = frozenset(name for name, read in found.items() if read.above)
        return Row(values, units, self.sheet.name, number, above), problems

    def read_cells(self, number: int, cells: tuple[Cell, ...]) -> dict[str, ReadCell]:
        """Field → what its cell says, or why it says nothing; rows in order, each once."""
        picked = {each.name: self.picker.pick(each.name, number, cells) for each in self.fields}
        row_unit = self._row_unit(picked)
        found = {}
        for each in self.fields:
            cell, above = picked[each.name].cell, picked[each.name].above
            try:
                value, unit = self._one(each, cell, row_unit, number)
                found[each.name] = ReadCell(cell, value, unit, above)
            except ToolingError as error:
                found[each.name] = ReadCell(cell, above=above, error=error)
        return found

    def _one(
        self, each: Field, cell: Cell | NotSplit, row_unit: str | None, number: int
    ) -> tuple[Any, str | None]:
        if isinstance(cell, NotSplit):
            raise not_split(cell)
        if is_blank(cell):
            if each.required:
                raise _blank_required()
            return None, None
        unit = self.mapping.units.get(each.name) or (row_unit if "mm" in each.units else None)
        how = reading_of(self.mapping, each, unit)
        if isinstance(cell, CellError) and not self.sheet.is_text:
            column = self.picker.column(each.name)
            named = "" if column is None else self.sheet.cell_name(number, column)
            how = replace(how, cell=named)
        return read_value(each, cell, how)

    def _row_unit(self, picked: dict[str, Picked]) -> str | None:
        name = self.kind.unit_field
        if name is None or name not in picked:
            return None
        try:
            field = replace(self.kind.field(name), required=False)
            value, _unit = self._one(field, picked[name].cell, None, 0)
        except ToolingError:
            return None
        return str(value) if value else None

    def _bad_cell(
        self, number: int, each: Field, cell: Cell | NotSplit, error: ToolingError
    ) -> Problem | None:
        """The problem; None when the same column's missing unit, or the same cell of several
        parts, has been told already."""
        if isinstance(cell, NotSplit):
            told = (number, cell.heading)
            if told in self.told_split:
                return None
            self.told_split.add(told)
            return Problem(
                self.sheet.name, number, cell.heading, cell.text, error.code, error.message
            )
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
        first = self.keys.setdefault(key_hash(names, row), row.row)
        if first == row.row:
            return []
        value = ", ".join(shown(row.values[n]) for n in names if row.values.get(n) is not None)
        return [self._problem(row.row, names[0], value, _duplicate(value, first))]

    def _contradictions(self, row: Row) -> list[Problem]:
        found = []
        for each in self.fields:
            value = row.values.get(each.name)
            about = tuple(folded(row.values.get(name)) for name in each.of)
            if not each.of or value is None or None in about:
                continue
            first_value, first = self.facts.setdefault((each.name, *about), (value, row.row))
            if first_value != value:
                told = _contradicts(each, first_value, first)
                found.append(self._problem(row.row, each.name, _plainly(each, value), told))
        return found


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


def not_split(cell: NotSplit) -> ToolingError:
    """The problem of a cell that cannot be taken apart as its column is."""
    return ToolingError(
        "not_split",
        _("“{value}” does not read as {pattern}. Write it so, or split the column otherwise."),
        value=cell.text,
        pattern=said(cell.pattern),
    )


def _too_many_cells() -> ToolingError:
    return ToolingError(
        "too_many_cells",
        _(
            "The row has more cells than there are headings. A comma inside a value is probably "
            "not in quotation marks."
        ),
    )
