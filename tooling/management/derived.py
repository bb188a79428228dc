"""What ``verify`` and ``rebuild`` share: another data directory, the report, the exit code."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, OutputWrapper
from django.db import connection, connections

from tooling.services.file_sweep import Orphan
from tooling.services.rebuild import Difference

MOST_LINES = 200


@contextmanager
def other_data_dir(folder: str | None) -> Iterator[None]:
    """Look at the SQLite database and the files of another data directory for a while.

    Raises CommandError (exit 2) when there is none.
    """
    if folder is None:
        yield
        return
    path = Path(folder).expanduser() / "rollroom.sqlite3"
    if connection.vendor != "sqlite":
        raise CommandError("--data-dir is for SQLite; DATABASE_URL names another.", returncode=2)
    if not path.is_file():
        raise CommandError(f"There is no {path}. Give the folder that demo used.", returncode=2)
    database = connections["default"].settings_dict
    usual, usual_files = database["NAME"], settings.FILES_DIR
    connections["default"].close()
    database["NAME"], settings.FILES_DIR = str(path), path.parent / "files"
    try:
        yield
    finally:
        connections["default"].close()
        database["NAME"], settings.FILES_DIR = usual, usual_files


def report(
    out: OutputWrapper,
    found: Sequence[Difference],
    *,
    as_json: bool,
    done: bool,
    swept: Sequence[Orphan] | None = None,
) -> None:
    """What differs, one line each, or as JSON ``{"ok", "differences"}``; then what files were
    swept away (``swept``), where that was asked for."""
    if as_json:
        told: dict[str, Any] = {
            "ok": not found or done,
            "differences": [each.as_dict() for each in found],
        }
        if swept is not None:
            told["swept"] = [{"name": each.name, "size": each.size} for each in swept]
        out.write(json.dumps(told, indent=1))
        return
    if swept is not None:
        _report_sweep(out, swept)
    verb = "was" if done else "is"
    for each in found[:MOST_LINES]:
        out.write(
            f"{each.what} of {each.subject} {verb} {each.kept}, history says {each.should_be}"
        )
    if len(found) > MOST_LINES:
        out.write(f"… and {len(found) - MOST_LINES} more")
    if not found:
        out.write("All that is derived agrees with history.")
    elif done:
        out.write(f"{len(found)} values written anew.")


def _report_sweep(out: OutputWrapper, swept: Sequence[Orphan]) -> None:
    for each in swept[:MOST_LINES]:
        out.write(f"{each.name}, {each.size} bytes: nothing named it; taken away")
    size = sum(each.size for each in swept)
    out.write(f"{len(swept)} files swept away, {size} bytes.")


def leave(code: int) -> None:
    """End the command with its exit code; 0 just goes on."""
    if code:
        sys.exit(code)
