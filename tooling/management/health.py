"""What can be wrong with an installation, each with what to do about it."""

from __future__ import annotations

import os
import shutil
import stat
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from tooling.errors import ToolingError
from tooling.history import HISTORY
from tooling.models import Movement, Person, Role, Shop, StoredFile, Task, TaskState
from tooling.queries.certificates import certificates_kept
from tooling.services.backup import kept
from tooling.services.tasks import DEAD_AFTER

LEAST_FREE_BYTES = 500_000_000
WAITS_TOO_LONG = timedelta(minutes=5)
CLOCKS_DIFFER = timedelta(minutes=5)
BUILT_AFTER = datetime(2026, 1, 1, tzinfo=UTC)
BACKUP_IS_OLD = timedelta(days=7)
MOST_NAMED = 5
AUTHORITY_ENDS_SOON = timedelta(days=365)


@dataclass(frozen=True)
class Finding:
    """One thing looked at. ``level`` is ``ok``, ``warn`` or ``bad``; ``todo`` what to do."""

    what: str
    level: str
    said: str
    todo: str = ""

    def as_dict(self) -> dict[str, str]:
        return asdict(self)


Check = Callable[[datetime], Iterator[Finding]]


def look(*, at: datetime) -> list[Finding]:
    """Every finding. Without a database or its tables only what needs none is looked at."""
    found = [each for check in WITHOUT_TABLES for each in check(at)]
    if not any(each.what in ("database", "migrations") and each.level == "bad" for each in found):
        found += [each for check in WITH_TABLES for each in check(at)]
    return found


def database(at: datetime) -> Iterator[Finding]:
    """It answers, and its tables are those of this version."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        executor = MigrationExecutor(connection)
        plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
        strange = set(executor.loader.applied_migrations) - set(executor.loader.graph.nodes)
    except DatabaseError as error:
        yield Finding(
            "database",
            "bad",
            f"The database does not answer: {error}".strip(),
            "Check DATABASE_URL and ROLLROOM_DATA_DIR, and that the server runs.",
        )
        return
    yield Finding("database", "ok", f"{connection.vendor} answers.")
    if plan:
        names = ", ".join(migration.name for migration, _backwards in plan[:MOST_NAMED])
        yield Finding(
            "migrations",
            "bad",
            f"{len(plan)} migrations are not applied: {names}.",
            "Stop the server, make a backup, run: python3 manage.py migrate",
        )
    elif any(app == "tooling" for app, _name in strange):
        yield Finding(
            "migrations",
            "bad",
            "The database was made by a newer version than this one.",
            "Install the newer version again, or restore an older backup.",
        )
    else:
        yield Finding("migrations", "ok", "All migrations are applied.")


def sqlite_modes(at: datetime) -> Iterator[Finding]:
    """Acknowledged scans survive a power cut, and triggers see a REPLACE."""
    if connection.vendor != "sqlite":
        return
    wanted = {"journal_mode": "wal", "synchronous": 2, "recursive_triggers": 1, "foreign_keys": 1}
    with connection.cursor() as cursor:
        for name, value in wanted.items():
            got = cursor.execute(f"PRAGMA {name}").fetchone()[0]
            if got != value:
                yield Finding(
                    "sqlite",
                    "bad",
                    f"SQLite's {name} is {got}, not {value}.",
                    "Put the data directory on a local disk; network folders allow no WAL.",
                )
                return
    yield Finding("sqlite", "ok", "Write-ahead log, synchronous FULL, triggers on REPLACE.")


def postgresql_modes(at: datetime) -> Iterator[Finding]:
    """An answered scan is on disk: the server waits for it, as each connection asks."""
    if connection.vendor != "postgresql":
        return
    wanted = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
    with connection.cursor() as cursor:
        for name, value in wanted.items():
            cursor.execute(f"SHOW {name}")
            if (got := cursor.fetchone()[0]) != value:
                yield Finding(
                    "postgresql",
                    "bad",
                    f"PostgreSQL's {name} is {got}, not {value}: a power cut can lose scans.",
                    f"Set {name} = {value} in postgresql.conf and reload the server.",
                )
                return
    yield Finding("postgresql", "ok", "Commits wait for the disk.")


def certificate(at: datetime) -> Iterator[Finding]:
    """Phones scan off line only while they trust the server's certificate."""
    try:
        kept = certificates_kept()
    except ToolingError as error:
        yield Finding("https", "bad", error.message, "See the sentence.")
        return
    if kept is None:
        yield Finding(
            "https",
            "warn",
            "No certificate is made: phones get no camera and do not scan off line.",
            "Run: python3 manage.py https",
        )
    elif kept.until <= at:
        yield Finding(
            "https",
            "bad",
            f"The server's certificate ended on {kept.until:%Y-%m-%d}.",
            "Run: python3 manage.py https, then start the server again.",
        )
    elif kept.authority_until - at < AUTHORITY_ENDS_SOON:
        yield Finding(
            "https",
            "warn",
            f"The certificate authority ends on {kept.authority_until:%Y-%m-%d}.",
            "Run: python3 manage.py https --new-authority, and give it to every phone.",
        )
    else:
        yield Finding("https", "ok", f"The server's certificate holds to {kept.until:%Y-%m-%d}.")


