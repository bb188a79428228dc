"""``test``: everything. SQLite with the browser, then PostgreSQL; arguments go to pytest."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from tooling import bootstrap

ROOT = Path(__file__).resolve().parent.parent.parent.parent
PASSED = 0
NOTHING_COLLECTED = 5
"""What pytest answers when the arguments leave no test for one of the two databases."""
WORKERS = {"sqlite": "3", "postgresql": "2"}
"""For two cores. A test in the browser waits half its time: for a poll, for a flash to go."""
ON_SQLITE_ONLY = (
    *("browser", "engineering", "house", "paper"),
    *("pictures", "spreadsheets", "templatetags", "web"),
)
"""Folders of which PostgreSQL would run nothing: it need not even read them."""


class Command(BaseCommand):
    help = "Run all tests: SQLite, PostgreSQL and browser."
    requires_system_checks: list[str] = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Every argument after ``test`` belongs to pytest, dashes and all."""
        sys.exit(run(argv[2:]))

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("pytest_arguments", nargs="*")

    def handle(self, *args: Any, **options: Any) -> None:
        sys.exit(run(options["pytest_arguments"]))


def run(arguments: list[str]) -> int:
    """0 when both runs passed; 1 when one failed; 2 when a system package is missing."""
    bootstrap.need_system_package("chromium", "chromium")
    with tempfile.TemporaryDirectory(prefix="rollroom-test-") as folder:
        first = _pytest(arguments, folder, database="sqlite")
        second = _pytest(arguments, folder, database="postgresql")
    passed = {first, second} <= {PASSED, NOTHING_COLLECTED} and PASSED in (first, second)
    return 0 if passed else 1


def _pytest(arguments: list[str], folder: str, *, database: str) -> int:
    """One run of pytest; PostgreSQL leaves out what no database can change.

    Compiled modules are kept in the environment: the tests start dozens of processes.
    """
    print(f"\n===== tests on {database} =====", flush=True)
    data_dir = Path(folder) / database
    environment = {
        **os.environ,
        "ROLLROOM_DATA_DIR": str(data_dir),
        "ROLLROOM_TEST_DATABASE": database,
        "PYTHONHASHSEED": "0",
        "PYTHONPYCACHEPREFIX": str(bootstrap.VENV / "pycache"),
    }
    environment.pop("DATABASE_URL", None)
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    workers = [] if any(word.startswith("-n") for word in arguments) else ["-n", WORKERS[database]]
    shared_out = ["--dist", "loadfile", "--no-loadscope-reorder"]  # conftest says what goes first
    command = [sys.executable, "-m", "pytest", *workers, *shared_out, *arguments]
    if database == "postgresql":
        command += [f"--ignore=tests/{folder}" for folder in ON_SQLITE_ONLY]
        command += ["-m", "not browser and not one_database"]
        command = [sys.executable, "-m", "tests.postgresql", "--forgetful", *command]
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode
