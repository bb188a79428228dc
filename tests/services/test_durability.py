"""An acknowledged scan is on disk: the server is killed, or the power fails, and it is there."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import pytest
from django.db import connection
from rest_framework.authtoken.models import Token

from tests.bench import kills
from tests.bench.kills import Report, Senders, Server, Target
from tests.world import World, make_person
from tooling.models import Role

pytestmark = pytest.mark.django_db(transaction=True)
KILLS = 10


@pytest.fixture
def target(transactional_db: None) -> Target:
    """A small shop that the servers see too: forty pieces, six places, a bin."""
    world = World(at=datetime.now(UTC))
    racks = [world.place(f"Rack {n}") for n in range(6)]
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, racks[0]) for _n in range(40)]
    store = world.place("Store")
    line = world.stock(world.drawing("SP", kind="spacer"), store, 1_000_000)
    token, _made = Token.objects.get_or_create(user=make_person("sender", Role.ATTENDANT))
    return Target([p.code for p in pieces], [r.code for r in racks], line.code, token.key)


@pytest.fixture(scope="module")
def server(django_db_setup: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = str(tmp_path_factory.mktemp("server"))
    address = address_of_test_database()
    environment = {**os.environ, "DATABASE_URL": address, "ROLLROOM_DATA_DIR": folder}
    with kills.serving(environment) as running:
        yield running


def address_of_test_database() -> str:
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return urlunsplit(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}"))


def test_nothing_acknowledged_is_lost_or_doubled_when_the_server_is_killed(target, server) -> None:
    report = kills.kill_again_and_again(server, target, kills=KILLS, seed=6)
    assert not report.problems
    assert (report.kills, min(report.in_flight) >= kills.LEAST_IN_FLIGHT) == (KILLS, True)
    compared = kills.compare(report, target)
    assert compared.is_clean, compared
    assert compared.acknowledged + compared.refused >= kills.ANSWERED_FIRST * KILLS


def test_what_was_acknowledged_is_in_the_files_as_the_power_fails(target, server, tmp_path) -> None:
    """Everything stops between two instructions; the files are what a disk would hold, with a
    torn record at the end of the log. PostgreSQL's own recovery is its own."""
    if connection.vendor != "sqlite":
        assert connection.settings_dict["OPTIONS"]["options"].endswith("synchronous_commit=on")
        return
    report = Report()
    server.start()
    senders = Senders(server.port, target, 6, report)
    with senders.sending(0):
        senders.wait_until_answered(200)
        server.signal(signal.SIGSTOP)
        acknowledged = {key for key, said in report.answers.items() if said == "taken"}
        copy = copied_files(tmp_path)
        server.signal(signal.SIGCONT)
    server.kill()
    with closing(sqlite3.connect(copy)) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        rows = database.execute("SELECT scan FROM tooling_movement WHERE scan IS NOT NULL")
        there = {key for (key,) in rows}
    assert acknowledged
    assert {key.replace("-", "") for key in acknowledged} <= there


def copied_files(folder: Path) -> Path:
    database = Path(str(connection.settings_dict["NAME"]))
    copy = folder / "after.sqlite3"
    shutil.copy(database, copy)
    log = shutil.copy(f"{database}-wal", f"{copy}-wal")
    with Path(log).open("ab") as torn:
        torn.write(os.urandom(2_000))
    return copy
