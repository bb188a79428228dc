"""Owners of tooling: the shop itself and its customers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Owner, Person, Piece
from tooling.permissions import Verb, check_can
from tooling.services.approvals import touch_kits_of_owner
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing


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
        if apply_edit(by=by, at=at, row=fresh, key=fresh.code, fields=fields):
            touch_kits_of_owner(fresh)
    return fresh


def change_owner(
    *, by: Person, at: datetime, pieces: Sequence[Piece], owner: Owner, reason: str
) -> int:
    """Give pieces to another owner, all or none, each with its own row of history; how many
    changed hands. What the owner before allowed counts no more.

    Raises ``empty_text`` without a reason, ``long_text``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    reason = require_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        lock(pieces=[piece.pk for piece in pieces])
        rows = Piece.objects.filter(pk__in=[piece.pk for piece in pieces]).exclude(owner=owner)
        changed = list(rows.select_related("owner").order_by("code"))
        for piece in changed:
            apply_edit(by=by, at=at, row=piece, key=piece.code, fields={"owner": owner},
                       what="owner changed", reason=reason)  # fmt: skip
        touch_kits_of(pieces=[piece.pk for piece in changed])
    return len(changed)


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
