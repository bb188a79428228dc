"""Rows as lines of JSON that do not depend on the database, and back.

A line is the list of a row's columns in the order of the model's fields, written in one way only
(keys sorted, times in UTC), so that two equal rows are equal lines on SQLite and PostgreSQL.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Any
from uuid import UUID

from django.apps.registry import Apps
from django.db import DEFAULT_DB_ALIAS, connection
from django.db.models import (
    BooleanField,
    CharField,
    Field,
    FloatField,
    ForeignKey,
    IntegerField,
    JSONField,
    Model,
    TextField,
)

CHUNK = 2_000
AS_WRITTEN = (BooleanField, CharField, FloatField, IntegerField, TextField)

KEPT_APPS = ("authtoken", "tooling")
LEFT_OUT: Mapping[str, str] = MappingProxyType(
    {
        "auth": "roles are in code; Django's groups and permissions are not used",
        "axes": "log-in attempts of the moment",
        "contenttypes": "made anew by migrate",
        "sessions": "people log in again after a restore",
    }
)
"""Apps with tables that a backup leaves out, each with the reason."""


def kept_models(apps: Apps) -> list[type[Model]]:
    """Every model with a table that is kept, by the table's name."""
    models = [
        model
        for label in KEPT_APPS
        for model in apps.get_app_config(label).get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy
    ]
    return sorted(models, key=lambda model: model._meta.db_table)


def columns(model: type[Model]) -> list[Field[Any, Any]]:
    """The columns that are kept: all but those that the database generates."""
    return [field for field in model._meta.local_concrete_fields if not field.generated]


def names(model: type[Model]) -> list[str]:
    """The names of the kept columns, in the order in which lines are written."""
    return [field.attname for field in columns(model)]


def lines(
    model: type[Model], names: Sequence[str], using: str = DEFAULT_DB_ALIAS
) -> Iterator[bytes]:
    """Every row's named columns as one line, by key; streams, so that memory stays flat."""
    kind = {field.attname: field for field in columns(model)}
    loose = [place for place, name in enumerate(names) if isinstance(kind[name], JSONField)]
    rows = model._base_manager.using(using).order_by("pk").values_list(*names)
    for row in rows.iterator(chunk_size=CHUNK):
        yield encode(row, loose)


def encode(row: Sequence[Any], loose: Sequence[int] = ()) -> bytes:
    """One row as one line. ``loose`` are the places of JSON columns, in which PostgreSQL does not
    tell 2.0 from 2."""
    if loose:
        row = list(row)
        for place in loose:
            row[place] = _plain(row[place])
    text = json.dumps(
        row, default=_plain_text, sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    return text.encode() + b"\n"


def _plain(value: Any) -> Any:
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return value


def _plain_text(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, (date, UUID, Decimal)):
        return str(value)
    raise TypeError(f"a backup cannot hold {type(value).__name__}")


def insert(model: type[Model], names: Sequence[str], source: Iterator[bytes]) -> int:
    """Write the lines' rows into the model's table as they are; how many there were."""
    by_name = {field.attname: field for field in columns(model)}
    fields = [by_name[name] for name in names]
    quote = connection.ops.quote_name
    targets = ", ".join(quote(str(field.column)) for field in fields)
    slots = ", ".join(["%s"] * len(fields))
    sql = f"INSERT INTO {quote(model._meta.db_table)} ({targets}) VALUES ({slots})"
    decode = _decoder(fields)
    written = 0
    batch: list[list[Any]] = []
    with connection.cursor() as cursor:
        for line in source:
            batch.append(decode(line))
            if len(batch) == CHUNK:
                cursor.executemany(sql, batch)
                written, batch = written + len(batch), []
        if batch:
            cursor.executemany(sql, batch)
    return written + len(batch)


def _decoder(fields: Sequence[Field[Any, Any]]) -> Callable[[bytes], list[Any]]:
    """A line to what the database driver takes; numbers, words and truth go as they are."""
    loose = [place for place, field in enumerate(fields) if not _is_as_written(field)]

    def decode(line: bytes) -> list[Any]:
        row: list[Any] = json.loads(line)
        for place in loose:
            if row[place] is not None or isinstance(fields[place], JSONField):
                field = fields[place]
                row[place] = field.get_db_prep_save(field.to_python(row[place]), connection)
        return row

    return decode


def _is_as_written(field: Field[Any, Any]) -> bool:
    kind = field.target_field if isinstance(field, ForeignKey) else field
    return isinstance(kind, AS_WRITTEN)
