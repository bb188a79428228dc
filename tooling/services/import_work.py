"""The work behind an import, at once or in the worker: look the sheets over, write what they say.

Looking over reads only. Writing plans anew, for the shop may have moved on since; when it would
no longer do what the preview said, it is refused and the new preview kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from typing import Any

from django.db import IntegrityError, OperationalError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.errors import Conflict
from tooling.models import Import, ImportState, Person, StoredFile, TaskState
from tooling.permissions import Verb, check_can
from tooling.services import files, tasks
from tooling.services.importing import stale
from tooling.services.importing.aftermath import hold_rows, tell_kits
from tooling.services.importing.apply import Writer, move_counters
from tooling.services.importing.outcomes import MOST_PROBLEMS
from tooling.services.importing.plan import Plan
from tooling.services.importing.prepare import Counters, prepare
from tooling.services.importing.run import Progress, nobody_asks, plan_import, sources
from tooling.services.importing.stage import Stage
from tooling.services.write import record_change, writing
from tooling.spreadsheets.entries import Entry, guess_entries, titled

PREVIEW_ROWS = 400
ATTEMPTS = 3
READING, APPLYING = "import_read", "import_apply"
"""The kinds of task."""

PLANNED = 0.9
"""The share of the work that is done when all is planned."""


def look(
    *, by: Person, at: datetime, made: Import, progress: Progress = nobody_asks,
    task_id: int | None = None,
) -> int:  # fmt: skip
    """Work out what applying would do, and keep it as the preview. Changes no record.

    How many problems there are, of which the import keeps the first thousand. Raises those of
    the readers, and NoRoom ``no_room``.
    """
    check_can(by, Verb.IMPORT)
    with _full_database_is_said(), Stage() as stage:
        plan = plan_import(made=made, by=by, at=at, stage=stage, progress=progress)
        _keep_look(made, plan, at, task_id)
    return plan.told.problem_count


def guess(
    *, by: Person, at: datetime, made: Import, kept: Sequence[Entry] = (),
    progress: Progress = nobody_asks,
) -> None:  # fmt: skip
    """Guess what each table of the import's files holds. Raises those of the readers."""
    check_can(by, Verb.IMPORT)
    entries: list[Entry] = []
    for name, path in sources(made):
        said = _("Finding the tables of “{name}”").format(name=name)
        entries += guess_entries(path, name=name, kept=kept, progress=partial(progress, 0.0, said))
    with writing():
        made.mapping = {"sheets": titled(entries)}
        made.save(update_fields=["mapping"])


def _keep_look(made: Import, plan: Plan, at: datetime, task_id: int | None) -> None:
    problems = plan.told.problem_count
    whole: StoredFile | None = None
    if problems > MOST_PROBLEMS:
        whole = files.store_chunks(chunks=plan.told.problem_lines(), at=at)
    with writing():
        made.rows = plan.told.counts()
        made.preview = plan.told.preview(PREVIEW_ROWS)
        made.problems = [problem.to_dict() for problem in plan.told.first_problems()]
        made.state = ImportState.PROBLEMS if problems else ImportState.READY
        made.base_version = plan.told.digest()
        kept = ["rows", "preview", "problems", "state", "base_version"]
        if whole is not None and task_id is not None:
            tasks.keep_file(task_id=task_id, file=whole)
        elif whole is not None:
            made.task = tasks.record_done(
                by=plan.by, at=at, kind=READING, given={"import": made.pk},
                result=result_of(made, problems), file=whole,
            )  # fmt: skip
            kept.append("task")
        made.save(update_fields=kept)


def write(
    *, by: Person, at: datetime, made: Import, progress: Progress = nobody_asks,
    task_id: int | None = None,
) -> Import:  # fmt: skip
    """Apply the import whole, or refuse and change nothing.

    Raises Conflict ``import_has_problems``, ``stale_plan`` (it would no longer do what the preview
    said), ``import_contradicts``; NoRoom ``no_room``.
    """
    check_can(by, Verb.IMPORT)
    for _attempt in range(ATTEMPTS):
        with _full_database_is_said(), Stage() as stage:
            since = stale.base()
            plan = plan_import(
                made=made, by=by, at=at, stage=stage,
                progress=lambda share, message: progress(PLANNED * share, message),
            )  # fmt: skip
            _refuse_other_plan(made, plan, at, task_id)
            counters = prepare(plan)
            progress(PLANNED, _("Writing all of it"))
            if _write(made, plan, since, counters, task_id):
                return made
    raise Conflict(
        "stale_plan",
        gettext_lazy("The shop's records kept changing while this was prepared. Try again."),
    )


