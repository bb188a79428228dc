"""Long work as rows: asked for here, done by the worker process, watched by pages."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import Import, ImportState, Person, StoredFile, Task, TaskState
from tooling.permissions import Verb, check_can
from tooling.services.write import writing

DEAD_AFTER = timedelta(seconds=15)
MOST_ATTEMPTS = 2


def ask(
    *, by: Person | None, at: datetime, kind: str, given: dict[str, Any], version: str = ""
) -> Task:
    """Queue a task; the caller has checked that the person may."""
    with writing():
        return Task.objects.create(
            kind=kind, input=given, input_version=version, by=by, created_at=at
        )


def cancel(*, by: Person, at: datetime, task: Task) -> None:
    """Ask one's own task to stop, or as supervisor anybody's; a waiting one stops at once."""
    if task.by_id != by.pk:
        check_can(by, Verb.RUN_SHOP)
    stop(at=at, task=task)


def stop(*, at: datetime, task: Task) -> None:
    """Ask a task to stop; the caller has checked that the person may.

    Raises Conflict ``task_over``.
    """
    with writing():
        fresh = Task.objects.select_for_update().get(pk=task.pk)
        if fresh.state == TaskState.WAITING:
            fresh.state, fresh.finished_at = TaskState.CANCELLED, at
        elif fresh.state != TaskState.RUNNING:
            raise Conflict(
                "task_over",
                _("Task {number} is already {state}."),
                number=fresh.pk,
                state=fresh.state,
            )
        fresh.cancel_asked = True
        fresh.save(update_fields=["state", "finished_at", "cancel_asked"])
        if fresh.state == TaskState.CANCELLED:
            _let_go(fresh.pk)


def claim(*, at: datetime) -> Task | None:
    """Take the next waiting task, or one whose worker died; a second death fails it."""
    dead = Q(state=TaskState.RUNNING, heartbeat_at__lt=at - DEAD_AFTER)
    if not Task.objects.filter(Q(state=TaskState.WAITING) | dead).exists():
        return None
    with writing():
        rows = Task.objects.select_for_update().filter(Q(state=TaskState.WAITING) | dead)
        task = rows.order_by("id").first()
        if task is None:
            return None
        if task.attempts >= MOST_ATTEMPTS:
            task.state, task.finished_at = TaskState.FAILED, at
            task.message = str(_("The worker stopped twice while doing this."))
            task.save(update_fields=["state", "finished_at", "message"])
            _let_go(task.pk)
            return None
        task.state, task.attempts = TaskState.RUNNING, task.attempts + 1
        task.started_at = task.heartbeat_at = at
        task.save(update_fields=["state", "attempts", "started_at", "heartbeat_at"])
        return task


def beat(*, at: datetime, task_id: int, progress: float, message: str) -> bool:
    """Say that the work goes on; gives back whether somebody asked for it to stop."""
    with writing():
        Task.objects.filter(pk=task_id).update(
            heartbeat_at=at, progress=progress, message=message[:400]
        )
    return is_to_stop(task_id=task_id)


def is_to_stop(*, task_id: int) -> bool:
    """Whether somebody asked for the task to stop."""
    return Task.objects.filter(pk=task_id, cancel_asked=True).exists()


def finish(
    *,
    at: datetime,
    task_id: int,
    state: str,
    message: str = "",
    result: dict[str, Any] | None = None,
    file: StoredFile | None = None,
) -> None:
    """Write the outcome. Called inside the work's own short write where it has one."""
    kept = {"file": file} if file is not None else {}
    with writing():
        Task.objects.filter(pk=task_id).update(
            state=state,
            finished_at=at,
            message=message[:400],
            result=result or {},
            progress=1.0 if state == TaskState.DONE else 0.0,
            **kept,
        )
        if state != TaskState.DONE:
            _let_go(task_id)


def _let_go(task_id: int) -> None:
    """What an ended task was about may be worked on again: an import goes back to where it was."""
    held = Import.objects.filter(task=task_id)
    held.filter(state=ImportState.READING).update(state=ImportState.MAPPING)
    held.filter(state=ImportState.APPLYING).update(state=ImportState.READY)


def record_done(
    *, by: Person | None, at: datetime, kind: str, given: dict[str, Any],
    result: dict[str, Any], file: StoredFile,
) -> Task:  # fmt: skip
    """What was done at once and made a file, as a task that is over already."""
    with writing():
        return Task.objects.create(
            kind=kind, input=given, by=by, created_at=at, started_at=at, finished_at=at,
            state=TaskState.DONE, progress=1.0, result=result, file=file,
        )  # fmt: skip


def keep_file(*, task_id: int, file: StoredFile) -> None:
    """What the work made, named by its task from the write that stored it."""
    with writing():
        Task.objects.filter(pk=task_id).update(file=file)
