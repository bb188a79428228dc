"""Brings a backup back, into SQLite or PostgreSQL, and compares every row with the file."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

from django.apps.registry import Apps
from django.conf import settings
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from tooling import history
from tooling.errors import Conflict, ToolingError
from tooling.services.backup import rows
from tooling.services.backup.archive import Manifest, Progress, Reader, Table, reading
from tooling.services.write import writing


@dataclass(frozen=True)
class Restored:
    """What was brought back; every row was compared with the file."""

    manifest: Manifest
    rows: int
    files: int


def restore(
    *, path: Path, replace: bool = False, progress: Progress = lambda share: None
) -> Restored:
    """Make the database what the backup says; all of it or nothing.

    The file is checked whole before anything is touched. An older backup goes into an empty
    database and is brought up to this version there. Raises ToolingError ``no_backup``,
    ``not_a_backup``, ``damaged_backup``, ``newer_backup``; Conflict ``not_empty`` (without
    ``replace``), ``older_backup`` (with it); ToolingError ``restore_differs``.
    """
    with reading(path, lambda share: progress(0.2 * share)) as backup:
        manifest = backup.manifest
        loader = MigrationLoader(connection)
        state = _state_of(loader, manifest, path)
        now = _is_now(loader, manifest)
        held = _held()
        if held and not replace:
            raise _not_empty(held)
        if held and not now:
            raise Conflict(
                "older_backup",
                _("{path} was made by an older version. Restore it into an empty database; it is "
                  "brought up to date there."),
                path=path,
            )  # fmt: skip
        _bring_files(backup)
        if not now:
            _migrate_to(manifest)
        models = rows.kept_models(state)
        _check_tables(models, manifest, path)
        with writing():
            _load(backup, models, progress)
        if not now:
            call_command("migrate", verbosity=0, interactive=False)
    return Restored(manifest, manifest.rows, len(manifest.files))


def _state_of(loader: MigrationLoader, manifest: Manifest, path: Path) -> Apps:
    """The models as they were when the backup was made."""
    nodes = list(manifest.migrations.items())
    for node in nodes:
        if node not in loader.graph.nodes:
            raise ToolingError(
                "newer_backup",
                _("{path} was made by a newer version (migration {name} is unknown here). Install "
                  "that version, then restore."),
                path=path,
                name=node[1],
            )  # fmt: skip
    return loader.project_state(nodes).apps


def _is_now(loader: MigrationLoader, manifest: Manifest) -> bool:
    leaves = dict(loader.graph.leaf_nodes())
    applied = set(loader.applied_migrations)
    return all(
        leaves[app] == name and (app, name) in applied for app, name in manifest.migrations.items()
    )


def _held() -> dict[str, int]:
    """How many rows of what a person would miss the database holds already."""
    tables = set(connection.introspection.table_names())
    named = {"people": "tooling_person", "pieces": "tooling_piece",
             "movements": "tooling_movement", "stock lines": "tooling_stockline"}  # fmt: skip
    found = {}
    with connection.cursor() as cursor:
        for word, table in named.items():
            if table in tables:
                cursor.execute(f'SELECT count(*) FROM "{table}"')
                found[word] = cursor.fetchone()[0]
    return {word: count for word, count in found.items() if count}


def _not_empty(held: dict[str, int]) -> Conflict:
    return Conflict(
        "not_empty",
        _("The database holds {held}. Restore into an empty one, or say --replace: what is there "
          "is then saved as a backup first, and replaced."),
        held=", ".join(f"{count} {word}" for word, count in held.items()),
    )  # fmt: skip


def _bring_files(backup: Reader) -> None:
    """Put the files in their folder before any row names them; those that are there stay."""
    folder = Path(settings.FILES_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    for sha256 in backup.manifest.files:
        if _is_whole(folder / sha256, sha256):
            continue
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".incoming-")
        try:
            with os.fdopen(handle, "wb") as target:
                for block in backup.file(sha256):
                    target.write(block)
                target.flush()
                os.fsync(target.fileno())
            os.replace(temporary, folder / sha256)
        finally:
            Path(temporary).unlink(missing_ok=True)


def _is_whole(path: Path, sha256: str) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest() == sha256


def _migrate_to(manifest: Manifest) -> None:
    """An empty database in the shape that it had when the backup was made."""
    for app, name in manifest.migrations.items():
        call_command("migrate", app, name, verbosity=0, interactive=False)


def _check_tables(models: list[type[Model]], manifest: Manifest, path: Path) -> None:
    ours = {model._meta.db_table: rows.names(model) for model in models}
    for table in manifest.tables:
        if sorted(ours.pop(table.name, [])) != sorted(table.columns):
            raise _strange(path, table.name)
    for name in ours:
        raise _strange(path, name)


def _strange(path: Path, table: str) -> ToolingError:
    return ToolingError(
        "damaged_backup",
        _("{path}: table {table} is not as its version made it. Nothing was touched."),
        path=path,
        table=table,
    )


def _load(backup: Reader, models: list[type[Model]], progress: Progress) -> None:
    by_table = {model._meta.db_table: model for model in models}
    history.remove()
    _empty(models)
    total, done = backup.manifest.rows or 1, 0
    for table in backup.manifest.tables:
        rows.insert(by_table[table.name], table.columns, backup.lines(table))
        done += table.rows
        progress(0.2 + 0.6 * done / total)
    _settle(models)
    done = 0
    for table in backup.manifest.tables:
        _compare(table, backup.lines(table), rows.lines(by_table[table.name], table.columns))
        done += table.rows
        progress(0.8 + 0.2 * done / total)
    history.install_after_migrate()


def _empty(models: list[type[Model]]) -> None:
    with connection.cursor() as cursor:
        for model in models:
            cursor.execute(f"DELETE FROM {connection.ops.quote_name(model._meta.db_table)}")


def _settle(models: list[type[Model]]) -> None:
    """Foreign keys hold now, and the next row gets a number of its own."""
    connection.check_constraints()
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)


def _compare(table: Table, wanted: Iterable[bytes], found: Iterable[bytes]) -> None:
    """Row by row, in the order of their keys."""
    for number, (theirs, ours) in enumerate(zip_longest(wanted, found), start=1):
        if theirs != ours:
            raise ToolingError(
                "restore_differs",
                _("Table {table}, row {number}: the backup says {theirs}, the database {ours}. "
                  "Nothing was changed."),
                table=table.name,
                number=number,
                theirs=_short(theirs),
                ours=_short(ours),
            )  # fmt: skip


def _short(line: bytes | None) -> str:
    return "nothing" if line is None else line.decode(errors="replace").strip()[:200]
