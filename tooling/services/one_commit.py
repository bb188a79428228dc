"""What several threads want to write, in one commit and with one set of statements: on SQLite a
commit waits for the disk several times as long as a scan takes to write, and there is one writer at
a time; on PostgreSQL sixteen scans together take hardly more statements than one.

Who comes first leads: it does its own act and those of all who came meanwhile, commits once, and
only then is anybody answered. On PostgreSQL a second may lead beside it when much is waiting: one
is written while the next is read. When anything of that fails, or waits long for a lock of somebody
else, nothing of it is kept, and each does its own act again by itself and hears its own error.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any, TypeVar

from django.db import connection
from django.utils import timezone, translation

from tooling.queries.prepared import hot_cursor, one_trip
from tooling.services.write import writing

LOG = logging.getLogger(__name__)
MOST_WEIGHT = 400
"""Further acts join a commit until they are this heavy: others wait for the write lock too."""

LOCK_NOT_AVAILABLE = "55P03"
MOST_LEADERS = 2
"""On PostgreSQL: on more, the acts of a crowd would go in groups too small to save anything."""

WORTH_ANOTHER = 50
"""So heavy what waits must be before another leads beside the first."""

PATIENCE_MS = 200
"""As long a lead waits for a row on PostgreSQL; alone each waits as long as it takes."""

In = TypeVar("In")
Out = TypeVar("Out")
Act = Callable[[Sequence[Any]], Sequence[Any]]


@dataclass(eq=False)
class _Waiting:
    """An act that waits for its commit, with the language and zone in which it is answered."""

    act: Act
    given: Any
    weight: int
    language: str | None = field(default_factory=translation.get_language)
    zone: tzinfo = field(default_factory=timezone.get_current_timezone)
    turn: threading.Event = field(default_factory=threading.Event)
    leads: bool = False
    answer: Any = None
    is_written: bool = False

    @property
    def kind(self) -> tuple[Act, str | None, tzinfo]:
        """Of one kind are those that one call can do."""
        return (self.act, self.language, self.zone)


_guard = threading.Lock()
_line: deque[_Waiting] = deque()
_leading: list[_Waiting] = []
"""Who leads now; with the line under the guard. Each is in the line until its turn to write."""


def in_one_commit(act: Callable[[Sequence[In]], Sequence[Out]], given: In, *, weight: int) -> Out:
    """What the act gives for ``given``, once it is on disk; together with what other threads want.

    ``act`` takes what several gave, in the order they came, and gives as many answers. It writes
    without a transaction of its own and may be done twice, the first time for nothing. ``weight``:
    how many things it writes for this one. Inside a transaction it joins that.
    """
    if connection.in_atomic_block:
        return _alone(act, given)
    mine = _Waiting(act, given, weight)
    with _guard:
        _line.append(mine)
        _elect()
    mine.turn.wait()
    if mine.leads:
        _lead(mine)
    if not mine.is_written:
        return _alone(act, given)
    answer: Out = mine.answer
    return answer


def _alone(act: Callable[[Sequence[In]], Sequence[Out]], given: In) -> Out:
    with writing():
        return act([given])[0]


def _lead(mine: _Waiting) -> None:
    """Do mine and those of all who wait by then; then let the next lead, whatever happened."""
    group: list[_Waiting] = []
    try:
        with writing():
            _be_impatient()
            while alike := _next(group, mine):
                group += alike
                _do(alike)
        for each in group:
            each.is_written = True
    except Exception as error:
        waited = getattr(error.__cause__, "sqlstate", "") == LOCK_NOT_AVAILABLE
        LOG.log(
            logging.INFO if waited else logging.WARNING,
            "%s writes do not go together (%s); each goes alone", len(group), error,
            exc_info=not waited,
        )  # fmt: skip
    finally:
        with _guard:
            _leading.remove(mine)
            if mine in _line:
                _line.remove(mine)
            _elect()
        for each in group:
            each.turn.set()


def _be_impatient() -> None:
    if connection.vendor == "postgresql":
        with one_trip(), hot_cursor(connection) as cursor:
            cursor.execute(f"SET LOCAL lock_timeout = {PATIENCE_MS}")


def _do(alike: Sequence[_Waiting]) -> None:
    act, language, zone = alike[0].kind
    with timezone.override(zone), _speaking(language):
        answers = act([each.given for each in alike])
    for each, answer in zip(alike, answers, strict=True):
        each.answer = answer


def _speaking(language: str | None) -> AbstractContextManager[Any]:
    if language == translation.get_language():
        return nullcontext()
    return translation.override(language)


def _next(group: Sequence[_Waiting], mine: _Waiting) -> list[_Waiting]:
    """Out of the line: mine at first, and then what may still join; those of one kind that stand
    behind one another."""
    found: list[_Waiting] = []
    heavy = sum(each.weight for each in group)
    with _guard:
        if not group:
            _line.remove(mine)
            found.append(mine)
            heavy = mine.weight
        for each in [each for each in _line if not each.leads]:
            if found and each.kind != found[0].kind:
                break
            if heavy + each.weight > MOST_WEIGHT:
                break
            heavy += each.weight
            _line.remove(each)
            found.append(each)
    return found


def _elect() -> None:
    """Let the first who waits lead, if nobody does, or much waits and PostgreSQL can take more."""
    waiting = [each for each in _line if not each.leads]
    if not waiting:
        return
    if _leading:
        is_much = sum(each.weight for each in waiting) >= WORTH_ANOTHER
        if connection.vendor == "sqlite" or len(_leading) >= MOST_LEADERS or not is_much:
            return
    first = waiting[0]
    first.leads = True
    _leading.append(first)
    first.turn.set()
