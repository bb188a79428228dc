"""Reads that every scan makes, their SQL built once per connection.

Building a statement from a QuerySet takes several times what SQLite or PostgreSQL needs to answer
it. A ``Prepared`` builds it once, remembers it with the connection, and afterwards only puts values
into it. The QuerySet stays where it was written.

On SQLite there is one statement for each number of values. PostgreSQL takes each list as an array,
reads and plans the one statement once a connection (``hot_cursor``), and is asked several things at
once (``one_trip``): on the way there and back a scan would spend more than on the answers.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.utils import CursorWrapper
from django.db.models import Model, QuerySet

MOST_VALUES = 128
"""Longer lists are rare on SQLite, and building their statement is little beside answering it."""

Row = tuple[Any, ...]
M = TypeVar("M", bound=Model)
_HOLE = re.compile(r"(%%|%s)")


@dataclass(frozen=True)
class _Statement:
    """One built statement. ``holes``: where in ``params`` the n-th list, or the n-th value of all
    lists, goes, and whether it is a UUID written as hex there."""

    sql: str
    params: tuple[Any, ...]
    holes: tuple[tuple[int, int, bool], ...]
    compiler: Any
    converters: dict[int, Any]

    def filled(self, values: Sequence[Any]) -> list[Any]:
        params = list(self.params)
        for at, number, as_hex in self.holes:
            params[at] = values[number].hex if as_hex else values[number]
        return params

    def as_rows(self, found: Sequence[Sequence[Any]]) -> list[Row]:
        if not self.converters:
            return [tuple(row) for row in found]
        return [tuple(row) for row in self.compiler.apply_converters(found, self.converters)]


class Asked:
    """A question that is under way; ``rows`` waits for the answer where it has not come yet."""

    def __init__(
        self,
        cursor: CursorWrapper | None = None,
        as_rows: Callable[[Sequence[Sequence[Any]]], list[Row]] | None = None,
        known: Sequence[Row] = (),
    ) -> None:
        self._cursor, self._as_rows, self._known = cursor, as_rows, list(known)

    def rows(self) -> list[Row]:
        """The answer; the same list each time."""
        if self._cursor is not None:
            with self._cursor as cursor:
                found = cursor.fetchall()
            self._known = self._as_rows(found) if self._as_rows else found
            self._cursor = None
        return self._known


@contextmanager
def one_trip() -> Iterator[None]:
    """What is asked and written inside through ``Prepared.ask`` and ``hot_cursor`` goes to
    PostgreSQL together, in its order, and the answers come back together; rows are read after it.
    Nothing else belongs inside but a further trip, which joins it. SQLite, which is no trip away,
    does each at once."""
    if connection.vendor != "postgresql":
        yield
        return
    connection.ensure_connection()
    if connection.connection.info.pipeline_status:
        yield
        return
    with connection.wrap_database_errors, connection.connection.pipeline():
        yield


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
        return self.ask(*lists).rows()

    def ask(self, *lists: Collection[Any]) -> Asked:
        """The same, without waiting for the answer inside ``one_trip``."""
        if not all(lists):
            return Asked()
        connection = connections[DEFAULT_DB_ALIAS]
        asked = [list(dict.fromkeys(each)) for each in lists]
        if connection.vendor == "postgresql":
            statement = self._known(connection, (), asked)
            values: list[Any] = asked
        else:
            asked = [_filled(each) for each in asked]
            sizes = tuple(len(each) for each in asked)
            if max(sizes, default=0) > MOST_VALUES:
                return Asked(known=list(self.build(*asked)))
            statement = self._known(connection, sizes, asked)
            values = [value for each in asked for value in each]
        cursor = hot_cursor(connection)
        cursor.execute(statement.sql, statement.filled(values))
        return Asked(cursor, statement.as_rows)

    def _known(
        self, connection: BaseDatabaseWrapper, sizes: tuple[int, ...], asked: list[list[Any]]
    ) -> _Statement:
        known: dict[Any, _Statement] = vars(connection).setdefault("rollroom_prepared", {})
        key = (self, sizes)
        if key not in known:
            as_arrays = connection.vendor == "postgresql"
            like = [each[:1] for each in asked] if as_arrays else asked
            built = self._built(connection, like)
            known[key] = _with_arrays(built) if as_arrays else built
        return known[key]

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


def _with_arrays(one: _Statement) -> _Statement:
    """The statement that was built with one value for each list, with an array in its place."""
    parts = _HOLE.split(one.sql)
    marks = [n for n, part in enumerate(parts) if part == "%s"]
    for at, _number, _as_hex in one.holes:
        before, after = parts[marks[at] - 1], parts[marks[at] + 1]
        if not (before.endswith(" IN (") and after.startswith(")")):
            raise AssertionError("a list went into the statement otherwise than for one __in")
        parts[marks[at] - 1] = before.removesuffix(" IN (") + " = ANY("
    return replace(one, sql="".join(parts))


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
