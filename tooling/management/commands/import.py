"""``import FILE…``: spreadsheets in, all or nothing."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.management.people import acting_person
from tooling.models import Import
from tooling.queries.import_tasks import problem_count, whole_list
from tooling.queries.shop_zone import shop_zone
from tooling.services import imports
from tooling.services.files import path_of


class Command(BaseCommand):
    help = "Bring spreadsheets in. Exit 0 applied, 1 problems (nothing changed), 2 wrong call."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="+", metavar="FILE")
        parser.add_argument("--mapping", default="", help="a kept mapping's name")
        parser.add_argument("--dry-run", action="store_true", help="show, change nothing")
        parser.add_argument("--by", help="user name in whose name it is done")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit as ``help`` says; times in the sheets are the shop's."""
        with timezone.override(shop_zone()):
            self._bring(options)

    def _bring(self, options: dict[str, Any]) -> None:
        at, by = timezone.now(), acting_person(options["by"])
        brought = [imports.Brought(Path(name).name, _read(name)) for name in options["files"]]
        try:
            made = imports.bring(
                by=by, at=at, brought=brought, mapping_name=options["mapping"],
                at_once=self._progress,
            )  # fmt: skip
            if options["dry_run"]:
                imports.drop(by=by, at=at, made=made)
            elif not made.problems:
                made = imports.apply(by=by, at=at, made=made, at_once=self._progress)
        except ToolingError as error:
            self.stderr.write(f"{error.code}: {error.message}")
            sys.exit(1)
        self._show(made, as_json=options["json"])
        sys.exit(1 if made.problems else 0)

    def _progress(self, share: float, message: str) -> None:
        """How far a long import is, where somebody looks on."""
        if self.stderr.isatty():
            self.stderr.write(f"\r{share:4.0%}  {message:60}", ending="")

    def _show(self, made: Import, *, as_json: bool) -> None:
        if as_json:
            answer = {
                "id": made.pk,
                "state": made.state,
                "rows": made.rows,
                "problems": made.problems,
                "problem_count": problem_count(made),
            }
            self.stdout.write(json.dumps(answer, ensure_ascii=False))
            return
        counts = made.rows
        self.stdout.write(
            f"{counts['create']} to create, {counts['change']} to change, {counts['same']} the same"
            f" ({made.get_state_display()})"
        )
        for problem in made.problems:
            self.stderr.write(
                f"{problem['sheet']}, row {problem['row']}, {problem['column']}, "
                f"“{problem['value']}”: {problem['message']}"
            )
        whole, more = whole_list(made), problem_count(made) - len(made.problems)
        if whole is not None and more > 0:
            self.stderr.write(f"and {more} more; all of them are in {path_of(whole)}")


def _read(name: str) -> bytes:
    try:
        return Path(name).read_bytes()
    except OSError as error:
        print(f"{name}: {error.strerror}", file=sys.stderr)
        sys.exit(2)
