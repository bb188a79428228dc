"""``export DIR``: everything as spreadsheets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from tooling.management.people import acting_person
from tooling.queries.exports import ROWS
from tooling.services import exports


class Command(BaseCommand):
    help = "Write one CSV file for each kind, and one workbook with all, into a folder."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="DIR")
        parser.add_argument("--by", help="user name in whose name it is done")

    def handle(self, *args: Any, **options: Any) -> None:
        by, folder = acting_person(options["by"]), Path(options["folder"])
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CommandError(f"{folder}: {error.strerror}") from error
        for kind in ROWS:
            (folder / f"{kind}.csv").write_bytes(exports.csv_of(by=by, kind=kind))
        (folder / "rollroom.xlsx").write_bytes(exports.workbook(by=by))
        self.stdout.write(f"{len(ROWS)} sheets written to {folder}")
