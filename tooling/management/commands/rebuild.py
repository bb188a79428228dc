"""``rebuild``: make anew what is derived from history."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from tooling.management.derived import leave, other_data_dir, report
from tooling.services import rebuild


class Command(BaseCommand):
    help = "Write places, counts, sizes, length run and staged flags as history says."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--dry-run", action="store_true", help="say what differs, write nothing"
        )
        parser.add_argument("--json", action="store_true", help="for a program to read")
        parser.add_argument("--data-dir", help="another data directory than the usual one")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 when all holds in the end, 1 when something cannot be told from history."""
        with other_data_dir(options["data_dir"]):
            found = rebuild.differences() if options["dry_run"] else rebuild.rebuild()
            left = found if options["dry_run"] else rebuild.differences()
        report(self.stdout, found, as_json=options["json"], done=not options["dry_run"])
        if left and not options["dry_run"]:
            report(self.stderr, left, as_json=False, done=False)
        leave(1 if left and not options["dry_run"] else 0)
