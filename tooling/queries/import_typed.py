"""The mapping page with what a person has just chosen, when it could not be used."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from tooling.queries.import_columns import ChoiceLine, ColumnLine
from tooling.queries.import_tables import PlaceLine, TableLine

Form = Mapping[str, str]


def as_typed(table: TableLine, form: Form) -> TableLine:
    """The table's choices as the form has them; what the form does not name stays."""
    s = f"s{table.number}-"
    return replace(
        table,
        kind=form.get(f"{s}kind", table.kind),
        left_out=bool(form.get(f"{s}out")),
        date_order=form.get(f"{s}dates", table.date_order),
        decimal_mark=form.get(f"{s}decimal", table.decimal_mark),
        copies=form.get(f"{s}copies", table.copies),
        groups=form.get(f"{s}groups", table.groups),
        keep_rows=form.get(f"{s}keep", table.keep_rows),
        drop_rows=form.get(f"{s}drop", table.drop_rows),
        place=_place(table.place, s, form) if table.place else None,
        left=tuple(replace(x, is_left=bool(form.get(f"{s}why-{x.why}"))) for x in table.left),
        columns=tuple(_column(each, s, form) for each in table.columns),
        fixed=tuple(
            replace(line, value=form.get(f"{s}f-{line.field}", line.value)) for line in table.fixed
        ),
        needs_a_look=True,
    )


def _place(place: PlaceLine, s: str, form: Form) -> PlaceLine:
    row, deep = form.get(f"{s}row", ""), form.get(f"{s}deep", "")
    return replace(
        place,
        row=int(row) if row.isdecimal() else place.row,
        deep=int(deep) if deep.isdecimal() else place.deep,
        first=form.get(f"{s}from", place.first),
        last=form.get(f"{s}to", place.last),
        last_row=form.get(f"{s}last", place.last_row),
        new_row=form.get(f"{s}new-row", ""),
        new_first=form.get(f"{s}new-from", ""),
        new_last=form.get(f"{s}new-to", ""),
        is_open=True,
    )


def _column(column: ColumnLine, s: str, form: Form) -> ColumnLine:
    return replace(
        column,
        pattern=form.get(f"{s}p{column.number}", column.pattern),
        choice=_choice(column.choice, s, form),
        parts=tuple(_choice(part, s, form) for part in column.parts),
    )


def _choice(choice: ChoiceLine, s: str, form: Form) -> ChoiceLine:
    if f"{s}h{choice.key}" not in form:
        return choice
    return replace(
        choice,
        field=form[f"{s}h{choice.key}"],
        unit=form.get(f"{s}u{choice.key}", choice.unit),
        blanks=form.get(f"{s}d{choice.key}", choice.blanks),
        accepts=bool(form.get(f"{s}a{choice.key}")),
    )
