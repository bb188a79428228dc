"""Planned rows, kept out of memory: temporary tables of this connection, gone when it ends.

A planned record has a negative key until it is written, so that others can point to it; an
existing record that changes lies in a table of edits, whole as it will be. Nothing here touches
the shop's own tables or takes the write lock.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from functools import lru_cache
from itertools import count, islice
from operator import attrgetter
from secrets import randbits
from types import TracebackType
from typing import Any

from django.db import connection
from django.db.models import (
    BooleanField,
    CharField,
    DateField,
    DecimalField,
    Field,
    FloatField,
    ForeignKey,
    IntegerField,
    Model,
    TextField,
    TimeField,
)

from tooling.models import (
    Allotment,
    Characteristic,
    ChartAxis,
    ChartPass,
    Drawing,
    DrawingFeature,
    DrawingRevision,
    LengthEntry,
    Movement,
    Piece,
    PieceAlias,
    Reading,
    SetFill,
    SetPass,
    SetPosition,
    StockLine,
    Work,
    WorkMeasure,
)

CHUNK = 400
PAGE = 1000
LOOKED_UP_BY: dict[type[Model], tuple[str, ...]] = {
    Drawing: ("number_key",),
    DrawingRevision: ("drawing_id",),
    Piece: ("code", "mark_key"),
    PieceAlias: ("text_key",),
    StockLine: ("drawing_id", "code"),
    SetPass: ("tool_set_id",),
    SetPosition: ("set_pass_id",),
    Allotment: ("position_id", "copy_id"),
    DrawingFeature: ("revision_id",),
    SetFill: ("set_pass_id",),
    Characteristic: ("tool_set_id",),
    ChartPass: ("chart_id",),
    ChartAxis: ("chart_pass_id",),
    Movement: ("piece_id",),
    Reading: ("piece_id",),
    Work: ("piece_id",),
    WorkMeasure: ("work_id",),
    LengthEntry: ("piece_id",),
}
"""Columns by which planned records are found again."""

TAKEN_AS_THEY_ARE = (
    CharField, TextField, BooleanField, FloatField, IntegerField, ForeignKey
)  # fmt: skip
"""Fields whose values every database takes without a change."""

OFTEN_THE_SAME = (DateField, TimeField, DecimalField)
"""Fields whose values are worth remembering once they are changed."""

NEW, EDIT = "stage_new_", "stage_edit_"
NEW_EXTRA = {"stage_key": "text", "stage_told": "bigint", "stage_said": "text"}
EDIT_EXTRA = {
    "stage_key": "text", "stage_told": "bigint", "stage_columns": "text", "stage_frees": "bigint",
    "stage_before": "text", "stage_after": "text",
}  # fmt: skip
"""Beside a record's own columns: by which key its change is filed, which row's doing it is (the
number of the outcome), and what the change says."""


def chunks(values: Iterable[Any], size: int = CHUNK) -> Iterator[list[Any]]:
    """The different values, in order, so many at a time."""
    rest = iter(sorted(set(values)))
    while part := list(islice(rest, size)):
        yield part


def is_new(record: Any) -> bool:
    """Whether the record is only planned."""
    return bool(record.pk is None or record.pk < 0)


def columns_of(model: type[Model]) -> list[Field[Any, Any]]:
    """The columns that are written; what the database generates is left out."""
    return [field for field in model._meta.concrete_fields if not field.generated]


class Stage:
    """The temporary tables of one plan. Use as a context: they go when it ends."""

    _turns = count(1)

    def __init__(self) -> None:
        self._turn = next(self._turns)
        self._made: list[str] = []
        self._numbers: dict[type[Model], int] = defaultdict(int)
        self._ready: dict[tuple[str, type[Model]], tuple[str, Callable[[Any], Any]]] = {}
        self._on_disk = False

    def __enter__(self) -> Stage:
        self._on_disk = connection.vendor == "sqlite" and not connection.in_atomic_block
        if self._on_disk:
            self.run("PRAGMA temp_store = FILE")
            self.run("PRAGMA temp.journal_mode = OFF")
            self.run("PRAGMA temp.cache_size = -4000")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        for name in self._made:
            self.run(f"DROP TABLE IF EXISTS {name}")
        if self._on_disk:
            self.run("PRAGMA temp_store = MEMORY")

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        """One statement; how many rows it met."""
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            return int(cursor.rowcount)

    def run_many(self, sql: str, rows: Sequence[Sequence[Any]]) -> None:
        if rows:
            with connection.cursor() as cursor:
                cursor.executemany(sql, rows)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
            return list(cursor.fetchall())

    def table(self, name: str, /, **columns: str) -> str:
        """A table of one's own, made when first asked for; gives its whole name."""
        name = f"{name}_{self._turn}"
        if name not in self._made:
            told = ", ".join(f"{column} {kind}" for column, kind in columns.items())
            self.run(f"CREATE TEMP TABLE {name} ({told})")
            self._made.append(name)
        return name

    def number(self, model: type[Model]) -> int:
        """The key of the next planned record of this model: -1, -2 …"""
        self._numbers[model] += 1
        return -self._numbers[model]

    def planned(self, model: type[Model]) -> int:
        """How many keys of planned records were given out."""
        return self._numbers.get(model, 0)

    def has(self, model: type[Model], kind: str = NEW) -> bool:
        return self._name(model, kind) in self._made

    def _name(self, model: type[Model], kind: str) -> str:
        return f"{kind}{model._meta.model_name}_{self._turn}"

    def of(self, model: type[Model], kind: str = NEW) -> str:
        """The table of planned (or, with ``EDIT``, of changing) records of a model."""
        name = self._name(model, kind)
        if name not in self._made:
            self._make(name, model, NEW_EXTRA if kind == NEW else EDIT_EXTRA)
        return name

    def _make(self, name: str, model: type[Model], extra: dict[str, str]) -> None:
        quote = connection.ops.quote_name
        own = ", ".join(quote(str(field.column)) for field in model._meta.concrete_fields)
        further = ", ".join(
            f"CAST({0 if kind == 'bigint' else repr('')} AS {kind}) AS {column}"
            for column, kind in extra.items()
        )
        self.run(
            f"CREATE TEMP TABLE {name} AS SELECT {own}, {further} "
            f"FROM {quote(model._meta.db_table)} WHERE 1 = 0"
        )
        self._made.append(name)
        self.run(f"CREATE UNIQUE INDEX {name}_id ON {name} (id)")
        for column in LOOKED_UP_BY.get(model, ()):
            self.run(f"CREATE INDEX {name}_{column} ON {name} ({column})")

    def put(self, records: Sequence[Any], kind: str = NEW) -> None:
        """Keep planned records of one model, or changing ones, that are not here yet.

        Further columns (``stage_key`` …) are attributes of the record.
        """
        if records:
            model = type(records[0])
            name = self.of(model, kind)
            insert, taken = self._ready.get((kind, model)) or self._prepare(kind, model, name)
            self.run_many(insert, [taken(record) for record in records])

    def put_again(self, records: Sequence[Any], kind: str = NEW) -> None:
        """The same for records that may be here already: they are replaced."""
        if records:
            name = self.of(type(records[0]), kind)
            for part in chunks(record.pk for record in records):
                marks = ", ".join(["%s"] * len(part))
                self.run(f"DELETE FROM {name} WHERE id IN ({marks})", part)
            self.put(records, kind)

    def _prepare(
        self, kind: str, model: type[Model], name: str
    ) -> tuple[str, Callable[[Any], Any]]:
        quote = connection.ops.quote_name
        extra = NEW_EXTRA if kind == NEW else EDIT_EXTRA
        fields = model._meta.concrete_fields
        names = [quote(str(field.column)) for field in fields] + list(extra)
        sources = [_source(field) for field in fields] + list(extra)
        values = attrgetter(*sources)
        special = {at: _converter(field) for at, field in enumerate(fields)}
        needed = {at: change for at, change in special.items() if change is not None}

        def taken(record: Any) -> list[Any]:
            row = list(values(record))
            for at, change in needed.items():
                if row[at] is not None:
                    row[at] = change(row[at])
            return row

        marks = ", ".join(["%s"] * len(names))
        insert = f"INSERT INTO {name} ({', '.join(names)}) VALUES ({marks})"
        self._ready[kind, model] = (insert, taken)
        return insert, taken

    def find(
        self, model: type[Model], column: str, values: Iterable[Any], kind: str = NEW
    ) -> list[Any]:
        """The planned (or changing) records with one of these values in a column."""
        if not self.has(model, kind):
            return []
        name, found = self.of(model, kind), []
        for part in chunks(values):
            marks = ", ".join(["%s"] * len(part))
            sql = f"SELECT * FROM {name} WHERE {column} IN ({marks}) ORDER BY id DESC"
            found += list(model._default_manager.raw(sql, part))
        return found

    def pages(
        self, sql: str, *, key: str, after: Any, descending: bool = False, size: int = PAGE
    ) -> Iterator[list[tuple[Any, ...]]]:
        """The rows of a query that begins with its key, a page at a time: none is held longer.

        ``sql`` is a SELECT with a WHERE at its end.
        """
        sign, order = ("<", "DESC") if descending else (">", "ASC")
        asked = f"{sql} {key} {sign} %s ORDER BY {key} {order} LIMIT {size}"
        while page := self.rows(asked, [after]):
            yield page
            after = page[-1][0]


def _source(field: Field[Any, Any]) -> str:
    """The attribute that fills a column; a generated key is made from the text it folds."""
    return field.attname.removesuffix("_key") if field.generated else field.attname


def _converter(field: Field[Any, Any]) -> Callable[[Any], Any] | None:
    """What turns the attribute into what the database takes; None where it takes it as it is."""
    if field.generated:
        return str.upper
    if isinstance(field, TAKEN_AS_THEY_ARE):
        return None

    def change(value: Any) -> Any:
        return field.get_db_prep_save(value, connection)

    return lru_cache(64)(change) if isinstance(field, OFTEN_THE_SAME) else change


class Uuids:
    """Version 7 of RFC 9562: they grow with time, so an index takes many of them side by side."""

    def __init__(self, at: datetime) -> None:
        self._milliseconds = int(at.timestamp() * 1000)
        self._turn = randbits(8)

    def next(self) -> uuid.UUID:
        self._turn += 1
        more, turn = divmod(self._turn, 4096)
        high = (self._milliseconds + more) << 16 | 7 << 12 | turn
        return uuid.UUID(int=high << 64 | 2 << 62 | randbits(62))
