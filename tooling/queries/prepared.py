"""Reads that every scan makes, their SQL built once per connection.

Building a statement from a QuerySet takes several times what SQLite or PostgreSQL needs to answer
it. A ``Prepared`` builds it once, remembers it with the connection, and afterwards only puts values
into it. The QuerySet stays where it was written.

A list is one value of the statement, however long: an array for PostgreSQL, JSON for SQLite.
PostgreSQL plans the statement once a connection (``hot_cursor``), and is asked several things at
once (``one_trip``): on the way there and back a scan would spend more than on the answers.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.utils import CursorWrapper
from django.db.models import Model, QuerySet

Row = tuple[Any, ...]
M = TypeVar("M", bound=Model)
_HOLE = re.compile(r"(%%|%s)")


@dataclass(frozen=True)
class _Statement:
    """One built statement. ``holes``: where in ``params`` the n-th list goes, and whether its
    values are UUIDs written as hex there."""

    sql: str
    params: tuple[Any, ...]
    holes: tuple[tuple[int, int, bool], ...]
    compiler: Any
    converters: dict[int, Any]

    def filled(self, lists: Sequence[list[Any]], *, as_json: bool) -> list[Any]:
        params = list(self.params)
        for at, number, as_hex in self.holes:
            values = [value.hex for value in lists[number]] if as_hex else lists[number]
            params[at] = json.dumps(values) if as_json else values
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
    PostgreSQL together, in its order, and the answers come back together. Rows are read after it;
    read inside, they cost a trip of their own. Nothing else belongs inside but a further trip,
    which joins it. SQLite, which is no trip away, does each at once."""
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
        known: dict[Prepared, _Statement] = vars(connection).setdefault("rollroom_prepared", {})
        if self not in known:
            known[self] = self._built(connection, asked)
        values = known[self].filled(asked, as_json=connection.vendor == "sqlite")
        cursor = hot_cursor(connection)
        cursor.execute(known[self].sql, values)
        return Asked(cursor, known[self].as_rows)

    def _built(self, connection: BaseDatabaseWrapper, asked: list[list[Any]]) -> _Statement:
        """With a mark of the same kind in the place of each list's values, to see where it goes."""
        marks = [_mark(n, each[0]) for n, each in enumerate(asked)]
        compiler = self.build(*([mark] for mark in marks)).query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        holes = tuple(_holes(params, marks))
        converters = compiler.get_converters([each[0] for each in compiler.select])
        wanted = WANTED[connection.vendor]
        return _Statement(
            _with_lists(sql, holes, wanted), tuple(params), holes, compiler, converters
        )


WANTED = {
    "postgresql": (" = ANY(", ")"),
    "sqlite": (" IN (SELECT value FROM json_each(", "))"),
}
"""What stands round a list in the place of ``IN (…)``."""


def _with_lists(sql: str, holes: Sequence[tuple[int, int, bool]], wanted: tuple[str, str]) -> str:
    """The statement that was built with one value for each list, with the list in its place."""
    parts = _HOLE.split(sql)
    marks = [n for n, part in enumerate(parts) if part == "%s"]
    for at, _number, _as_hex in holes:
        before, after = parts[marks[at] - 1], parts[marks[at] + 1]
        if not (before.endswith(" IN (") and after.startswith(")")):
            raise AssertionError("a list went into the statement otherwise than for one __in")
        parts[marks[at] - 1] = before.removesuffix(" IN (") + wanted[0]
        parts[marks[at] + 1] = wanted[1] + after.removeprefix(")")
    return "".join(parts)


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
