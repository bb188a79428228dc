"""``bench models``: the stateful models of the suite with many more examples."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.bench.build import Built
from tests.bench.clock import Figure, seconds

ROOT = Path(__file__).resolve().parent.parent.parent
EXAMPLES = 400
MODELS = ("tests/services/test_scan_model.py",)


def models(built: Built) -> list[Figure]:
    """Runs pytest on a test database beside the built shop; its output stands above the figures."""
    environment = {**os.environ, "ROLLROOM_MODEL_EXAMPLES": str(EXAMPLES)}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *MODELS]
    ended: list[int] = []

    def run() -> None:
        done = subprocess.run(command, cwd=ROOT, env=environment, stdout=sys.stderr, check=False)
        ended.append(done.returncode)

    took = seconds(run)
    return [
        Figure("scan model: examples of 30 steps", EXAMPLES, ""),
        Figure("scan model: failed", ended[0], "", 0),
        Figure("scan model: time", took, "s"),
    ]
