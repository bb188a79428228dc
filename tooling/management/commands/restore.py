"""``restore FILE``: everything back, on either database, all of it or nothing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.management.derived import leave, report
from tooling.management.people import acting_person
from tooling.management.serving import nobody_serves
from tooling.services import rebuild
from tooling.services.backup.archive import reading
from tooling.services.backup.make import backup
from tooling.services.backup.restore import restore


class Command(BaseCommand):
    help = (
        "Bring a backup back. The file is checked before anything is touched; then every row is "
        "compared with it. DATABASE_URL says where to, so this is also the way from SQLite to "
        "PostgreSQL and back."
    )

    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--json", action="store_true", help="for a program to read")
        parser.add_argument("--check", action="store_true", help="only read the file, whole")
        parser.add_argument(
            "--replace",
            action="store_true",
            help="put it in the place of what the database holds, which is backed up first",
        )
        parser.add_argument("--by", help="user name in whose name that backup is made")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 when all is back and agrees with history, 1 with the reason."""
        path = Path(options["file"]).absolute()
        try:
            if options["check"]:
                self._check(path)
                return
            with nobody_serves():
                if options["replace"]:
                    self._save(path, options)
                done = restore(path=path, replace=options["replace"])
        except ToolingError as error:
            raise CommandError(error.message) from error
        found = rebuild.differences()
        if options["json"]:
            told = {"rows": done.rows, "files": done.files, "made_at": done.manifest.made_at,
                    "differences": [each.as_dict() for each in found]}  # fmt: skip
            self.stdout.write(json.dumps(told, indent=1))
        else:
            self.stdout.write(
                f"{done.rows} rows and {done.files} files of {done.manifest.made_at} are back; "
                "every row was compared with the file."
            )
            report(self.stdout, found, as_json=False, done=False)
        leave(1 if found else 0)

    def _check(self, path: Path) -> None:
        with reading(path) as archive:
            manifest = archive.manifest
        self.stdout.write(
            f"{path} is whole: {manifest.rows} rows and {len(manifest.files)} files of "
            f"{manifest.made_at}, made on {manifest.database}."
        )

    def _save(self, path: Path, options: dict[str, Any]) -> None:
        """What is there now, before it is replaced; the new file is checked first."""
        with reading(path):
            pass
        folder = Path(settings.DATA_DIR) / "backups"
        folder.mkdir(mode=0o700, exist_ok=True)
        at = timezone.now()
        saved = folder / f"before-restore-{at:%Y%m%dT%H%M%S}.zip"
        backup(by=acting_person(options["by"]), at=at, path=saved, without_missing_files=True)
        self.stdout.write(f"What was there is kept in {saved}.")
