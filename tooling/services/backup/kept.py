"""The backups that lie in the data directory: made by the worker, the oldest let go."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, Unknown
from tooling.models import Change, Person, Task, TaskState
from tooling.permissions import Verb, check_can
from tooling.queries.settings import setting_value
from tooling.services import tasks
from tooling.services.backup.archive import Progress
from tooling.services.backup.make import backup

TASK = "backup"
NAME = re.compile(r"rollroom-\d{8}T\d{6}Z\.zip")
UNDER_WAY = (TaskState.WAITING, TaskState.RUNNING)


@dataclass(frozen=True)
class Kept:
    """One backup in the folder; ``size`` in bytes."""

    name: str
    size: int
    made_at: datetime


def folder() -> Path:
    """Where they lie, for the server's own user only."""
    path = Path(settings.DATA_DIR) / "backups"
    path.mkdir(mode=0o700, exist_ok=True)
    return path


def kept(*, by: Person) -> list[Kept]:
    """Newest first. Raises NotAllowed."""
    check_can(by, Verb.BACK_UP)
    found = sorted((each for each in folder().glob("*.zip") if NAME.fullmatch(each.name)),
                   reverse=True)  # fmt: skip
    return [_kept(each) for each in found]


def _kept(path: Path) -> Kept:
    told = path.stat()
    return Kept(path.name, told.st_size, datetime.fromtimestamp(told.st_mtime, tz=UTC))


def newest() -> datetime | None:
    """When a backup was last made, here or by the command."""
    rows = Change.objects.filter(subject="Shop", what="backed up")
    return rows.order_by("-at").values_list("at", flat=True).first()


def under_way() -> Task | None:
    """The task that makes one now, if there is one."""
    return Task.objects.filter(kind=TASK, state__in=UNDER_WAY).order_by("pk").first()


def ask(*, by: Person, at: datetime) -> Task:
    """Have the worker make one. Raises NotAllowed; Conflict ``backup_under_way``."""
    check_can(by, Verb.BACK_UP)
    if under_way() is not None:
        raise Conflict("backup_under_way", _("A backup is being made already."))
    return tasks.ask(by=by, at=at, kind=TASK, given={})


def make_and_keep(*, by: Person, at: datetime, progress: Progress) -> dict[str, Any]:
    """Make one in the folder and let go of more than the shop keeps."""
    path = folder() / f"rollroom-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}.zip"
    made = backup(by=by, at=at, path=path, progress=progress)
    for old in kept(by=by)[int(setting_value("backups_kept")) :]:
        (folder() / old.name).unlink(missing_ok=True)
    return {"file": path.name, "bytes": made.size, "rows": made.manifest.rows,
            "files": len(made.manifest.files)}  # fmt: skip


def path_of(*, by: Person, name: str) -> Path:
    """Where a kept backup lies. Raises NotAllowed, Unknown ``no_backup``."""
    check_can(by, Verb.BACK_UP)
    path = folder() / name
    if not NAME.fullmatch(name) or not path.is_file():
        raise Unknown("no_backup", _("There is no backup {name}."), name=name)
    return path
