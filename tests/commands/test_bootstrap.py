"""The bootstrap: what it installs, when it is ready, what it says when it cannot go on."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tooling import bootstrap

ROOT = Path(__file__).resolve().parent.parent.parent


def bare(name: str) -> str:
    """``Psycopg[binary]~=3.2`` → ``psycopg``, as package indexes compare names."""
    found = re.match(r"[A-Za-z0-9._-]+", name)
    assert found
    return re.sub(r"[-_.]+", "-", found[0]).lower()


def pins() -> dict[str, str]:
    lines = bootstrap.PINS.read_text().split()
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[^=]+", line) for line in lines)
    return {bare(line): line.partition("==")[2] for line in lines}


def test_every_package_asked_for_is_pinned() -> None:
    assert [name for name in bootstrap.packages(True) if bare(name) not in pins()] == []


def test_whoever_only_runs_the_service_gets_no_test_packages() -> None:
    service, tests = bootstrap.packages(False), bootstrap.packages(True)
    assert set(service) < set(tests)
    assert "pytest" not in service
    assert "pytest" in tests


def test_every_dependency_says_its_reason_or_stands_in_a_group_of_tools() -> None:
    lines = (ROOT / "pyproject.toml").read_text().splitlines()
    start = lines.index("dependencies = [")
    asked = lines[start + 1 : lines.index("]", start)]
    assert len(asked) == len(tomllib.loads("\n".join(lines))["project"]["dependencies"])
    assert [line for line in asked if " # " not in line] == []


@pytest.mark.parametrize(
    "arguments", [["demo", "--data-dir", "/srv/rolls"], ["demo", "--data-dir=/srv/rolls"]]
)
def test_the_data_folder_is_known_before_settings_are_read(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROLLROOM_DATA_DIR", "/elsewhere")
    bootstrap._name_data_dir(["manage.py", *arguments])
    assert os.environ["ROLLROOM_DATA_DIR"] == "/srv/rolls"


def test_a_data_folder_without_a_value_is_left_to_the_command(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("ROLLROOM_DATA_DIR", "/elsewhere")
    bootstrap._name_data_dir(["manage.py", "demo", "--data-dir"])
    assert os.environ["ROLLROOM_DATA_DIR"] == "/elsewhere"


@pytest.fixture
def venv(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An environment's folder with nothing in it."""
    monkeypatch.setattr(bootstrap, "VENV", tmp_path)
    return tmp_path


def test_an_environment_without_a_stamp_is_not_ready(venv: Path) -> None:
    assert not bootstrap._is_ready(False)
    assert not bootstrap._is_ready(True)


def test_one_made_for_the_service_is_not_ready_for_tests(venv: Path) -> None:
    bootstrap._stamp_file(False).write_text(bootstrap._fingerprint())
    assert bootstrap._is_ready(False)
    assert not bootstrap._is_ready(True)


def test_one_made_for_tests_is_ready_for_both(venv: Path) -> None:
    bootstrap._stamp_file(True).write_text(bootstrap._fingerprint())
    assert bootstrap._is_ready(False)
    assert bootstrap._is_ready(True)


def test_changed_pins_make_it_unready(
    venv: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bootstrap._stamp_file(False).write_text(bootstrap._fingerprint())
    other = tmp_path / "constraints.txt"
    other.write_text(bootstrap.PINS.read_text() + "colour==1.0\n")
    monkeypatch.setattr(bootstrap, "PINS", other)
    assert not bootstrap._is_ready(False)


def test_a_program_that_is_there_is_named_by_its_path() -> None:
    assert Path(bootstrap.need_system_package("dash", "sh")).is_file()


def test_without_a_package_manager_the_one_line_to_run_is_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(SystemExit) as left:
        bootstrap.need_system_package("chromium", "chromium")
    assert left.value.code == 2
    assert "sudo apt-get install -y chromium" in capsys.readouterr().err


def test_a_failing_install_is_said_and_ends_with_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """apt that does nothing stands for one without network."""
    apt = tmp_path / "apt-get"
    apt.write_text("#!/bin/sh\nexit 100\n")
    apt.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(SystemExit) as left:
        bootstrap.need_system_package("chromium", "chromium")
    assert left.value.code == 2
    assert "chromium" in capsys.readouterr().err


def test_an_environment_left_half_made_is_made_anew(venv: Path) -> None:
    """As after Ctrl-C while it was being made: a Python, but no pip to install with."""
    (venv / "bin").mkdir()
    (venv / "bin" / "python").symlink_to(sys.executable)
    bootstrap._make_environment()
    assert (venv / "bin" / "pip").exists()


def test_it_needs_the_standard_library_only() -> None:
    """Isolated, without site-packages: as on a machine where nothing was installed."""
    code = "import sys; sys.path.insert(0, sys.argv[1]); import tooling.bootstrap"
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", code, str(ROOT)], capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
