"""Middle fills: what the drawings call for between two rolls of a shaft, with its window."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError, Unknown
from tooling.models import Person, SetFill, SetPass
from tooling.permissions import Verb, check_can
from tooling.services.edits import apply_edit, record_creation, record_removal, require_fields
from tooling.services.sets import MOST_ORDER
from tooling.services.touched import touch_kits_for
from tooling.services.write import writing

ON_SHAFTS = ("top", "bottom")


def save_fill(
    *, by: Person, at: datetime, set_pass: SetPass, shaft: str, after_order: int, **fields: Any
) -> SetFill:
    """Add the fill that stands after a position, or change it. Lengths in nm.

    Raises ``unknown_shaft``, ``absurd_count``, ``not_positive``, ``negative_length``,
    ``window_beyond_fill``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(SetFill, fields)
    check_spot(shaft, after_order)
    key = fill_key(set_pass, shaft, after_order)
    with writing():
        here = {"set_pass": set_pass, "shaft": shaft, "after_order": after_order}
        row = SetFill.objects.filter(**here).first()
        old = {name: getattr(row, name) for name in SIZES} if row else {}
        check_sizes({**old, **fields})
        if row is None:
            row = SetFill.objects.create(**here, **fields)
            record_creation(by=by, at=at, row=row, key=key, fields=fields)
        else:
            apply_edit(by=by, at=at, row=row, key=key, fields=fields)
        touch_kits_for(tool_set=set_pass.tool_set_id)
    return row


def remove_fill(
    *, by: Person, at: datetime, set_pass: SetPass, shaft: str, after_order: int
) -> None:
    """The rolls stand against each other again. Raises Unknown ``unknown_fill``."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        found = SetFill.objects.filter(set_pass=set_pass, shaft=shaft, after_order=after_order)
        row = found.first()
        if row is None:
            raise Unknown(
                "unknown_fill",
                _("Pass {number} has no fill after position {order} on the {shaft} shaft."),
                number=set_pass.number,
                order=after_order,
                shaft=shaft,
            )
        fields = {name: getattr(row, name) for name in SIZES}
        key = fill_key(set_pass, shaft, after_order)
        record_removal(by=by, at=at, row=row, key=key, fields=fields)
        row.delete()
        touch_kits_for(tool_set=set_pass.tool_set_id)


SIZES = ("length_nm", "below_nm", "above_nm", "outside_most_nm")


def check_spot(shaft: str, after_order: int) -> None:
    """Raise ``unknown_shaft``, ``absurd_count``."""
    if shaft not in ON_SHAFTS:
        raise ToolingError(
            "unknown_shaft",
            _("“{shaft}” is no shaft. A fill stands on the top or the bottom shaft."),
            shaft=shaft,
            in_field="shaft",
        )
    if not 1 <= after_order <= MOST_ORDER:
        raise ToolingError(
            "absurd_count",
            _("A fill after position {order} cannot be; count from the shoulder, 1 to {most}."),
            order=after_order,
            most=MOST_ORDER,
            in_field="after_order",
        )


def check_sizes(values: Mapping[str, Any]) -> None:
    """Raise ``not_positive``, ``negative_length``, ``window_beyond_fill``."""
    length = values.get("length_nm") or 0
    outside = values.get("outside_most_nm")
    for field, size in (("length_nm", length), ("outside_most_nm", outside)):
        if size is not None and size <= 0:
            raise ToolingError(
                "not_positive",
                _("{dimension} must be above nothing."),
                dimension=_("Length") if field == "length_nm" else _("Outside diameter"),
                in_field=field,
            )
    for field in ("below_nm", "above_nm"):
        if (values.get(field) or 0) < 0:
            raise ToolingError("negative_length", _("A window is never negative."), in_field=field)
    if (values.get("below_nm") or 0) >= length:
        raise ToolingError(
            "window_beyond_fill",
            _("The fill may not be shorter by its whole length. Check both numbers."),
            in_field="below_nm",
        )


def fill_key(set_pass: SetPass, shaft: str, after_order: int) -> str:
    """By which its changes are filed."""
    return f"{set_pass.tool_set.number} {set_pass.number} {shaft} after {after_order}"[:60]
