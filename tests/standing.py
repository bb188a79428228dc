"""What all tests of a file have in common, built once: a transaction under each test's own.

A fixture of the module's scope that asks for ``standing`` builds rows; a test gets them as
``standing.copy(thing)`` and may change what it likes: the rows are taken back by the database to
where its own transaction began, and the objects are its own.
"""

from __future__ import annotations

import copy
from typing import TypeVar

from django.db import connection, transaction

Thing = TypeVar("Thing")


class Standing:
    """Open from the first test of a file that asks for it until the file's last; a transactional
    test ends it before, for it flushes the tables."""

    opened: Standing | None = None

    def __init__(self) -> None:
        self._atomic = transaction.atomic()
        self._atomic.__enter__()
        self._depth = len(connection.savepoint_ids)
        Standing.opened = self

    @property
    def is_open(self) -> bool:
        return Standing.opened is self

    def copy(self, thing: Thing) -> Thing:
        """The thing as it stood, for one test to change."""
        assert self.is_open, "a transactional test of this file came before"
        own = len(connection.savepoint_ids) > self._depth
        assert own, "what the test writes would stay: let it ask for db"
        return copy.deepcopy(thing)

    @staticmethod
    def end() -> None:
        """Take back what stands, if anything does."""
        if Standing.opened is not None:
            transaction.set_rollback(True)
            Standing.opened._atomic.__exit__(None, None, None)
            Standing.opened = None
