"""``backup FILE``: everything in one file, while people work."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.management.people import acting_person
from tooling.services.backup.make import backup


class Command(BaseCommand):
    help = (
        "Write all records, history and files to one file, as they are at one instant, and read "
        "it back. It holds hashed passwords: keep it as you keep keys."
    )

    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--by", help="user name in whose name it is done")
        parser.add_argument("--json", action="store_true", help="for a program to read")
        parser.add_argument(
            "--without-missing-files",
            action="store_true",
            help="go on when the files folder lost some that records name; they are listed",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 when the file was read back whole, 1 with the reason when there is none."""
        try:
            made = backup(
                by=acting_person(options["by"]),
                at=timezone.now(),
                path=Path(options["file"]).absolute(),
                without_missing_files=options["without_missing_files"],
            )
        except ToolingError as error:
            raise CommandError(error.message) from error
        manifest = made.manifest
        if options["json"]:
            told = {"file": str(made.path), "bytes": made.size, "rows": manifest.rows,
                    "files": len(manifest.files), "missing_files": manifest.missing_files,
                    "made_at": manifest.made_at}  # fmt: skip
            self.stdout.write(json.dumps(told, indent=1))
            return
        self.stdout.write(
            f"{made.path}: {manifest.rows} rows, {len(manifest.files)} files, "
            f"{made.size / 1_000_000:.1f} MB, read back whole."
        )
        if manifest.missing_files:
            self.stdout.write(f"Left out, because missing: {', '.join(manifest.missing_files)}")
