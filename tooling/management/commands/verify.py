"""``verify``: compare what is derived with history."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.management.derived import leave, other_data_dir, report
from tooling.services import file_sweep, rebuild
from tooling.services.file_sweep import Orphan


class Command(BaseCommand):
    help = "Compare places, counts, sizes, length run and staged flags with history."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="for a program to read")
        parser.add_argument("--data-dir", help="another data directory than the usual one")
        parser.add_argument(
            "--sweep",
            action="store_true",
            help="also take away files that nothing names and that are older than a day",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 when all holds, 1 when something differs or a sweep is refused."""
        swept: tuple[Orphan, ...] | None = None
        with other_data_dir(options["data_dir"]):
            found = rebuild.differences()
            if options["sweep"]:
                swept = _sweep()
        report(self.stdout, found, as_json=options["json"], done=False, swept=swept)
        leave(1 if found else 0)


def _sweep() -> tuple[Orphan, ...]:
    try:
        return file_sweep.sweep(at=timezone.now())
    except ToolingError as error:
        raise CommandError(error.message) from error
