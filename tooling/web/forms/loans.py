"""Forms of what is out: another day, and what is about to be handed out."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.utils.dateparse import parse_date
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.web.forms.fields import RecordForm, day, place_input


class DueForm(RecordForm):
    """Another day for some loans. Hidden until asked for it is not: the reason is always there."""

    HIDDEN = ()

    due_on = day(label=_("Due back"), required=False, help_text=_("Empty: no day."))
    reason = forms.CharField(label=_("Reason"), required=False, max_length=200)


class HomeForm(RecordForm):
    home = place_input(
        label=_("It belongs in"),
        required=False,
        help_text=_("A place's name, such as Rack A / Shelf 3, or its label code. Empty: nobody "
                    "says."),
    )  # fmt: skip


def uuids(texts: list[str]) -> list[UUID]:
    """The ids among these texts; nonsense is none."""
    found = []
    for text in texts:
        try:
            found.append(UUID(text))
        except ValueError:
            continue
    return found


def whole(text: Any) -> int | None:
    """A count as it was typed; None for what is none."""
    said = str(text or "").strip()
    return int(said) if said.isascii() and said.isdigit() and len(said) < 10 else None


def a_day(text: str) -> date | None:
    """A day as it was typed, None for nothing. Raises ToolingError ``not_a_day``."""
    said = text.strip()
    if not said:
        return None
    try:
        found = parse_date(said)
    except ValueError:
        found = None
    if found is None:
        raise ToolingError(
            "not_a_day",
            _("“{text}” is no day. Write it as year-month-day, such as 2026-12-03."),
            text=said[:40],
            in_field="due_on",
        )
    return found
