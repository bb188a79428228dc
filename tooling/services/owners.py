"""Owners of tooling: the shop itself and its customers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Owner, Person
from tooling.permissions import Verb, check_can
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.write import writing


def create_owner(*, by: Person, at: datetime, code: str, name: str, **fields: Any) -> Owner:
    """A new owner. Raises ToolingError ``already_there``, ``one_shop``, ``empty_text``."""
    check_can(by, Verb.RUN_SHOP)
    require_fields(Owner, fields)
    values = {**fields, "code": _code(code), "name": _name(name)}
    with writing():
        _refuse_doubles(values)
        owner = Owner.objects.create(**values)
        record_creation(by=by, at=at, row=owner, key=owner.code, fields=values)
    return owner


def edit_owner(*, by: Person, at: datetime, owner: Owner, **fields: Any) -> Owner:
    """Change name, contact, consent on file … The code stays: sheets and labels name it."""
    check_can(by, Verb.RUN_SHOP)
    require_fields(Owner, fields)
    if "name" in fields:
        fields["name"] = _name(fields["name"])
    with writing():
        fresh = Owner.objects.select_for_update().get(pk=owner.pk)
        if fields.get("is_shop") and not fresh.is_shop:
            _refuse_doubles({"is_shop": True})
        apply_edit(by=by, at=at, row=fresh, key=fresh.code, fields=fields)
    return fresh


def _refuse_doubles(values: dict[str, Any]) -> None:
    if Owner.objects.filter(code=values.get("code")).exists():
        raise already_there(label=_("Owner code"), text=values["code"], field="code")
    shop = Owner.objects.filter(is_shop=True).first()
    if values.get("is_shop") and shop:
        raise ToolingError(
            "one_shop",
            _("{name} is already the shop itself, and only one owner can be."),
            name=shop.name,
            in_field="is_shop",
        )


def _code(code: str) -> str:
    return require_text(code, field="code", label=_("Owner code"), longest=20).upper()


def _name(name: str) -> str:
    return require_text(name, field="name", label=_("Name"), longest=120)
