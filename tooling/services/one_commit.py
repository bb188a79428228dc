"""What several threads want to write, in one commit: on SQLite a commit waits for the disk several
times as long as a scan takes to write, and there is one writer at a time.

Who comes first leads: under the write lock it does its own act and those of all who came meanwhile,
commits once, and only then is anybody answered. When anything of that fails nothing of it is
kept, and each does its own act again by itself and hears its own error.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any, TypeVar

from django.db import connection
from django.utils import timezone, translation

from tooling.services.write import writing

LOG = logging.getLogger(__name__)
MOST_WEIGHT = 400
"""Further acts join a commit until they are this heavy: others wait for the write lock too."""

T = TypeVar("T")


@dataclass(eq=False)
class _Waiting:
    """An act that waits for its commit, with the language and zone in which it is answered."""

    act: Callable[[], Any]
    weight: int
    language: str | None = field(default_factory=translation.get_language)
    zone: tzinfo = field(default_factory=timezone.get_current_timezone)
    turn: threading.Event = field(default_factory=threading.Event)
    leads: bool = False
    answer: Any = None
    is_written: bool = False

    def do(self) -> None:
        with timezone.override(self.zone):
            if self.language == translation.get_language():
                self.answer = self.act()
                return
            with translation.override(self.language):
                self.answer = self.act()


_guard = threading.Lock()
_line: deque[_Waiting] = deque()
_leader: list[_Waiting] = []
"""Who leads now, if anybody; with the line under the guard."""


def in_one_commit(act: Callable[[], T], *, weight: int) -> T:
    """What the act gives, once it is on disk; together with the acts of other threads on SQLite.

    ``act`` writes without a transaction of its own and may be done twice, the first time for
    nothing. ``weight``: how many things it writes. Inside a transaction it joins that.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        return _alone(act)
    mine = _Waiting(act, weight)
    with _guard:
        _line.append(mine)
        if not _leader:
            _make_leader(mine)
    mine.turn.wait()
    if mine.leads:
        _lead(mine)
    if not mine.is_written:
        return _alone(act)
    answer: T = mine.answer
    return answer


def _alone(act: Callable[[], T]) -> T:
    with writing():
        return act()


def _lead(mine: _Waiting) -> None:
    """Do mine and those of all who wait by then; then let the next lead, whatever happened."""
    group: list[_Waiting] = []
    try:
        with writing():
            while (each := _next(group)) is not None:
                group.append(each)
                each.do()
        for each in group:
            each.is_written = True
    except Exception:
        LOG.warning("%s writes failed together; each goes alone", len(group), exc_info=True)
    finally:
        with _guard:
            _leader.clear()
            if mine in _line:
                _line.remove(mine)
            if _line:
                _make_leader(_line[0])
        for each in group:
            each.turn.set()


def _next(group: list[_Waiting]) -> _Waiting | None:
    """Out of the line, the first that may still join."""
    with _guard:
        if not _line:
            return None
        heavy = sum(each.weight for each in group) + _line[0].weight
        return _line.popleft() if not group or heavy <= MOST_WEIGHT else None


def _make_leader(who: _Waiting) -> None:
    who.leads = True
    _leader[:] = [who]
    who.turn.set()
