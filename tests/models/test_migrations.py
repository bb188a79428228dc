"""The tests make their tables straight from the models; a shop's tables come from migrations.
The two are the same: tables, columns, constraints and indexes, on this database."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

ROOT = Path(__file__).resolve().parent.parent.parent
Shape = dict[str, tuple[set[tuple[Any, ...]], set[tuple[Any, ...]]]]


@pytest.fixture
def migrated(
    db: None, tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[BaseDatabaseWrapper]:
    """A second database of the same kind, made by the migrations as a shop makes it."""
    environment = {**os.environ, "ROLLROOM_DATA_DIR": str(tmp_path)}
    settings = dict(connection.settings_dict)
    if connection.vendor == "sqlite":
        folder = request.getfixturevalue("migrated_folder")
        settings["NAME"] = folder / "rollroom.sqlite3"
        yield from _opened(settings)
        return
    settings["NAME"] = f"migrated_{uuid.uuid4().hex[:12]}"
    server = connection.copy()
    with server.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {settings['NAME']}")
    try:
        address = urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{settings['NAME']}")
        _migrate({**environment, "DATABASE_URL": address.geturl()})
        yield from _opened(settings)
    finally:
        with server.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {settings['NAME']}")
        server.close()


def _migrate(environment: dict[str, str]) -> None:
    command = [sys.executable, str(ROOT / "manage.py"), "migrate", "--verbosity", "0"]
    subprocess.run(command, cwd=ROOT, env=environment, check=True)


def _opened(settings: dict[str, Any]) -> Iterator[BaseDatabaseWrapper]:
    other = type(connection.copy())(settings, "default")
    try:
        yield other
    finally:
        other.close()


def shape(database: BaseDatabaseWrapper) -> Shape:
    """By table: its columns, and its constraints and indexes by what they hold."""
    found: Shape = {}
    with database.cursor() as cursor:
        for table in sorted(database.introspection.table_names(cursor)):
            if not table.startswith("tooling_"):
                continue
            columns = {
                (row.name, row.type_code, row.null_ok)
                for row in database.introspection.get_table_description(cursor, table)
            }
            constraints = {
                (tuple(rule["columns"] or ()), rule["unique"], rule["primary_key"],
                 rule["foreign_key"], rule["check"], rule["index"])
                for rule in database.introspection.get_constraints(cursor, table).values()
            }  # fmt: skip
            found[table] = (columns, constraints)
    return found


def test_migrations_make_what_the_models_say(migrated: BaseDatabaseWrapper) -> None:
    assert shape(migrated) == shape(connection)


@pytest.mark.django_db
def test_nothing_is_left_to_migrate() -> None:
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)
