"""Sheets out: one file for each kind that has rows, or one workbook with all of them."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Person
from tooling.permissions import Verb, check_can
from tooling.queries.exports import ROWS
from tooling.spreadsheets.exports import write_csv, write_workbook
from tooling.spreadsheets.kinds import KINDS, find_kind
from tooling.spreadsheets.templates import template_xlsx


def csv_of(*, by: Person, kind: str) -> bytes:
    """The rows of one kind as CSV. Raises Unknown ``unknown_kind``."""
    check_can(by, Verb.EXPORT)
    if kind not in ROWS:
        raise Unknown(
            "unknown_kind",
            _("There is no kind of sheet “{name}”. The kinds are: {kinds}."),
            name=kind,
            kinds=", ".join(ROWS),
        )
    return write_csv(KINDS[kind], ROWS[kind]())


def workbook(*, by: Person) -> bytes:
    """Everything in one workbook, a sheet for each kind."""
    check_can(by, Verb.EXPORT)
    return write_workbook([(KINDS[kind], rows()) for kind, rows in ROWS.items()])


def template(*, kind: str, unit: str) -> bytes:
    """An empty workbook of one kind to fill in. Raises Unknown ``unknown_kind``."""
    return template_xlsx(find_kind(kind), unit=unit)
