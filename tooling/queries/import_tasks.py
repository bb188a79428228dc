"""What the worker does with an import, the files that were brought, the whole list of problems."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Import, ImportFile, ImportState, StoredFile, TaskState


@dataclass(frozen=True)
class TaskLine:
    """Work on an import that is going on, or that ended otherwise than it should. ``code``: of the
    problem in which it ended, else the task's state."""

    import_number: int
    number: int
    is_over: bool
    percent: int | None
    said: str
    code: str


@dataclass(frozen=True)
class FileLine:
    """One file of an import, as it was brought. ``size`` in bytes."""

    id: int
    name: str
    size: int
    file: StoredFile


def task_line(made: Import) -> TaskLine | None:
    """The work to show with an import; none where it ended well. No query where the task was read
    with the import."""
    task = made.task
    if task is None or task.state == TaskState.DONE:
        return None
    return TaskLine(
        import_number=made.pk,
        number=task.pk,
        is_over=task.state not in (TaskState.WAITING, TaskState.RUNNING),
        percent=round(task.progress * 100) if task.state == TaskState.RUNNING else None,
        said=task.message,
        code=str(task.result.get("code", "") or task.state),
    )


def problem_count(made: Import) -> int:
    """How many problems there are, also where more were found than the import keeps."""
    kept = len(made.problems)
    if made.task is None or made.state != ImportState.PROBLEMS:
        return kept
    return max(kept, int(made.task.result.get("problems", 0)))


def whole_list(made: Import) -> StoredFile | None:
    """The file with every problem, where there are more than the import keeps."""
    if made.task is None or made.state != ImportState.PROBLEMS:
        return None
    return made.task.file


def file_lines(made: Import) -> tuple[FileLine, ...]:
    """The files of an import as they were brought. One query."""
    rows = ImportFile.objects.filter(brought_by=made).select_related("file").order_by("pk")
    return tuple(FileLine(each.pk, each.name, each.file.size, each.file) for each in rows)


def one_file(number: int, key: int) -> FileLine:
    """One file of one import. Raises Unknown ``unknown_file``."""
    rows = ImportFile.objects.filter(brought_by=number, pk=key).select_related("file")
    each = rows.first()
    if each is None:
        raise Unknown(
            "unknown_file", _("Import {number} has no file {key}."), number=number, key=key
        )
    return FileLine(each.pk, each.name, each.file.size, each.file)


def the_import(number: int) -> Import:
    """The import with its task. Raises Unknown ``unknown_import``."""
    made = Import.objects.select_related("task__file").filter(pk=number).first()
    if made is None:
        raise Unknown("unknown_import", _("There is no import {number}."), number=number)
    return made
