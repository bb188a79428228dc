"""``labels CODE… --size SIZE --out FILE``: labels as PDF, or one as PNG."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.management.people import acting_person
from tooling.paper.label_sizes import SIZES
from tooling.paper.labels import label_png
from tooling.queries.labels import read_codes
from tooling.services import labels


class Command(BaseCommand):
    help = "Draw labels and record them as issued. Sizes: " + ", ".join(SIZES)
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("codes", nargs="+", metavar="CODE")
        parser.add_argument("--size", default="a4-24", help="label stock; a4-24 unless told")
        parser.add_argument("--skip", type=int, default=0, help="labels of the sheet already used")
        parser.add_argument("--out", required=True, metavar="FILE", help="….pdf or ….png")
        parser.add_argument("--by", metavar="NAME", help="user name in whose name it is done")

    def handle(self, *args: Any, **options: Any) -> None:
        """Exit 0 drawn and recorded as issued, 1 a stated problem, 2 a wrong call."""
        out, by, at = Path(options["out"]), acting_person(options["by"]), timezone.now()
        if out.suffix.lower() not in (".pdf", ".png"):
            self._end(f"--out {out}: give a name that ends in .pdf or .png", 2)
        try:
            codes = read_codes("\n".join(options["codes"]))
            out.write_bytes(self._drawn(codes, out.suffix.lower(), options))
            labels.issue(by=by, at=at, codes=codes, size=options["size"])
        except ToolingError as error:
            self._end(f"{error.code}: {error.message}", 1)
        except OSError as error:
            self._end(f"--out {out}: {error.strerror}", 1)
        self.stdout.write(f"{len(codes)} {'label' if len(codes) == 1 else 'labels'} in {out}")

    def _drawn(self, codes: list[str], suffix: str, options: dict[str, Any]) -> bytes:
        if suffix == ".pdf":
            return labels.draw(codes=codes, size=options["size"], skip=options["skip"])
        if len(codes) != 1:
            self._end("a PNG holds one label; give one CODE, or --out ….pdf", 2)
        return label_png(labels.texts(codes=codes)[0], size=options["size"])

    def _end(self, message: str, code: int) -> NoReturn:
        self.stderr.write(message)
        sys.exit(code)