def _refuse_other_plan(made: Import, plan: Plan, at: datetime, task_id: int | None) -> None:
    """Refuse what has problems by now, or would do something else than the preview said."""
    promised = made.base_version
    if plan.told.problem_count:
        _keep_look(made, plan, at, task_id)
        raise _has_problems(made, plan.told.problem_count)
    if promised and plan.told.digest() != promised:
        _keep_look(made, plan, at, task_id)
        raise Conflict(
            "stale_plan",
            gettext_lazy("The shop's records have changed since this was looked over: now {create} "
              "rows are new, {change} change something, {same} are the same. Look at the rows, "
              "then apply."),
            create=made.rows["create"], change=made.rows["change"], same=made.rows["same"],
        )  # fmt: skip


def _has_problems(made: Import, count: int) -> Conflict:
    first = made.problems[0]
    return Conflict(
        "import_has_problems",
        gettext_lazy("{count} problems keep this import from being applied. The first: sheet "
          "{sheet}, row {row}, {column}: {message}"),
        count=count, sheet=first["sheet"], row=first["row"],
        column=first["column"], message=first["message"],
    )  # fmt: skip


class _MovedError(Exception):
    """The shop's records moved under the plan: nothing of it is to be written."""


def _write(
    made: Import, plan: Plan, since: stale.Base, counters: Counters, task_id: int | None
) -> bool:
    """Whether it was written; false where the plan is stale. One short transaction."""
    try:
        with writing():
            _check_still_open(made)
            if stale.is_stale(since, plan):
                raise _MovedError
            writer = Writer(plan)
            writer.make()
            hold_rows(plan.stage)
            if stale.is_stale(since, plan, writer.blocks) or not move_counters(counters):
                raise _MovedError
            writer.change()
            tell_kits(plan, writer)
            _close(made, plan, task_id)
    except _MovedError:
        return False
    except IntegrityError as error:
        if stale.is_stale(since, plan):
            return False
        raise Conflict(
            "import_contradicts",
            gettext_lazy("The sheets contradict the shop's records or each other ({reason}). "
              "Nothing was saved."),
            reason=str(error),
        ) from error  # fmt: skip
    return True


def _check_still_open(made: Import) -> None:
    """Nobody else applied it or put it away meanwhile."""
    state = Import.objects.select_for_update().get(pk=made.pk).state
    if state != made.state:
        raise import_over(made)


def _close(made: Import, plan: Plan, task_id: int | None) -> None:
    counts = plan.told.counts()
    made.state, made.applied_at, made.rows = ImportState.APPLIED, plan.at, counts
    made.problems = []
    made.save(update_fields=["state", "applied_at", "rows", "problems"])
    record_change(
        by=plan.by, at=plan.at, subject=made, key=str(made.pk), what="applied", after=counts
    )
    if task_id is not None:
        over = timezone.now()  # the plan's own time is when it was begun
        tasks.finish(at=over, task_id=task_id, state=TaskState.DONE, result=result_of(made))


def result_of(made: Import, problems: int = 0) -> dict[str, Any]:
    """What a task says when it is done; ``problems``: how many, also where not all are kept."""
    return {"import": made.pk, "state": made.state, "rows": made.rows, "problems": problems}


def import_over(made: Import) -> Conflict:
    """It is applied, put away, or being worked on."""
    made.refresh_from_db(fields=["state"])
    return Conflict(
        "import_over", gettext_lazy("Import {number} is already {state}."), number=made.pk,
        state=made.get_state_display(),
    )  # fmt: skip


@contextmanager
def _full_database_is_said() -> Iterator[None]:
    """Turn the databases' words for a full disk into ``no_room``; anything else passes."""
    try:
        yield
    except OperationalError as error:
        cause = error.__cause__
        is_full = getattr(cause, "sqlstate", "") == "53100" or "is full" in str(error)
        if not is_full:
            raise
        raise files.no_room() from error
