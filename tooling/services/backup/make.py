"""Makes a backup while people work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Person, Shop, StoredFile
from tooling.permissions import Verb, check_can
from tooling.services.backup import rows
from tooling.services.backup.archive import Manifest, Progress, Table, Writer, reading, writing_to
from tooling.services.write import record_change, snapshot, writing

CHECKING = 0.8
"""The share of the work that is done when the file is written and only to be read back."""


@dataclass(frozen=True)
class Made:
    """A backup that was read back whole."""

    path: Path
    size: int
    manifest: Manifest


def backup(
    *,
    by: Person,
    at: datetime,
    path: Path,
    without_missing_files: bool = False,
    progress: Progress = lambda share: None,
) -> Made:
    """Write everything to ``path`` as it is at one instant, read it back, and say so in history.

    Raises NotAllowed; ToolingError ``cannot_write_backup``, or ``files_missing`` when records name
    files that the folder lost, unless ``without_missing_files``.
    """
    check_can(by, Verb.BACK_UP)
    with writing_to(path) as writer, snapshot() as using:
        missing = _missing_files(using)
        if missing and not without_missing_files:
            raise _files_missing(missing)
        manifest = _write(writer, using, at, missing, lambda share: progress(CHECKING * share))
    with reading(path, lambda share: progress(CHECKING + (1 - CHECKING) * share)):
        pass
    made = Made(path, path.stat().st_size, manifest)
    _tell(by, at, made)
    return made


def _write(
    writer: Writer, using: str, at: datetime, missing: list[str], progress: Progress
) -> Manifest:
    models = rows.kept_models(apps)
    expected = sum(model._base_manager.using(using).count() for model in models) or 1
    seen = _Seen(expected, progress)
    tables = [_table(writer, using, model, seen) for model in models]
    files = {}
    for file in StoredFile.objects.using(using).exclude(sha256__in=missing).order_by("sha256"):
        with (Path(settings.FILES_DIR) / file.sha256).open("rb") as source:
            found = writer.file(f"files/{file.sha256}", source)
        if found != file.sha256:
            raise _files_missing([file.sha256])
        files[file.sha256] = file.size
    manifest = Manifest(
        made_at=at.isoformat(),
        database=connection.vendor,
        migrations=_last_migrations(),
        tables=tables,
        files=files,
        missing_files=missing,
    )
    writer.manifest(manifest)
    return manifest


class _Seen:
    """Counts rows as they pass and says how far the work is."""

    def __init__(self, expected: int, progress: Progress) -> None:
        self._expected, self._progress, self._done = expected, progress, 0

    def each(self, lines: Iterator[bytes]) -> Iterator[bytes]:
        for line in lines:
            self._done += 1
            if self._done % rows.CHUNK == 0:
                self._progress(min(1.0, self._done / self._expected))
            yield line


def _table(writer: Writer, using: str, model: type[Model], seen: _Seen) -> Table:
    name, names = model._meta.db_table, rows.names(model)
    count, sha256 = writer.lines(f"tables/{name}.jsonl", seen.each(rows.lines(model, names, using)))
    return Table(name, model._meta.label_lower, names, count, sha256)


def _missing_files(using: str) -> list[str]:
    folder = Path(settings.FILES_DIR)
    names = StoredFile.objects.using(using).order_by("sha256").values_list("sha256", flat=True)
    return [name for name in names if not (folder / name).is_file()]


def _last_migrations() -> dict[str, str]:
    applied = MigrationRecorder(connection).applied_migrations()
    return {app: max(name for at, name in applied if at == app) for app in rows.KEPT_APPS}


def _tell(by: Person, at: datetime, made: Made) -> None:
    shop = Shop.objects.first()
    if shop is not None:
        told = {"file": made.path.name, "size": made.size, "rows": made.manifest.rows,
                "files": len(made.manifest.files)}  # fmt: skip
        with writing():
            record_change(by=by, at=at, subject=shop, key="shop", what="backed up", after=told)


def _files_missing(names: list[str]) -> ToolingError:
    return ToolingError(
        "files_missing",
        _("{n} stored files are missing or changed in the files folder ({names}). Put them back, "
          "or say --without-missing-files."),
        n=len(names),
        names=", ".join(name[:12] for name in names[:5]),
    )  # fmt: skip
