"""``compute NAME``: one computation, JSON in and JSON out, no database."""

from __future__ import annotations

import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils.translation import gettext_lazy as _

from tooling.engineering.compute import COMPUTATIONS, compute
from tooling.errors import ToolingError


class Command(BaseCommand):
    help = "Compute NAME from JSON on standard input; --schema prints what it takes and gives."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", choices=sorted(COMPUTATIONS), metavar="NAME")
        parser.add_argument("--schema", action="store_true", help="print the schemas and stop")

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["name"]
        if options["schema"]:
            self._print(COMPUTATIONS[name].schemas())
            return
        try:
            answer = compute(name, read_json(sys.stdin.buffer.read()))
        except ToolingError as error:
            self._print(told(error))
            sys.exit(1)
        self._print(answer)

    def _print(self, content: dict[str, Any]) -> None:
        self.stdout.write(json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False))


def read_json(content: bytes) -> Any:
    """JSON in UTF-8. Raises ToolingError ``not_json``, also for NaN, infinity and half characters.

    (Half a surrogate pair can be written in JSON but not in UTF-8.)
    """
    try:
        given = json.loads(content.decode("utf-8"), parse_constant=_refuse_constant)
        json.dumps(given, ensure_ascii=False).encode("utf-8")
        return given
    except (ValueError, RecursionError) as error:
        raise ToolingError(
            "not_json", _("Standard input is not JSON: {reason}."), reason=str(error)
        ) from error


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON number")


def told(error: ToolingError) -> dict[str, Any]:
    """The error as every door tells it."""
    detail = {name: _plain(value) for name, value in error.values.items()}
    return {"code": error.code, "message": error.message, "detail": detail}


def _plain(value: Any) -> Any:
    return value if isinstance(value, (int, float, str, bool, type(None))) else str(value)
