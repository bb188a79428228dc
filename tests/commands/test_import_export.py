"""``import`` and ``export``: exit codes, what they print, and a kill in the middle."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from tests.demo_server import ended_within
from tests.services.importing import OWNERS, PLACES, csv
from tests.world import make_person
from tooling.models import Change, Import, ImportMapping, Owner, Person, Place, Role, Task
from tooling.services import imports, tasks
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Path) -> None:
    settings.FILES_DIR = tmp_path / "files"


@pytest.fixture
def owners(tmp_path: Path) -> str:
    return _written(tmp_path / "owners.csv", csv(OWNERS))


def _written(path: Path, data: bytes) -> str:
    path.write_bytes(data)
    return str(path)


def run(name: str, *arguments: str) -> tuple[int, str, str]:
    out, err = StringIO(), StringIO()
    try:
        call_command(name, *arguments, stdout=out, stderr=err)
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


@pytest.mark.django_db
def test_import_applies_and_says_what_it_did(supervisor: Person, owners: str) -> None:
    code, out, _err = run("import", owners)
    assert code == 0
    assert out == "2 to create, 0 to change, 0 the same (applied)\n"
    assert Import.objects.get().by == supervisor


@pytest.mark.django_db
def test_a_dry_run_changes_nothing(supervisor: Person, owners: str) -> None:
    code, out, _err = run("import", owners, "--dry-run", "--json")
    assert code == 0
    assert json.loads(out)["rows"] == {"create": 2, "change": 0, "same": 0}
    assert not Owner.objects.exists()
    assert Import.objects.get().state == "dropped"


@pytest.mark.django_db
def test_problems_are_one_line_each_and_exit_1(supervisor: Person, tmp_path: Path) -> None:
    bad = _written(tmp_path / "o.csv", b"Code,Name,Our own shop\nA,Alder,perhaps")
    code, _out, err = run("import", bad)
    assert code == 1
    assert err == "o, row 2, Our own shop, “perhaps”: “perhaps” is neither yes nor no.\n"
    assert not Owner.objects.exists()


@pytest.mark.django_db
def test_no_spreadsheet_is_a_stated_problem(supervisor: Person, tmp_path: Path) -> None:
    code, _out, err = run("import", _written(tmp_path / "o.xlsx", b"\x89PNG\r\n\x1a\n"))
    assert code == 1
    assert err.startswith("no_spreadsheet: “o.xlsx” is no spreadsheet: it is a picture.")


@pytest.mark.django_db
def test_a_file_that_is_not_there_is_a_wrong_call(supervisor: Person, tmp_path: Path) -> None:
    assert run("import", str(tmp_path / "missing.csv"))[0] == 2


@pytest.mark.django_db
def test_a_kept_mapping_is_used_by_its_name(supervisor: Person, owners: str) -> None:
    assert run("import", owners, "--mapping", "ours")[0] == 1
    run("import", owners)
    ImportMapping.objects.create(
        name="ours", mapping=Import.objects.get().mapping, saved_at=Import.objects.get().created_at
    )
    assert run("import", owners, "--mapping", "ours")[0] == 0


@pytest.mark.django_db
def test_who_may_not_import_may_not_by_command(
    supervisor: Person, crew: Person, owners: str
) -> None:
    code, _out, err = run("import", owners, "--by", "crew")
    assert code == 1
    assert err.startswith("not_allowed: Crew may not import spreadsheets.")
    assert not Owner.objects.exists()


@pytest.mark.django_db
def test_export_writes_a_file_for_every_kind_that_import_takes_again(
    supervisor: Person, owners: str, tmp_path: Path
) -> None:
    places = _written(tmp_path / "places.csv", csv(PLACES))
    run("import", owners, places)
    folder = tmp_path / "out"
    assert run("export", str(folder))[0] == 0
    names = sorted(path.name for path in folder.iterdir())
    assert len(names) == 20
    assert "rollroom.xlsx" in names
    code, out, _err = run("import", str(folder / "owners.csv"), str(folder / "places.csv"))
    assert (code, out) == (0, "0 to create, 0 to change, 7 the same (applied)\n")


# Killed in the middle ---------------------------------------------------------------------------


def _address() -> str:
    """The test database as DATABASE_URL names it."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}").geturl()


ENDLESS = {
    "sqlite": """
        CREATE TRIGGER endless AFTER INSERT ON tooling_change BEGIN
          SELECT count(*) FROM (WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n)
                                SELECT x FROM n);
        END""",
    "postgresql": """
        CREATE FUNCTION endless() RETURNS trigger LANGUAGE plpgsql AS $$
          BEGIN PERFORM pg_sleep(3600); RETURN NULL; END $$;
        CREATE TRIGGER endless AFTER INSERT ON tooling_change
          FOR EACH ROW EXECUTE FUNCTION endless()""",
}
"""A row of history, the last thing that an import writes, is never finished by itself."""

