"""Changing a current record: compare, save what differs, leave one Change row.

Every service of records goes through these two, so an edit without its history row cannot be
written by forgetting it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import DrawingRevision, Person
from tooling.services.write import record_change


def plain(value: Any) -> Any:
    """A field's value as JSON can hold it; a related row by its code, number or key."""
    if isinstance(value, DrawingRevision):
        return value.revision
    if isinstance(value, Model):
        for name in ("code", "number", "username"):
            if getattr(value, name, None):
                return getattr(value, name)
        return value.pk
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


def apply_edit(
    *,
    by: Person | None,
    at: datetime,
    row: Model,
    key: str,
    fields: Mapping[str, Any],
    what: str = "edited",
    reason: str = "",
) -> bool:
    """Set the fields that differ and record them. False when nothing differs."""
    changed = {name: value for name, value in fields.items() if getattr(row, name) != value}
    if not changed:
        return False
    before = {name: plain(getattr(row, name)) for name in changed}
    for name, value in changed.items():
        setattr(row, name, value)
    row.save(update_fields=list(changed))
    record_change(
        by=by,
        at=at,
        subject=row,
        key=key,
        what=what,
        before=before,
        after={name: plain(value) for name, value in changed.items()},
        reason=reason,
    )
    return True


def record_creation(
    *, by: Person | None, at: datetime, row: Model, key: str, fields: Mapping[str, Any]
) -> None:
    """The history row of a new record: what it was made with."""
    after = {name: plain(value) for name, value in fields.items() if value not in (None, "")}
    record_change(by=by, at=at, subject=row, key=key, what="created", after=after)


def record_removal(
    *, by: Person | None, at: datetime, row: Model, key: str, fields: Mapping[str, Any]
) -> None:
    """The history row of a record taken away: what it was."""
    before = {name: plain(value) for name, value in fields.items() if value not in (None, "")}
    record_change(by=by, at=at, subject=row, key=key, what="removed", before=before)


def require_text(text: str, *, field: str, label: Any, longest: int) -> str:
    """The text without outer blanks. Raises ToolingError ``empty_text`` or ``long_text``."""
    trimmed = optional_text(text, field=field, label=label, longest=longest)
    if not trimmed:
        raise ToolingError(
            "empty_text", _("{label} is empty. Fill it in."), label=label, in_field=field
        )
    return trimmed


def optional_text(text: str, *, field: str, label: Any, longest: int) -> str:
    """The same of a text that may be empty. Raises ToolingError ``long_text``."""
    trimmed = " ".join(text.split())
    if len(trimmed) > longest:
        raise ToolingError(
            "long_text",
            _("{label} has {length} characters; {longest} fit. Shorten it."),
            label=label,
            length=len(trimmed),
            longest=longest,
            in_field=field,
        )
    return trimmed


def require_fields(model: type[Model], fields: Mapping[str, Any]) -> None:
    """A programmer's slip, not a person's: a service was given a name its model has not."""
    known = {field.name for field in model._meta.get_fields()}
    unknown = set(fields) - known
    if unknown:
        raise TypeError(f"{model.__name__} has no {', '.join(sorted(unknown))}")


def already_there(*, label: Any, text: str, field: str) -> ToolingError:
    """Two records may not share this name or number."""
    return ToolingError(
        "already_there",
        _("{label} “{text}” is taken already. Choose another, or edit the one that has it."),
        label=label,
        text=text,
        in_field=field,
    )
