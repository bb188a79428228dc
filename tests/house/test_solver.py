"""A solver stalls every other request, so the process that answers requests never loads one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
pytestmark = pytest.mark.one_database
CODE = """
import django, sys
django.setup()
import tooling.urls
print(sorted({name.split('.')[0] for name in sys.modules} & {'highspy', 'scipy'}))
"""


def test_the_web_process_loads_no_solver(tmp_path: Path) -> None:
    names = {"DJANGO_SETTINGS_MODULE": "tooling.settings", "ROLLROOM_DATA_DIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", CODE], cwd=ROOT, env={**os.environ, **names}, text=True,
        capture_output=True, check=True,
    )  # fmt: skip
    assert done.stdout.strip() == "[]"
