"""``https``: the shop's own certificate authority and this server's certificate."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.queries.certificates import Kept, certificates_kept, handed_out_file
from tooling.services import certificates


class Command(BaseCommand):
    help = (
        "Make, or renew, the certificate with which this server speaks HTTPS, signed by the "
        "shop's own authority. The server uses it from its next start."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", action="append", default=[], metavar="NAME",
                            help="a host name or address people use, such as tools.lan; "
                                 "may be given several times")  # fmt: skip
        parser.add_argument("--new-authority", action="store_true",
                            help="a new authority; every phone has to be given it")  # fmt: skip
        parser.add_argument("--show", action="store_true", help="make nothing, say what there is")
        parser.add_argument("--json", action="store_true")
        parser.add_argument("--data-dir", help="where database, files and certificates lie")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0, or 1 for a name that cannot be and for ``--show`` with nothing made."""
        try:
            kept = certificates_kept() if options["show"] else self._made(options)
        except ToolingError as error:
            raise CommandError(error.message) from error
        if kept is None:
            raise CommandError("no certificate is made yet; run: python3 manage.py https")
        self.stdout.write(json.dumps(_as_dict(kept)) if options["json"] else _said(kept))

    def _made(self, options: dict[str, Any]) -> Kept:
        return certificates.make(
            at=timezone.now(), names=options["name"], new_authority=options["new_authority"]
        )


def _as_dict(kept: Kept) -> dict[str, Any]:
    return {
        "names": kept.names,
        "until": kept.until.isoformat(),
        "authority": kept.authority_name,
        "authority_until": kept.authority_until.isoformat(),
        "fingerprint": kept.fingerprint,
        "authority_file": str(handed_out_file()),
    }


def _said(kept: Kept) -> str:
    return (
        f"server certificate until {kept.until:%Y-%m-%d}, renewed by itself while the server runs\n"
        f"  for {', '.join(kept.names)}\n"
        f"authority “{kept.authority_name}” until {kept.authority_until:%Y-%m-%d}\n"
        f"  SHA-256 {kept.fingerprint}\n"
        f"  to hand out: {handed_out_file()}\n"
        "Start the server; on each phone open /shop/https/ and follow the steps."
    )
