"""``openapi``: the API's schema, as YAML or JSON."""

from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser


class Command(BaseCommand):
    """Prints the schema, or writes it to a file; a warning about it is a failure."""

    help = "Print the API's OpenAPI schema."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="JSON instead of YAML")
        parser.add_argument("--file", help="write it here instead of printing it")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command(
            "spectacular",
            format="openapi-json" if options["json"] else "openapi",
            file=options["file"],
            fail_on_warn=True,
            validate=True,
            stdout=self.stdout,
            stderr=self.stderr,
        )
