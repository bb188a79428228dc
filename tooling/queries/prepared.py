"""Reads that every scan makes, their SQL built once per connection.

Building a statement from a QuerySet takes several times what SQLite or PostgreSQL needs to answer
it. A ``Prepared`` builds it once for each number of values asked for, remembers it with the
connection, and afterwards only puts values into it. The QuerySet stays where it was written.
PostgreSQL reads and plans such a statement once a connection too (``hot_cursor``).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.utils import CursorWrapper
from django.db.models import Model, QuerySet

MOST_VALUES = 128
"""Longer lists are rare, and building their statement is little beside answering it."""

Row = tuple[Any, ...]
M = TypeVar("M", bound=Model)


@dataclass(frozen=True)
class _Statement:
    """One built statement. ``holes``: where in ``params`` the n-th value of all lists goes."""

    sql: str
    params: tuple[Any, ...]
    holes: tuple[tuple[int, int, bool], ...]
    compiler: Any
    converters: dict[int, Any]

    def rows(self, connection: BaseDatabaseWrapper, values: Sequence[Any]) -> list[Row]:
        params = list(self.params)
        for at, number, as_hex in self.holes:
            params[at] = values[number].hex if as_hex else values[number]
        with hot_cursor(connection) as cursor:
            cursor.execute(self.sql, params)
            found = cursor.fetchall()
        if not self.converters:
            return [tuple(row) for row in found]
        return [tuple(row) for row in self.compiler.apply_converters(found, self.converters)]


def hot_cursor(connection: BaseDatabaseWrapper) -> CursorWrapper:
    """A cursor for statements that come again and again with other values.

    Django's own puts the values into the text, so that PostgreSQL plans every one anew; this one
    sends them beside it, and after five times the plan is kept with the connection.
    """
    if connection.vendor != "postgresql":
        return connection.cursor()
    connection.ensure_connection()
    native = _binding_cursor()(connection.connection)
    if connection.queries_logged:
        return connection.make_debug_cursor(native)
    return connection.make_cursor(native)


@cache
def _binding_cursor() -> Any:
    from django.db.backends.postgresql.base import ServerBindingCursor  # noqa: PLC0415 (needs psycopg)

    return ServerBindingCursor


class Prepared:
    """A read of plain columns: ``build`` takes lists of values, each for one ``__in``, and gives a
    ``values_list``. Called with such lists it gives the rows; with an empty one, none."""

    def __init__(self, build: Callable[..., QuerySet[Any, Any]]) -> None:
        self.build = build

    def __call__(self, *lists: Collection[Any]) -> list[Row]:
        if not all(lists):
            return []
        asked = [_filled(list(dict.fromkeys(each))) for each in lists]
        sizes = tuple(len(each) for each in asked)
        if max(sizes, default=0) > MOST_VALUES:
            return list(self.build(*asked))
        connection = connections[DEFAULT_DB_ALIAS]
        known: dict[Any, _Statement] = vars(connection).setdefault("rollroom_prepared", {})
        key = (self, sizes)
        if key not in known:
            known[key] = self._built(connection, asked)
        return known[key].rows(connection, [value for each in asked for value in each])

    def _built(self, connection: BaseDatabaseWrapper, asked: list[list[Any]]) -> _Statement:
        """With marks of the same kind in the place of the values, to see where they go."""
        marks: list[list[Any]] = []
        for each in asked:
            begin = sum(len(other) for other in marks)
            marks.append([_mark(begin + n, each[0]) for n in range(len(each))])
        compiler = self.build(*marks).query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        flat = [mark for each in marks for mark in each]
        converters = compiler.get_converters([each[0] for each in compiler.select])
        return _Statement(sql, tuple(params), tuple(_holes(params, flat)), compiler, converters)


def _filled(values: list[Any]) -> list[Any]:
    """As many as the next power of two, the last over and over: few sizes, so few statements."""
    size = 1 << (len(values) - 1).bit_length()
    return values + values[-1:] * (size - len(values)) if size <= MOST_VALUES else values


def _mark(number: int, like: Any) -> Any:
    """A value that nothing in the database has."""
    if isinstance(like, UUID):
        return UUID(int=(0xF0_0D << 96) + number)
    return f"\x02{number}\x02" if isinstance(like, str) else 2**40 + number


def _holes(params: Sequence[Any], marks: Sequence[Any]) -> list[tuple[int, int, bool]]:
    """(place in params, number of the mark, whether a UUID is written as hex there)."""
    found = []
    for at, param in enumerate(params):
        for number, mark in enumerate(marks):
            is_hex = isinstance(mark, UUID) and param == mark.hex
            if is_hex or (type(param) is type(mark) and param == mark):
                found.append((at, number, is_hex))
    missed = set(range(len(marks))) - {number for _at, number, _hex in found}
    if missed:
        raise AssertionError("a value went into the statement in another form")
    return found


@cache
def columns(model: type[Model]) -> tuple[str, ...]:
    """The names under which a ``values_list`` gives what ``made`` takes."""
    return tuple(field.attname for field in model._meta.concrete_fields)


def made(model: type[M], row: Sequence[Any]) -> M:
    """The instance of a row of ``columns``."""
    return model.from_db(DEFAULT_DB_ALIAS, columns(model), list(row))