MENDED = {
    "sqlite": "DROP TRIGGER endless",
    "postgresql": "DROP TRIGGER endless ON tooling_change; DROP FUNCTION endless()",
}


@pytest.fixture
def endless_write(transactional_db: None) -> Iterator[Callable[[], None]]:
    """The write of an import hangs in its last statement until the trigger is mended."""
    _execute(ENDLESS[connection.vendor])
    done = []

    def mend() -> None:
        done.append(True)
        _execute(MENDED[connection.vendor])

    yield mend
    if not done:
        mend()


def _execute(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def _is_writing(state: str = "ready") -> bool:
    """Whether the import, looked over and in this state, holds its write and hangs in it."""
    if not Import.objects.filter(state=state).exists():
        return False
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE wait_event = 'PgSleep' "
                "AND datname = current_database()"
            )
            return bool(cursor.fetchone()[0])
    # longer than any write but the one that hangs: a worker also says how far it is
    other = sqlite3.connect(connection.settings_dict["NAME"], timeout=2)
    try:
        other.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError as error:
        return "locked" in str(error)
    else:
        return False
    finally:
        other.close()


def _end_what_the_dead_left() -> None:
    """A PostgreSQL server notices a dead client only when it next speaks to it."""
    if connection.vendor == "postgresql":
        _execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE wait_event = 'PgSleep' AND datname = current_database()"
        )


def _environment(folder: Path) -> dict[str, str]:
    return {
        **os.environ,
        "DATABASE_URL": _address(),
        "ROLLROOM_DATA_DIR": str(folder),
        "SECRET_KEY": "known to nobody outside of this one test",
    }


def _kill_while_writing(command: list[str], environment: dict[str, str], state: str) -> None:
    process = subprocess.Popen(
        command, env=environment, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    deadline = time.monotonic() + 240
    while not _is_writing(state):
        assert not ended_within(process, 0.1), process.stderr and process.stderr.read().decode()
        assert time.monotonic() < deadline, "the import never began to write"
    process.send_signal(signal.SIGKILL)
    _out, _err = process.communicate()
    assert process.returncode == -signal.SIGKILL
    _end_what_the_dead_left()


def test_a_worker_killed_while_it_writes_leaves_nothing_and_the_next_one_does_it_all(
    endless_write: Callable[[], None], tmp_path: Path
) -> None:
    by, count = make_person("boss", Role.SUPERVISOR), imports.MOST_AT_ONCE + 100
    rows = "\n".join(f"C{n},Owner {n},no" for n in range(count))
    sheet = imports.Brought("owners.csv", f"Code,Name,Our own shop\n{rows}".encode())
    made = imports.bring(by=by, at=timezone.now(), brought=[sheet])
    assert work_once(HANDLERS)
    imports.apply(by=by, at=timezone.now(), made=made)
    command = [sys.executable, str(ROOT / "manage.py"), "work"]
    _kill_while_writing(command, _environment(tmp_path), "applying")

    assert not Owner.objects.exists()
    assert not Change.objects.exists()
    task = Task.objects.get(kind="import_apply")
    assert (task.state, task.attempts) == ("running", 1)
    assert not work_once(HANDLERS)  # it may still be alive

    endless_write()
    long_ago = timezone.now() - tasks.DEAD_AFTER - timedelta(seconds=1)
    Task.objects.filter(pk=task.pk).update(heartbeat_at=long_ago)
    assert work_once(HANDLERS)
    task.refresh_from_db()
    assert (task.state, task.attempts) == ("done", 2)
    assert (Owner.objects.count(), Import.objects.get().state) == (count, "applied")
    assert not work_once(HANDLERS)


def test_kill_in_the_middle_of_an_import_leaves_nothing(
    endless_write: Callable[[], None], tmp_path: Path
) -> None:
    make_person("boss", Role.SUPERVISOR)
    rows = "\n".join(f"C{n},Owner {n},no" for n in range(300))
    sheet = _written(tmp_path / "owners.csv", f"Code,Name,Our own shop\n{rows}".encode())
    place = _written(tmp_path / "places.csv", csv(PLACES))
    command = [sys.executable, str(ROOT / "manage.py"), "import", sheet, place]
    environment = _environment(tmp_path)
    _kill_while_writing(command, environment, "ready")

    assert not Owner.objects.exists()
    assert not Place.objects.exists()
    assert not Change.objects.exists()
    assert Import.objects.get().state == "ready"

    endless_write()
    again = subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, check=False)
    assert again.returncode == 0, again.stderr.decode()
    assert (Owner.objects.count(), Place.objects.count()) == (300, 5)
