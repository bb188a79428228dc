"""``demo``: the service with the demo shop, from nothing to READY; harmless when repeated."""

from __future__ import annotations

import json
import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone
from rest_framework.authtoken.models import Token

from tooling.management import demo_shop
from tooling.management.serving import add_https_options, serve, wants_https
from tooling.models import Person, Piece, Role, Shop
from tooling.services import people

NAMES = {
    Role.VIEWER: "Vera Lindqvist",
    Role.ATTENDANT: "Tomas Adeyemi",
    Role.CREW: "Crewe Okafor",
    Role.ENGINEER: "Ines Harrow",
    Role.SUPERVISOR: "Sam Petrov",
}
"""Invented."""


class Command(BaseCommand):
    help = "Serve the demo shop (or with --empty only its people). Prints READY when it answers."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--data-dir", help="where database, files and logins.json lie")
        parser.add_argument("--empty", action="store_true", help="only the people, no shop")
        parser.add_argument("--prepare-only", action="store_true", help="fill, but do not serve")
        add_https_options(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        https = wants_https(options["https"])
        call_command("migrate", verbosity=0, interactive=False)
        cast = self._people()
        if not options["empty"] and not Piece.objects.exists():
            self.stdout.write("drawing up the demo shop …")
            demo_shop.fill(cast, at=timezone.now())
        if options["prepare_only"]:
            return
        serve(
            host=options["host"], port=options["port"], https=https,
            plain_port=options["plain_port"], on_ready=self._ready,
        )  # fmt: skip

    def _ready(self, address: str) -> None:
        self.stdout.write(f"people and passwords: {self._logins_file()}")
        self.stdout.write(f"READY {address}")
        self.stdout.flush()

    def _logins_file(self) -> Path:
        return Path(settings.DATA_DIR) / "logins.json"

    def _people(self) -> dict[str, Person]:
        """One person for each role; made, with ``logins.json``, on first use."""
        if not Shop.objects.exists():
            Shop.objects.create(pk=1, name="My shop")
        file = self._logins_file()
        known = json.loads(file.read_text()) if file.exists() else {}
        first = self._first_supervisor()
        cast: dict[str, Person] = {}
        for role in Role:
            person = Person.objects.filter(username=role.value).first()
            password = known.get(role.value, {}).get("password")
            if person is None or not password:
                password = secrets.token_urlsafe(9)
                person = self._give(first, person, role, password)
            token, _made = Token.objects.get_or_create(user=person)
            known[role.value] = {"user": role.value, "password": password, "token": token.key}
            cast[role.value] = person
        file.touch(mode=0o600)
        file.write_text(json.dumps(known, indent=2))
        return cast

    def _first_supervisor(self) -> Person:
        """Somebody in whose name the others are made."""
        person = Person.objects.filter(username=Role.SUPERVISOR.value).first()
        if person is None:
            person = Person.objects.create_user(
                Role.SUPERVISOR.value, secrets.token_urlsafe(24), name=NAMES[Role.SUPERVISOR]
            )
            person.roles.create(role=Role.SUPERVISOR)
        return person

    def _give(self, by: Person, person: Person | None, role: Role, password: str) -> Person:
        at = timezone.now()
        if person is None:
            return people.create_person(
                by=by, at=at, username=role.value, name=NAMES[role], password=password,
                roles=[role.value],
            )  # fmt: skip
        people.set_password(by=by, at=at, person=person, password=password)
        return person
