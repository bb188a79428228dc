"""``demo`` and ``serve`` as real processes on a data folder of their own."""

from __future__ import annotations

import os
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent


def environment(data_dir: Path) -> dict[str, str]:
    """As outside the tests: SQLite in the data folder, nothing else named."""
    left_out = ("DATABASE_URL", "SECRET_KEY", "DJANGO_SETTINGS_MODULE")
    clean = {name: value for name, value in os.environ.items() if name not in left_out}
    return {**clean, "ROLLROOM_DATA_DIR": str(data_dir)}


def manage(data_dir: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments], cwd=ROOT, text=True,
        env=environment(data_dir), capture_output=True, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running(data_dir: Path, *arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A serving process and its address, once it has said READY; ended whatever happens."""
    command = [sys.executable, str(ROOT / "manage.py"), *arguments]
    with subprocess.Popen(
        command, cwd=ROOT, env=environment(data_dir), text=True, stdout=subprocess.PIPE,
        stdin=subprocess.DEVNULL, start_new_session=True,
    ) as process:  # fmt: skip
        try:
            assert process.stdout is not None
            said = next((line for line in process.stdout if line.startswith("READY ")), "")
            assert said, "the process ended without READY"
            yield process, said.split()[1]
        finally:
            if process.poll() is None:
                process.terminate()
                process.wait(timeout=30)


def ended_within(process: subprocess.Popen[Any], seconds: float) -> bool:
    """Whether it ends meanwhile: between two looks at what it does, leaves the processor to it."""
    try:
        process.wait(timeout=seconds)
    except subprocess.TimeoutExpired:
        return False
    return True


def rows(data_dir: Path, query: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(data_dir / "rollroom.sqlite3")) as database:
        return database.execute(query).fetchall()
