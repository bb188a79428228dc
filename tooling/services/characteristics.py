"""Characteristics of a set's section: what is checked on the first piece, with its limits."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import ProtectedError
from django.utils.translation import gettext_lazy as _

from tooling.engineering.measures import check_number, is_length
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Characteristic, Person, ToolSet
from tooling.permissions import Verb, check_can
from tooling.services.edits import (
    apply_edit,
    record_creation,
    record_removal,
    require_fields,
    require_text,
)
from tooling.services.write import writing

MOST_ORDER = 99
VALUES = ("nominal", "least", "most")


def save_characteristic(
    *,
    by: Person,
    at: datetime,
    tool_set: ToolSet,
    name: str,
    unit: str,
    order: int | None = None,
    **values: Any,
) -> Characteristic:
    """Add a characteristic after the last one, or change the one of that name.

    In mm or in the values are ``nominal_nm least_nm most_nm``, in any other unit ``nominal least
    most``. Raises ``empty_text``, ``long_text``, ``absurd_count``, ``wrong_unit``,
    ``window_turned_round``, ``improbable_value``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(Characteristic, values)
    name = require_text(name, field="name", label=_("Characteristic"), longest=80)
    unit = require_text(unit, field="unit", label=_("Unit"), longest=12)
    check_values(unit, values)
    fields = {**dict.fromkeys((*VALUES, *(f"{each}_nm" for each in VALUES))), **values}
    with writing():
        last = tool_set.characteristics.order_by("-order").first()
        row = tool_set.characteristics.filter(name__iexact=name).first()
        if order is None:
            order = row.order if row else (last.order + 1 if last else 1)
        check_order(order)
        fields |= {"unit": unit, "order": order}
        key = characteristic_key(tool_set, name)
        if row is None:
            row = Characteristic.objects.create(tool_set=tool_set, name=name, **fields)
            record_creation(by=by, at=at, row=row, key=key, fields=fields)
        else:
            apply_edit(by=by, at=at, row=row, key=key, fields=fields)
    return row


def remove_characteristic(*, by: Person, at: datetime, tool_set: ToolSet, name: str) -> None:
    """It is not checked any more. Raises ``unknown_characteristic``, ``has_been_checked``."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        row = tool_set.characteristics.filter(name__iexact=name).first()
        if row is None:
            raise Unknown(
                "unknown_characteristic",
                _("{set} has no characteristic “{name}”."),
                set=tool_set.number,
                name=name[:80],
            )
        fields = {"unit": row.unit, "nominal_nm": row.nominal_nm, "nominal": row.nominal}
        key = characteristic_key(tool_set, row.name)
        record_removal(by=by, at=at, row=row, key=key, fields=fields)
        try:
            row.delete()
        except ProtectedError:
            raise Conflict(
                "has_been_checked",
                _("“{name}” was checked on parts, so it stays. Change its limits."),
                name=row.name,
            )


def check_order(order: int) -> None:
    """Raise ``absurd_count``."""
    if not 1 <= order <= MOST_ORDER:
        raise ToolingError(
            "absurd_count",
            _("A section lists 1 to {most}; {order} cannot be."),
            most=MOST_ORDER,
            order=order,
            in_field="order",
        )


def check_values(unit: str, values: Mapping[str, Any]) -> None:
    """Raise ``wrong_unit``, ``window_turned_round``, ``improbable_value``."""
    suffix, other = ("_nm", "") if is_length(unit) else ("", "_nm")
    for each in VALUES:
        if values.get(each + other) is not None:
            raise wrong_unit(unit, each)
        if not suffix and values.get(each) is not None:
            check_number(values[each], field=each)
    least, most = values.get(f"least{suffix}"), values.get(f"most{suffix}")
    if least is not None and most is not None and least > most:
        raise ToolingError(
            "window_turned_round",
            _("The least is larger than the most. Exchange the two."),
            in_field="least",
        )


def wrong_unit(unit: str, field: str) -> ToolingError:
    """A length was given in a unit that is none, or the other way round."""
    return ToolingError(
        "wrong_unit",
        _("The value does not go with its unit “{unit}”. Lengths are in mm or in."),
        unit=unit,
        in_field=field,
    )


def characteristic_key(tool_set: ToolSet, name: str) -> str:
    """By which its changes are filed."""
    return f"{tool_set.number} {name}"[:60]
