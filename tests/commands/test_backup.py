"""``backup`` and ``restore`` as somebody at a terminal runs them, each in a process of its own."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from tests.world import World
from tooling.history import HISTORY
from tooling.management.serving import nobody_serves
from tooling.models import Piece
from tooling.services.backup import rows
from tooling.services.backup.archive import Manifest, Table, reading, writing_to
from tooling.services.backup.make import backup
from tooling.services.backup.restore import restore

ROOT = Path(__file__).resolve().parent.parent.parent


def manage(data_dir: Path, *arguments: str, **more) -> subprocess.CompletedProcess[str]:
    """A command on the SQLite database of a data directory."""
    environment = {**os.environ, "ROLLROOM_DATA_DIR": str(data_dir)}
    environment.pop("DATABASE_URL", None)
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments],
        env=environment, capture_output=True, text=True, check=False, **more,
    )  # fmt: skip


def tables_of(path: Path) -> dict[str, str]:
    with reading(path) as archive:
        return {
            table.name: table.sha256
            for table in archive.manifest.tables
            if table.name != "tooling_change"
        }


@pytest.mark.django_db
def test_the_drill_from_this_database_to_sqlite_and_back(
    world: World, supervisor, migrated_folder, tmp_path, settings
) -> None:
    """The whole way a shop would move: backup here, restore into an empty shop there, and home
    again."""
    shutil.copytree(migrated_folder, tmp_path / "new")
    settings.FILES_DIR = tmp_path / "files"
    world.piece(world.drawing("D-1", bore_nm=40_000_000), world.place("Rack A"), mark="P1 T1")
    here, there = tmp_path / "here.zip", tmp_path / "there.zip"
    backup(by=supervisor, at=world.at, path=here)
    moved = manage(tmp_path / "new", "restore", str(here), "--json")
    assert moved.returncode == 0, moved.stderr
    assert json.loads(moved.stdout)["differences"] == []
    saved = manage(tmp_path / "new", "backup", str(there))
    assert saved.returncode == 0, saved.stderr
    assert "read back whole" in saved.stdout
    connection.check_constraints()
    restore(path=there, replace=True)
    assert Piece.objects.get().mark == "P1 T1"
    assert tables_of(there) == tables_of(here)


@pytest.mark.one_database
def test_an_older_backup_is_brought_up_to_date_in_an_empty_database(tmp_path) -> None:
    """Rows as the first version kept them, written by hand, since that version is no more here."""
    loader = MigrationLoader(None)
    nodes = [("tooling", "0001_initial"), ("authtoken", loader.graph.leaf_nodes("authtoken")[0][1])]
    old = loader.project_state(nodes).apps
    lines = {
        "tooling_owner": [[7, "SHOP", "The shop", True, "", ""]],
        "tooling_place": [
            {"id": 3, "code": "P0000016", "kind": "rack", "name": "Rack A", "walking_order": 1,
             "path": "/P0000016/", "path_name": "Rack A", "is_active": True},
        ],
    }  # fmt: skip
    path = tmp_path / "old.zip"
    with writing_to(path) as writer:
        tables = []
        for model in rows.kept_models(old):
            name, columns = model._meta.db_table, rows.names(model)
            given = [
                [row.get(column) for column in columns] if isinstance(row, dict) else row
                for row in lines.get(name, [])
            ]
            count, sha = writer.lines(f"tables/{name}.jsonl", map(rows.encode, given))
            tables.append(Table(name, model._meta.label_lower, columns, count, sha))
        writer.manifest(Manifest("2026-01-01T00:00:00+00:00", "sqlite", dict(nodes), tables, {}))
    done = manage(tmp_path / "new", "restore", str(path))
    assert done.returncode == 0, done.stderr
    database = sqlite3.connect(tmp_path / "new" / "rollroom.sqlite3")
    owner = database.execute("SELECT id, code, insurance_reference FROM tooling_owner").fetchall()
    place = database.execute("SELECT id, name, home_id FROM tooling_place").fetchall()
    triggers = database.execute("SELECT count(*) FROM sqlite_master WHERE type = 'trigger'")
    assert (owner, place) == ([(7, "SHOP", "")], [(3, "Rack A", None)])
    assert triggers.fetchone()[0] == 2 * len(HISTORY)


@pytest.mark.one_database
def test_a_served_data_directory_is_left_alone(settings, tmp_path) -> None:
    settings.DATA_DIR = tmp_path
    with nobody_serves():
        tried = manage(tmp_path, "restore", str(tmp_path / "any.zip"))
    assert tried.returncode == 1
    assert "stop it, then restore" in tried.stderr


@pytest.mark.django_db
def test_a_file_can_be_checked_without_restoring(world, supervisor, tmp_path, capsys) -> None:
    path = tmp_path / "b.zip"
    backup(by=supervisor, at=world.at, path=path)
    call_command("restore", str(path), "--check")
    assert "is whole" in capsys.readouterr().out
