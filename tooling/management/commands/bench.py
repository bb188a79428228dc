"""``bench [NAME …]``: measure, with machine and row counts, baselines in the same run."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from tests.bench.clock import machine

ROOT = Path(__file__).resolve().parent.parent.parent.parent
NAMES = (
    "kit", "poll", "scans", "search", "labels", "notice", "putaway", "backup", "imports",
    "register", "setups", "runs", "forecasts", "sheet", "stacks", "regrind", "wear", "kills",
    "models", "scanpage",
)  # fmt: skip
SMALL = 10_000
GROWTH_LIMIT = 1.3


class Command(BaseCommand):
    help = f"Measure {', '.join(NAMES)}; all without a name."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("names", nargs="*", metavar="NAME")
        parser.add_argument("--json", metavar="FILE", help="write the figures there too")
        parser.add_argument("--pieces", type=int, default=100_000)
        parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 when every limit holds, 1 when one does not."""
        names = options["names"] or list(NAMES)
        unknown = [name for name in names if name not in NAMES]
        if unknown:
            raise CommandError(f"no such measurement: {unknown[0]}; there are {', '.join(NAMES)}")
        self.stdout.write(f"machine: {machine()}")
        runs = [_run(options["pieces"], names, options["database"])]
        if "kit" in names and options["pieces"] > SMALL:
            runs.append(_run(SMALL, ["kit"], options["database"]))
            runs[0]["figures"]["kit"].append(_growth(*runs))
        for run in runs:
            self._show(run)
        if options["json"]:
            Path(options["json"]).write_text(json.dumps({"machine": machine(), "runs": runs}))
        rows = [row for run in runs for rows in run["figures"].values() for row in rows]
        sys.exit(0 if all(row["holds"] for row in rows) else 1)

    def _show(self, run: dict[str, Any]) -> None:
        counts = ", ".join(f"{count:,} {name}" for name, count in run["rows"].items())
        self.stdout.write(f"\n{run['database']}: {counts}")
        for name, rows in run["figures"].items():
            for row in rows:
                word = "least" if row.get("at_least") else "limit"
                limit = "" if row["limit"] is None else f"  {word} {row['limit']:g} {row['unit']}"
                verdict = "" if row["limit"] is None else ("  ok" if row["holds"] else "  OVER")
                figure = f"{row['value']:10.2f} {row['unit']:3}"
                self.stdout.write(f"  {name:8} {row['what']:55} {figure}{limit}{verdict}")


def _growth(large: dict[str, Any], small: dict[str, Any]) -> dict[str, Any]:
    """How much slower the kit page is with ten times the pieces."""
    ratio = large["figures"]["kit"][0]["value"] / small["figures"]["kit"][0]["value"]
    what = f"kit page / its own time at {SMALL:,} pieces"
    holds = ratio <= GROWTH_LIMIT
    return {"what": what, "value": ratio, "unit": "×", "limit": GROWTH_LIMIT, "holds": holds}


def _run(pieces: int, names: list[str], database: str) -> dict[str, Any]:
    """One fresh data directory and one process per size."""
    with tempfile.TemporaryDirectory(prefix="rollroom-bench-") as folder:
        environment = {**os.environ, "ROLLROOM_DATA_DIR": folder}
        environment.pop("DATABASE_URL", None)
        command = [sys.executable, "-m", "tests.bench", "--pieces", str(pieces), *names]
        if database == "postgresql":
            command = [sys.executable, "-m", "tests.postgresql", *command]
        done = subprocess.run(
            command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=False
        )
        if done.returncode:
            raise CommandError(f"the measuring process ended with exit code {done.returncode}")
        answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
        return answer