def triggers(at: datetime) -> Iterator[Finding]:
    """Every history table refuses change."""
    missing = sorted(
        model._meta.db_table for model in HISTORY if not _guarded(model._meta.db_table)
    )
    if missing:
        yield Finding(
            "history",
            "bad",
            f"History can be changed in {', '.join(missing)}: triggers are missing.",
            "Run: python3 manage.py migrate, then python3 manage.py verify",
        )
    else:
        yield Finding("history", "ok", f"{len(HISTORY)} history tables refuse every change.")


def _guarded(table: str) -> bool:
    """Whether the table has its two triggers, switched on."""
    sql = "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s"
    if connection.vendor == "postgresql":
        sql = (
            "SELECT count(*) FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D' "
            "AND tgrelid = %s::regclass"
        )
    with connection.cursor() as cursor:
        cursor.execute(sql, [table])
        return int(cursor.fetchone()[0]) >= 2


def data_dir(at: datetime) -> Iterator[Finding]:
    """It can be written, and there is room."""
    folder = Path(settings.DATA_DIR)
    if not folder.is_dir() or not os.access(folder, os.W_OK | os.X_OK):
        yield Finding(
            "data directory",
            "bad",
            f"{folder} cannot be written.",
            "Give it to the user that runs the server.",
        )
        return
    free = shutil.disk_usage(folder).free
    if free < LEAST_FREE_BYTES:
        yield Finding(
            "data directory",
            "warn",
            f"{free // 1_000_000} MB are free in {folder}.",
            "Make room before the disk is full.",
        )
    else:
        yield Finding("data directory", "ok", f"{folder} can be written.")


def secret_key(at: datetime) -> Iterator[Finding]:
    """Nobody else on the machine reads what signs the sessions."""
    if os.environ.get("SECRET_KEY") is not None:
        yield Finding("secret key", "ok", "Taken from SECRET_KEY.")
        return
    yield from _private(Path(settings.DATA_DIR) / "secret-key", "secret key", "bad")
    logins = Path(settings.DATA_DIR) / "logins.json"
    if logins.exists():
        yield from _private(logins, "demo log-ins", "warn")


def _private(path: Path, what: str, level: str) -> Iterator[Finding]:
    mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else 0
    if mode & 0o077:
        yield Finding(
            what, level, f"{path} can be read by others ({mode:o}).", f"Run: chmod 600 {path}"
        )
    elif not path.exists():
        yield Finding(what, level, f"{path} is missing.", "Start the server once; it makes one.")
    else:
        yield Finding(what, "ok", f"{path} is private.")


