"""The only place that opens a transaction, locks rows, or leaves a history row of an edit.

SQLite has one writer: an in-process lock around short immediate transactions keeps eight
threads from waiting on the file. PostgreSQL locks rows in one order: device, count, kit, pieces
and stock by code. Reads are never wrapped here.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any, TypeVar

from django.db import (
    DEFAULT_DB_ALIAS,
    IntegrityError,
    OperationalError,
    connection,
    connections,
    transaction,
)
from django.db.models import F, Model
from django.utils.translation import gettext_lazy as _

from tooling.errors import NoRoom
from tooling.models import Change, Count, Device, Kit, Person, Piece, Place, StockLine
from tooling.queries.prepared import Prepared, one_trip

SNAPSHOT = "snapshot"
DISK_FULL = "53100"
"""PostgreSQL's SQLSTATE disk_full."""
DEADLOCK = "40P01"
UNIQUE = "23505"
MOST_TRIES = 5

_one_writer = threading.RLock()
T = TypeVar("T")


def _hold(model: type[Model], order: str) -> Prepared:
    return Prepared(
        lambda ids: (
            model._default_manager.select_for_update(no_key=True)
            .filter(pk__in=ids)
            .order_by(order)
            .values_list("pk")
        )
    )


_ORDERS: Mapping[type[Model], str] = {
    Device: "pk", Count: "number", Kit: "number", Place: "code", Piece: "code", StockLine: "code",
}  # fmt: skip
_HOLD = {model: _hold(model, order) for model, order in _ORDERS.items()}
"""Reads that hold what they find until the transaction ends."""


@contextmanager
def writing(*, savepoint: bool = True) -> Iterator[None]:
    """One short transaction. A service called inside another's joins it, with a savepoint to go
    back to. Without one for what changes very many rows and is never undone alone: under a
    savepoint SQLite keeps of every statement what it changed, and walks through all that it kept
    at each further one.

    Raises NoRoom ``no_room`` when the database's disk is full: then nothing was saved.
    """
    if connection.in_atomic_block:
        with transaction.atomic(savepoint=savepoint):
            yield
        return
    with _full_disk_is_said():
        if connection.vendor == "sqlite":
            with _one_writer, transaction.atomic():
                yield
            return
        with transaction.atomic():
            yield


def through_deadlocks(act: Callable[[], T]) -> T:
    """Do it, and again where PostgreSQL ended it to free another from a deadlock (batches that mix
    all kinds of scans may meet in rows that no order of locks foresees), or where another device
    wrote the same scan in the same moment: the second try finds it there. ``act`` is one whole
    transaction, so nothing of the first try is left. Inside another transaction it is done once."""
    for _try in range(MOST_TRIES - 1):
        try:
            return act()
        except (IntegrityError, OperationalError) as error:
            met_another = getattr(error.__cause__, "sqlstate", "") in (DEADLOCK, UNIQUE)
            if not met_another or connection.in_atomic_block:
                raise
    return act()


@contextmanager
def _full_disk_is_said() -> Iterator[None]:
    try:
        yield
    except OperationalError as error:
        if not _is_full_disk(error.__cause__):
            raise
        raise NoRoom(
            "no_room",
            _("The server's disk is full, so nothing was saved. Tell whoever looks after it; "
              "what waits on this device is kept, and can be sent again when there is room."),
        ) from error  # fmt: skip


def _is_full_disk(cause: BaseException | None) -> bool:
    if isinstance(cause, sqlite3.Error):
        return cause.sqlite_errorcode == sqlite3.SQLITE_FULL
    return getattr(cause, "sqlstate", "") == DISK_FULL


@contextmanager
def snapshot() -> Iterator[str]:
    """Read at one instant while others write, and while this thread does, for as long as it takes.

    Gives the name of a connection to read from, ``Model.objects.using(name)``. ``atomic`` would
    take the one write lock of SQLite, so its transaction is opened by hand. Inside a transaction
    that one's own view is given.
    """
    if connection.in_atomic_block:
        yield DEFAULT_DB_ALIAS
        return
    own = connections[SNAPSHOT] = connections.create_connection(DEFAULT_DB_ALIAS)
    begin = "BEGIN" if own.vendor == "sqlite" else "BEGIN ISOLATION LEVEL REPEATABLE READ"
    try:
        with own.cursor() as cursor:
            cursor.execute(begin)
        yield SNAPSHOT
    finally:
        own.close()
        del connections[SNAPSHOT]


def lock(
    *,
    device: Device | None = None,
    counts: Iterable[int] = (),
    kits: Iterable[int] = (),
    places: Iterable[int] = (),
    pieces: Iterable[int] = (),
    stock: Iterable[int] = (),
) -> None:
    """Hold rows until the transaction ends, always in this order (by key within each kind).

    Their keys stay free to be named: a scan into a place does not wait for who holds the place,
    which would close a ring where two take stock to each other's places.
    """
    if not connection.features.has_select_for_update:
        return
    wanted: list[tuple[type[Model], Iterable[Any]]] = [
        (Device, [device.pk] if device is not None else []),
        (Count, counts),
        (Kit, kits),
        (Place, places),
        (Piece, pieces),
        (StockLine, stock),
    ]
    with one_trip():
        for model, keys in wanted:
            _HOLD[model].ask(set(keys))


def record_change(
    *,
    by: Person | None,
    at: datetime,
    subject: Model,
    key: str,
    what: str,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
) -> Change:
    """The history row of an edit of a current record; values as JSON can hold them."""
    return Change.objects.create(
        at=at,
        by=by,
        subject=type(subject).__name__,
        subject_key=key,
        what=what,
        before=dict(before or {}),
        after=dict(after or {}),
        reason=reason,
    )


def bump(kit_ids: Iterable[int]) -> None:
    """Tell every open screen of these kits that something it shows has moved."""
    ids = set(kit_ids)
    if ids:
        Kit.objects.filter(pk__in=ids).update(version=F("version") + 1)
