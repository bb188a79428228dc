"""``doctor``: silent about a sound installation, plain about each thing that is wrong."""

from __future__ import annotations

import contextlib
import json
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from tests.world import World
from tooling import history
from tooling.management import health
from tooling.models import Change, Movement, Shop, Task
from tooling.services import certificates, files

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def installation(settings: Any, tmp_path: Path, supervisor: Any, monkeypatch: Any) -> Path:
    """A sound one of its own, in a folder of its own."""
    monkeypatch.delenv("SECRET_KEY", raising=False)
    settings.DATA_DIR = tmp_path
    settings.FILES_DIR = tmp_path / "files"
    key = tmp_path / "secret-key"
    key.touch(mode=0o600)
    Shop.objects.get_or_create(pk=1, defaults={"name": "Test", "time_zone": "Europe/Berlin"})
    Change.objects.create(at=timezone.now(), subject="Shop", subject_key="shop", what="backed up")
    certificates.make(at=timezone.now())
    return tmp_path


def wrong(at: datetime = NOW) -> dict[str, str]:
    """What is not as it should be: its name → how bad; without what the tests' own PostgreSQL
    is told of, which does not wait for the disk."""
    return {each.what: each.level for each in look(at) if each.level != "ok"}


def look(at: datetime = NOW) -> list[health.Finding]:
    return [each for each in health.look(at=at) if each.what != "postgresql"]


def test_a_sound_installation_has_nothing_wrong() -> None:
    assert wrong() == {}


def test_the_command_says_so_and_ends_well() -> None:
    out = StringIO()
    with contextlib.suppress(SystemExit):
        call_command("doctor", json=True, stdout=out)
    told = json.loads(out.getvalue())
    forgets = {each["what"] for each in told["findings"] if each["level"] == "bad"}
    assert forgets == ({"postgresql"} if connection.vendor == "postgresql" else set())
    assert told["ok"] is not bool(forgets)


def test_the_command_ends_with_1_when_something_is_wrong(installation: Path) -> None:
    (installation / "secret-key").chmod(0o644)
    out = StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("doctor", stdout=out)
    assert left.value.code == 1
    assert "BAD secret key" in out.getvalue()
    assert "chmod 600" in out.getvalue()


def test_history_without_its_triggers_is_bad() -> None:
    table = Movement._meta.db_table
    with connection.cursor() as cursor:
        for statement in history._drop_sql(connection, Movement)[:1]:
            cursor.execute(statement)
    found = next(each for each in health.look(at=NOW) if each.what == "history")
    assert (found.level, table in found.said) == ("bad", True)


@pytest.mark.parametrize(("days", "level"), [(0, None), (390, None), (398, "bad"), (3_400, "bad")])
def test_a_certificate_that_ended_is_bad(days: int, level: str | None) -> None:
    assert wrong(timezone.now() + timedelta(days=days)).get("https") == level


def test_an_authority_in_its_last_year_is_a_warning() -> None:
    then = timezone.now() + timedelta(days=3_400)
    certificates.make(at=then)
    assert wrong(then)["https"] == "warn"


def test_without_a_certificate_it_says_what_phones_go_without(installation: Path) -> None:
    (installation / "https" / "server.pem").unlink()
    assert wrong() == {"https": "warn"}


def test_a_certificate_that_cannot_be_read_is_bad(installation: Path) -> None:
    (installation / "https" / "server.pem").write_text("nonsense")
    assert wrong() == {"https": "bad"}


def test_a_server_that_does_not_wait_for_the_disk_is_bad() -> None:
    """The tests' own PostgreSQL is such a one, but the connection asks it to wait at commit."""
    said = [each for each in health.look(at=NOW) if each.what == "postgresql"]
    if connection.vendor == "postgresql":
        assert [each.level for each in said] == ["bad"]
        assert "fsync is off" in said[0].said
        with connection.cursor() as cursor:
            cursor.execute("SHOW synchronous_commit")
            assert cursor.fetchone() == ("on",)
    else:
        assert not said


def test_a_migration_not_applied_is_bad_and_the_rest_is_not_asked() -> None:
    MigrationRecorder(connection).migration_qs.filter(app="tooling").delete()
    assert wrong() == {"migrations": "bad"}


def test_a_database_of_a_newer_version_is_bad() -> None:
    MigrationRecorder(connection).record_applied("tooling", "9999_later")
    assert wrong() == {"migrations": "bad"}


def test_a_key_that_others_read_is_bad(installation: Path) -> None:
    (installation / "secret-key").chmod(0o640)
    assert wrong() == {"secret key": "bad"}


def test_a_key_from_the_environment_needs_no_file(installation: Path, monkeypatch: Any) -> None:
    (installation / "secret-key").unlink()
    monkeypatch.setenv("SECRET_KEY", "x" * 40)
    assert wrong() == {}


def test_log_ins_that_others_read_are_a_warning(installation: Path) -> None:
    logins = installation / "logins.json"
    logins.write_text("{}")
    logins.chmod(0o644)
    assert wrong() == {"demo log-ins": "warn"}


def test_a_stored_file_that_is_lost_or_cut_short_is_bad(installation: Path) -> None:
    kept = files.store(data=b"%PDF-1.7 drawing", at=NOW)
    assert wrong() == {}
    (installation / "files" / kept.sha256).write_bytes(b"%PDF")
    assert wrong() == {"files": "bad"}


def test_a_file_that_belongs_to_nothing_is_a_warning(installation: Path) -> None:
    (installation / "files").mkdir()
    (installation / "files" / "stray").write_bytes(b"x")
    assert wrong() == {"files": "warn"}


@pytest.mark.parametrize(
    ("state", "minutes", "level"),
    [("waiting", 6, "bad"), ("waiting", 4, None), ("running", 1, "bad"), ("done", 600, None)],
)
def test_a_task_that_nobody_does_is_bad(state: str, minutes: int, level: str | None) -> None:
    then = NOW - timedelta(minutes=minutes)
    Task.objects.create(kind="labels", state=state, created_at=then, heartbeat_at=then)
    assert wrong().get("worker") == level


def test_a_clock_behind_the_newest_movement_is_bad(world: World) -> None:
    world.piece(world.drawing("R-1"), world.place("Rack A"))
    assert wrong(NOW - timedelta(days=2)) == {"clock": "bad"}


def test_a_clock_from_before_the_program_is_bad() -> None:
    assert wrong(datetime(2001, 1, 1, tzinfo=UTC)) == {"clock": "bad"}


def test_a_time_zone_that_is_none_is_bad() -> None:
    Shop.objects.update(time_zone="Mars/Olympus")
    assert wrong() == {"time zone": "bad"}


def test_a_shop_without_a_supervisor_is_a_warning(supervisor: Any) -> None:
    supervisor.roles.all().delete()
    assert wrong() == {"people": "warn"}


def test_a_backup_long_ago_or_never_is_a_warning() -> None:
    made = Change.objects.get(what="backed up").at
    assert wrong(made + timedelta(days=7)) == {}
    assert wrong(made + timedelta(days=7, seconds=1)) == {"backup": "warn"}
