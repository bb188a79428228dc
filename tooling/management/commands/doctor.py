"""``doctor``: what is wrong with this installation."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from tooling.management.derived import leave
from tooling.management.health import look

MARKS = {"ok": "ok  ", "warn": "hm  ", "bad": "BAD "}


class Command(BaseCommand):
    """Looks at database, history's triggers, files, worker, clock and keys. Changes nothing."""

    help = "Say what is wrong with this installation. Exit 1 when something is."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        found = look(at=timezone.now())
        is_ill = any(each.level == "bad" for each in found)
        if options["json"]:
            told = {"ok": not is_ill, "findings": [each.as_dict() for each in found]}
            self.stdout.write(json.dumps(told, indent=1))
        else:
            for each in found:
                self.stdout.write(f"{MARKS[each.level]}{each.what}: {each.said}")
                if each.todo:
                    self.stdout.write(f"      {each.todo}")
        leave(1 if is_ill else 0)
