"""``verify`` and ``rebuild``: exit codes, what they print, what they leave alone."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tooling.models import DrawingFile, Piece
from tooling.services import files

ROOT = Path(__file__).resolve().parent.parent.parent


def run(name: str, *arguments: str) -> tuple[int, str]:
    out = StringIO()
    try:
        call_command(name, *arguments, stdout=out, stderr=StringIO())
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue()
    return 0, out.getvalue()


@pytest.fixture
def lie(world):
    """A piece that claims another place than its one movement names."""
    rack, other = world.place("Rack A"), world.place("Rack B")
    piece = world.piece(world.drawing("D1"), rack)
    Piece.objects.filter(pk=piece.pk).update(place=other)
    return piece


@pytest.mark.django_db
def test_a_shop_that_agrees_is_said_so(world) -> None:
    world.piece(world.drawing("D1"), world.place("Rack A"))
    assert run("verify") == (0, "All that is derived agrees with history.\n")


@pytest.mark.django_db
def test_what_differs_is_a_stated_problem(lie) -> None:
    code, said = run("verify")
    assert code == 1
    assert f"place of {lie.code} is " in said


@pytest.mark.django_db
def test_a_program_reads_json(lie) -> None:
    code, said = run("verify", "--json")
    told = json.loads(said)
    assert (code, told["ok"]) == (1, False)
    assert told["differences"][0]["subject"] == lie.code


@pytest.mark.django_db
def test_a_dry_run_says_and_writes_nothing(lie) -> None:
    before = Piece.objects.get().place
    code, said = run("rebuild", "--dry-run")
    assert code == 0
    assert lie.code in said
    assert Piece.objects.get().place == before


@pytest.mark.django_db
def test_rebuild_puts_it_right(lie) -> None:
    code, said = run("rebuild")
    assert code == 0
    assert "1 values written anew." in said
    assert Piece.objects.get().place.name == "Rack A"
    assert run("verify")[0] == 0


@pytest.mark.one_database
def test_another_data_directory_can_be_looked_at(migrated_folder, tmp_path) -> None:
    environment = {**os.environ, "ROLLROOM_DATA_DIR": str(tmp_path / "usual")}
    environment.pop("DATABASE_URL", None)
    shutil.copytree(migrated_folder, tmp_path / "other")
    looked = manage(environment, "verify", "--data-dir", str(tmp_path / "other"))
    assert (looked.returncode, looked.stdout) == (0, "All that is derived agrees with history.\n")
    missing = manage(environment, "verify", "--data-dir", str(tmp_path / "nowhere"))
    assert missing.returncode == 2
    assert "There is no" in missing.stderr


def manage(environment: dict[str, str], *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.django_db
def test_a_sweep_says_what_it_takes_away(world, settings, tmp_path) -> None:
    settings.FILES_DIR = tmp_path
    kept = files.store(data=b"%PDF-named", at=world.at)
    revision = world.drawing("D1").revisions.get()
    DrawingFile.objects.create(revision=revision, file=kept, name="a.pdf", at=world.at)
    spare = files.store(data=b"%PDF-spare", at=world.at)
    for path in tmp_path.iterdir():
        os.utime(path, (0, 0))
    assert run("verify") == (0, "All that is derived agrees with history.\n")
    code, said = run("verify", "--sweep", "--json")
    assert (code, json.loads(said)["swept"]) == (0, [{"name": spare.sha256, "size": 10}])
    assert [path.name for path in tmp_path.iterdir()] == [kept.sha256]
    assert "0 files swept away, 0 bytes." in run("verify", "--sweep")[1]


@pytest.mark.django_db
def test_a_database_that_knows_no_file_sweeps_none(world, settings, tmp_path) -> None:
    settings.FILES_DIR = tmp_path
    lost = tmp_path / ("a" * 64)
    lost.write_bytes(b"whose?")
    os.utime(lost, (0, 0))
    with pytest.raises(CommandError, match="knows none of them"):
        call_command("verify", "--sweep", stdout=StringIO())
    assert lost.exists()
