"""Which function does which kind of task."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.errors import NotAllowed
from tooling.services import labels
from tooling.services.backup import kept
from tooling.tasks import Handler, Run


def draw_labels(run: Run) -> dict[str, Any]:
    """Many labels as one PDF, kept as the task's file and recorded as issued at its end."""
    given, by = run.given, run.task.by
    codes = given["codes"]

    def progress(share: float) -> None:
        run.progress(share, _("{done} of {all} labels").format(done=round(share * len(codes)),
                                                               all=len(codes)))  # fmt: skip
        run.check()

    if by is None:
        raise NotAllowed(_("Nobody asked for these labels."))
    labels.draw_and_keep(
        by=by, at=timezone.now(), task_id=run.task.pk, codes=codes, size=given["size"],
        skip=given["skip"], progress=progress,
    )  # fmt: skip
    return {"count": len(codes)}


def make_backup(run: Run) -> dict[str, Any]:
    """Everything in one file in the data directory, read back whole."""

    def progress(share: float) -> None:
        run.progress(share, _("{n} % of the backup").format(n=round(share * 100)))
        run.check()

    if run.task.by is None:
        raise NotAllowed(_("Nobody asked for this backup."))
    return kept.make_and_keep(by=run.task.by, at=timezone.now(), progress=progress)


HANDLERS: dict[str, Handler] = {"labels": draw_labels, kept.TASK: make_backup}