def files(at: datetime) -> Iterator[Finding]:
    """Every stored file is there, whole, and nothing else is."""
    folder = Path(settings.FILES_DIR)
    there = {each.name: each.stat().st_size for each in folder.glob("*") if each.is_file()}
    known = dict(StoredFile.objects.values_list("sha256", "size"))
    lost = sorted(name for name, size in known.items() if there.get(name) != size)
    spare = sorted(set(there) - set(known))
    if lost:
        yield Finding(
            "files",
            "bad",
            f"{len(lost)} stored files are missing or cut short: {_named(lost)}.",
            "Restore them from a backup.",
        )
    if spare:
        yield Finding(
            "files",
            "warn",
            f"{len(spare)} files in {folder} belong to nothing: {_named(spare)}.",
            "They take room and do no harm; once older than a day, verify --sweep takes them away.",
        )
    if not lost and not spare:
        yield Finding("files", "ok", f"{len(known)} stored files are there and whole.")


def _named(names: list[str]) -> str:
    shown = ", ".join(name[:12] for name in names[:MOST_NAMED])
    return f"{shown} …" if len(names) > MOST_NAMED else shown


def worker(at: datetime) -> Iterator[Finding]:
    """Somebody does the background work."""
    waiting = Task.objects.filter(state=TaskState.WAITING, created_at__lt=at - WAITS_TOO_LONG)
    dead = Task.objects.filter(state=TaskState.RUNNING, heartbeat_at__lt=at - DEAD_AFTER)
    todo = "Run the worker: python3 manage.py work (serve starts one by itself)."
    if waiting.exists():
        yield Finding("worker", "bad", f"{waiting.count()} tasks wait and nobody takes them.", todo)
    if dead.exists():
        yield Finding(
            "worker", "bad", f"{dead.count()} tasks are running without a sign of life.", todo
        )
    if not waiting.exists() and not dead.exists():
        yield Finding("worker", "ok", "No task is stuck.")


def clock(at: datetime) -> Iterator[Finding]:
    """Now is after all that was received, and the shop's zone is one."""
    newest = Movement.objects.order_by("-received_at").values_list("received_at", flat=True).first()
    if at < BUILT_AFTER or (newest is not None and newest > at + CLOCKS_DIFFER):
        yield Finding(
            "clock",
            "bad",
            f"The clock says {at:%Y-%m-%d %H:%M} UTC, yet the newest movement is from "
            f"{newest or BUILT_AFTER:%Y-%m-%d %H:%M}.",
            "Set the machine's clock; places follow the times of movements.",
        )
    else:
        yield Finding("clock", "ok", f"{at:%Y-%m-%d %H:%M} UTC.")
    shop = Shop.objects.filter(pk=1).first()
    if shop is None:
        yield Finding("shop", "warn", "The shop has no name yet.", "Fill in Shop, Edit.")
    elif shop.time_zone not in available_timezones():
        yield Finding(
            "time zone",
            "bad",
            f"“{shop.time_zone}” is no time zone.",
            "Choose one under Shop, Edit, such as Europe/Berlin.",
        )
    else:
        here = at.astimezone(ZoneInfo(shop.time_zone))
        yield Finding("time zone", "ok", f"{shop.time_zone}: it is {here:%H:%M} there.")


def people(at: datetime) -> Iterator[Finding]:
    """Somebody can give out roles."""
    if Person.objects.filter(is_active=True, roles__role=Role.SUPERVISOR).exists():
        yield Finding("people", "ok", "There is a supervisor.")
    else:
        yield Finding(
            "people",
            "warn",
            "Nobody is a supervisor, so nobody can give out roles.",
            "Start once with: python3 manage.py demo --empty",
        )


def backups(at: datetime) -> Iterator[Finding]:
    """One was made not long ago."""
    made = kept.newest()
    todo = "Make one: python3 manage.py backup FILE, and lay it away on another machine."
    if made is None:
        yield Finding("backup", "warn", "No backup was ever made.", todo)
    elif at - made > BACKUP_IS_OLD:
        yield Finding("backup", "warn", f"The last backup is of {made:%Y-%m-%d %H:%M} UTC.", todo)
    else:
        yield Finding("backup", "ok", f"The last backup is of {made:%Y-%m-%d %H:%M} UTC.")


WITHOUT_TABLES: tuple[Check, ...] = (data_dir, secret_key, certificate, database)
WITH_TABLES: tuple[Check, ...] = (
    sqlite_modes, postgresql_modes, triggers, files, worker, clock, people, backups,
)  # fmt: skip
