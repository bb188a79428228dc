"""Values of a plan as a person reads them in the preview."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.engineering.lengths import say_length
from tooling.spreadsheets.fields import Field, Kind
from tooling.spreadsheets.telling import tell

IN_OTHER_WORDS = {
    "weighed_g": "mass", "value_cents": "value", "new_cost_cents": "new_cost",
    "copy_letter": "copy", "hardness_hrc": "hardness",
    "mass_g": "mass", "home": "place", "from_paper_count": "rolls",
    "max_load_kg": "max_load", "max_speed_m_min": "max_speed", "hand": "set_hand",
    "starts_at": "date", "gathers_at": "gather_date", "due_at": "due_date", "tool_set": "set",
    "parent": "inside", "tilt_degrees": "tilt",
}  # fmt: skip
"""Columns of records that a sheet calls by another name."""


def told_changes(
    changes: Mapping[str, tuple[Any, Any]], kind: Kind, unit: str | None
) -> dict[str, list[str | None]]:
    """Field label → [before, after], both as a person writes them."""
    told: dict[str, list[str | None]] = {}
    for name, (before, after) in changes.items():
        field = kind.by_name.get(_field_name(name, kind))
        label = field.label if field else name.removesuffix("_nm").replace("_", " ")
        told[label] = [_told(name, value, field, unit) for value in (before, after)]
    return told


def _field_name(name: str, kind: Kind) -> str:
    bare = name.removesuffix("_nm")
    return bare if bare in kind.by_name else IN_OTHER_WORDS.get(name, bare)


def _told(name: str, value: Any, field: Field | None, unit: str | None) -> str | None:
    if value is None or value == "":
        return None
    if name.endswith("_g"):
        return f"{value / 1000:g} kg"
    if name.endswith("_cents"):
        return f"{value / 100:.2f}"
    if field is not None and field.units and isinstance(value, int):
        return tell(field, value, unit)
    if name.endswith("_nm") and isinstance(value, int):
        return say_length(value, "in" if unit == "in" else "mm")
    return _plainly(value)


def _plainly(value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, Model):
        return str(getattr(value, "path_name", "") or value)
    if isinstance(value, datetime):
        return f"{timezone.localtime(value):%Y-%m-%d %H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    return str(value)
