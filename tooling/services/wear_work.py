"""Learning about wear in the worker: from every life of every piece."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from tooling.models import Person, Task, TaskState
from tooling.permissions import Verb, check_can
from tooling.services import tasks, wear_states

KIND = "learn_wear"


def ask_to_learn(*, by: Person, at: datetime) -> Task:
    """Queue it, unless it waits already. Raises NotAllowed."""
    check_can(by, Verb.EDIT_RECORDS)
    waiting = Task.objects.filter(kind=KIND, state=TaskState.WAITING).first()
    return waiting or tasks.ask(by=by, at=at, kind=KIND, given={})


def learn(*, at: datetime, progress: Callable[[float], None] = lambda share: None) -> int:
    """Learn anew and tell every forecast anew; how many."""
    progress(0.1)
    found = wear_states.learn(at=at)
    progress(1.0)
    return found
