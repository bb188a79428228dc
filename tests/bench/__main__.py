"""One process, one database: build it, check it, measure. ``bench`` starts it.

``python -m tests.bench --pieces N NAME…`` prints one JSON object on its last line.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tooling.settings")
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402

from tests.bench.build import build, find_built  # noqa: E402
from tests.bench.clock import Figure, seconds  # noqa: E402
from tests.bench.measures import MEASURES  # noqa: E402
from tooling.models import Movement, Piece  # noqa: E402
from tooling.services.rebuild import Difference, differences  # noqa: E402


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--pieces", type=int, default=100_000)
    parser.add_argument("--build-only", action="store_true")
    parser.add_argument("names", nargs="*")
    given = parser.parse_args(arguments)
    if given.build_only:
        call_command("migrate", verbosity=0)
        build(given.pieces)
        return 0
    _build_elsewhere(given.pieces)
    built = find_built()
    found: list[Difference] = []
    took = seconds(lambda: found.extend(differences()))
    counts = {"pieces": Piece.objects.count(), "movements": Movement.objects.count()}
    figures: dict[str, list[Figure]] = {
        "verify": [
            Figure("verify: differences after the bulk load", len(found), "", 0),
            Figure("verify: time", took, "s"),
        ]
    }
    for name in given.names:
        print(f"measuring {name} …", file=sys.stderr, flush=True)
        figures[name] = MEASURES[name](built)
        if name == "scans":
            left = len(differences())
            figures[name].append(Figure("verify: differences after the scans", left, "", 0))
    answer = {
        "database": connection.vendor,
        "rows": counts,
        "figures": {name: [each.as_dict() for each in rows] for name, rows in figures.items()},
    }
    print(json.dumps(answer))
    return 0


def _build_elsewhere(pieces: int) -> None:
    """In a process of its own, whose memory would slow and swell what is measured here."""
    command = [sys.executable, "-m", "tests.bench", "--build-only", "--pieces", str(pieces)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
