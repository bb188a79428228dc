"""The worker: takes one task at a time, reads, computes, and writes once at the end.

It is a process of its own, because a solver in a thread of the web process stalls every
other request. A handler gets a ``Run`` and gives back its result; it calls
``run.progress(share, message)`` at least every half second and stops when
``run.should_stop()`` says so.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone

from tooling.errors import ToolingError
from tooling.models import Task, TaskState
from tooling.queries.shop_zone import shop_zone
from tooling.services import tasks

BEAT_SECONDS = 0.4
LONGEST_SILENCE = 4.0
"""Seconds; well under what a worker counts as dead after."""

LOG = logging.getLogger(__name__)


class StopAskedError(Exception):
    """Somebody asked for the work to stop."""


@dataclass
class Run:
    """What a handler sees of its task."""

    task: Task
    _next_look: float = field(default=0.0)
    _next_beat: float = field(default=0.0)
    _stop: bool = field(default=False)

    @property
    def given(self) -> dict[str, Any]:
        return dict(self.task.input)

    def progress(self, share: float, message: str = "") -> None:
        """Say how far the work is, 0 to 1; written at most every 0.4 s.

        Where the writing itself has to wait for others, as for people who scan, it is done more
        seldom, so that most of the time is work. Whether to stop is asked as often as ever.
        """
        now = time.monotonic()
        if now >= self._next_beat:
            self._stop = tasks.beat(
                at=timezone.now(), task_id=self.task.pk, progress=share, message=message
            )
            took = time.monotonic() - now
            self._next_look = time.monotonic() + BEAT_SECONDS
            self._next_beat = time.monotonic() + min(max(BEAT_SECONDS, 4 * took), LONGEST_SILENCE)
        elif now >= self._next_look:
            self._stop = tasks.is_to_stop(task_id=self.task.pk)
            self._next_look = time.monotonic() + BEAT_SECONDS

    def should_stop(self) -> bool:
        return self._stop

    def check(self) -> None:
        """Raise StopAskedError when somebody asked for it."""
        if self._stop:
            raise StopAskedError


Handler = Callable[[Run], dict[str, Any]]


def work_once(handlers: Mapping[str, Handler]) -> bool:
    """Do the next task, if there is one; whether there was."""
    task = tasks.claim(at=timezone.now())
    if task is None:
        return False
    try:
        with timezone.override(shop_zone()):
            result = handlers[task.kind](Run(task))
    except StopAskedError:
        _end(task, TaskState.CANCELLED, "")
    except ToolingError as error:
        stale = error.code == "stale_plan"
        _end(task, TaskState.STALE if stale else TaskState.FAILED, error.message, code=error.code)
    except Exception:
        LOG.exception("task %s failed", task.pk)
        _end(task, TaskState.FAILED, "The work failed; the log has the details.", code="failed")
    else:
        tasks.finish(at=timezone.now(), task_id=task.pk, state=TaskState.DONE, result=result)
    return True


def _end(task: Task, state: str, message: str, code: str = "") -> None:
    result = {"code": code} if code else {}
    tasks.finish(at=timezone.now(), task_id=task.pk, state=state, message=message, result=result)


def work_forever(
    handlers: Mapping[str, Handler], *, keep_on: Callable[[], bool], pause: Callable[[], None]
) -> None:
    """Work until ``keep_on`` says no; ``pause`` waits a little when there is nothing to do."""
    while keep_on():
        if not work_once(handlers):
            pause()
