"""``serve``: the web server with its worker, as in production."""

from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser

from tooling.management.serving import add_https_options, serve, wants_https


class Command(BaseCommand):
    help = "Run the web server and, unless told not to, its worker."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-worker", action="store_true")
        parser.add_argument("--processes", type=int, default=2, help="on PostgreSQL; SQLite has 1")
        add_https_options(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        https = wants_https(options["https"])
        call_command("migrate", verbosity=0, interactive=False)
        serve(
            host=options["host"],
            port=options["port"],
            with_worker=not options["no_worker"],
            web_processes=options["processes"],
            https=https,
            plain_port=options["plain_port"],
            on_ready=self._ready,
        )

    def _ready(self, address: str) -> None:
        self.stdout.write(f"READY {address}")
        self.stdout.flush()
