"""Values that were read from cells, written again for a person to compare."""

from __future__ import annotations

from datetime import date, time
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from tooling.engineering.lengths import NM_PER_FT, NM_PER_M, say_length
from tooling.spreadsheets.fields import Field, FieldType


def tell(field: Field, value: Any, unit: str | None = None) -> str:
    """A value as a person says it: lengths in ``unit``, dates with the month as a word."""
    if value is None:
        return ""
    if field.type is FieldType.LENGTH and isinstance(value, int):
        return say_length(value, "in" if unit == "in" else "mm")
    if field.type is FieldType.STRIP_LENGTH and isinstance(value, int):
        per, name = (NM_PER_FT, "ft") if unit == "ft" else (NM_PER_M, "m")
        return f"{value / per:g} {name}"
    if field.type is FieldType.MASS and isinstance(value, int):
        return f"{value / 1000:g} kg"
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, date):
        return date_format(value, "j F Y")
    if isinstance(value, time):
        return value.isoformat("minutes")
    if isinstance(value, tuple):
        return ", ".join(map(str, value))
    if field.type is FieldType.CHOICE:
        return str(value).replace("_", " ")
    return str(value)
