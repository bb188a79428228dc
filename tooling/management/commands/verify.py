"""``verify``: compare what is derived with history."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from tooling.management.derived import leave, other_data_dir, report
from tooling.services import rebuild


class Command(BaseCommand):
    help = "Compare places, counts, sizes, length run and staged flags with history."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="for a program to read")
        parser.add_argument("--data-dir", help="another data directory than the usual one")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 when all holds, 1 when something differs."""
        with other_data_dir(options["data_dir"]):
            found = rebuild.differences()
        report(self.stdout, found, as_json=options["json"], done=False)
        leave(1 if found else 0)
