"""Changing a default: for the shop, for one mill or for one set; and going back to it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError, Unknown
from tooling.models import Mill, Person, Setting, Shop, ToolSet
from tooling.models.defaults import SETTINGS, Declared, SettingKind
from tooling.permissions import Verb, check_can
from tooling.services.edits import apply_edit, require_fields, require_text
from tooling.services.write import record_change, writing


def set_setting(
    *,
    by: Person,
    at: datetime,
    name: str,
    value: float | Sequence[int],
    mill: Mill | None = None,
    tool_set: ToolSet | None = None,
) -> Setting:
    """Give a setting its own value (lengths in nm; of several lengths each once, in order).

    Raises ``unknown_setting``, ``setting_out_of_range``, ``setting_not_here``.
    """
    check_can(by, Verb.RUN_SHOP)
    declared = _declared(name)
    _check_scope(declared, mill, tool_set)
    if declared.kind == SettingKind.LENGTHS:
        value = sorted({int(each) for each in _several(value)})
    for each in _several(value):
        _check_range(declared, each)
    with writing():
        row = Setting.objects.filter(name=name, mill=mill, tool_set=tool_set).first()
        before = row.value if row else None
        if row is None:
            row = Setting.objects.create(name=name, value=value, mill=mill, tool_set=tool_set)
        elif before != value:
            row.value = value
            row.save(update_fields=["value"])
        if before != value:
            record_change(
                by=by,
                at=at,
                subject=row,
                key=name,
                what="set",
                before={} if before is None else {"value": before},
                after={"value": value, "scope": str(mill or tool_set or "")},
            )
    return row


def reset_setting(
    *,
    by: Person,
    at: datetime,
    name: str,
    mill: Mill | None = None,
    tool_set: ToolSet | None = None,
) -> None:
    """Back to the default (or, for a mill or set, to the shop's value)."""
    check_can(by, Verb.RUN_SHOP)
    _declared(name)
    with writing():
        row = Setting.objects.filter(name=name, mill=mill, tool_set=tool_set).first()
        if row is not None:
            record_change(
                by=by,
                at=at,
                subject=row,
                key=name,
                what="back to the default",
                before={"value": row.value, "scope": str(mill or tool_set or "")},
            )
            row.delete()


def edit_shop(*, by: Person, at: datetime, **fields: str) -> Shop:
    """The shop's name, time zone, units and currency. Raises ``not_a_currency``."""
    check_can(by, Verb.RUN_SHOP)
    require_fields(Shop, fields)
    if "name" in fields:
        fields["name"] = require_text(fields["name"], field="name", label=_("Name"), longest=120)
    if "currency" in fields:
        fields["currency"] = _currency(fields["currency"])
    with writing():
        shop, _made = Shop.objects.get_or_create(pk=1, defaults={"name": fields.get("name", "")})
        apply_edit(by=by, at=at, row=shop, key="shop", fields=fields)
    return shop


def _currency(text: str) -> str:
    """Three capital letters, as ISO 4217 has them, or nothing."""
    currency = text.strip().upper()
    if currency and not (len(currency) == 3 and currency.isascii() and currency.isalpha()):
        raise ToolingError(
            "not_a_currency",
            _("“{text}” is no currency. Write its three letters, such as USD."),
            text=text.strip()[:20],
            in_field="currency",
        )
    return currency


def _declared(name: str) -> Declared:
    if name not in SETTINGS:
        raise Unknown("unknown_setting", _("There is no setting “{name}”."), name=name)
    return SETTINGS[name]


def _several(value: float | Sequence[int]) -> Sequence[float]:
    return [value] if isinstance(value, int | float) else value


def _check_scope(declared: Declared, mill: Mill | None, tool_set: ToolSet | None) -> None:
    if (mill and (tool_set or not declared.per_mill)) or (tool_set and not declared.per_set):
        raise ToolingError(
            "setting_not_here",
            _("“{label}” holds for the whole shop; {scope} cannot have a value of its own."),
            label=declared.label,
            scope=mill or tool_set,
        )


def _check_range(declared: Declared, value: float) -> None:
    whole = declared.kind == SettingKind.NUMBER or value == int(value)
    if not whole or not declared.least <= value <= declared.most:
        raise ToolingError(
            "setting_out_of_range",
            _("“{label}”: {value} is not possible. It goes from {least} to {most}."),
            label=declared.label,
            value=value,
            least=_shown(declared, declared.least),
            most=_shown(declared, declared.most),
            in_field="value",
        )


def _shown(declared: Declared, value: float) -> str:
    if declared.kind in (SettingKind.LENGTH, SettingKind.LENGTHS):
        return f"{value / 1_000_000:g} mm"
    return f"{value:g} {declared.unit}".strip()
