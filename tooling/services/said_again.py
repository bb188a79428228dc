"""The same act sent twice counts once; another act under the same id is refused."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models.setups import Said

Row = TypeVar("Row", bound=Said)


def said_again(model: type[Row], id: uuid.UUID | None, **same: Any) -> Row | None:
    """The row that was written with this id; None where there is none. One query at most.

    ``same``: what a repeat says again, by field. Raises Conflict ``id_reused`` where the row says
    something else: the first stands.
    """
    row = model._default_manager.filter(uuid=id).first() if id is not None else None
    if row is not None:
        check_same(all(getattr(row, name) == value for name, value in same.items()))
    return row


def key_of(id: uuid.UUID | None, n: int) -> uuid.UUID:
    """The id of the n-th row of an act that writes several."""
    return uuid.uuid4() if id is None else uuid.uuid5(id, str(n))


def all_said_again(
    model: type[Row], id: uuid.UUID | None, sames: Sequence[Mapping[str, Any]]
) -> list[Row]:
    """The same of an act that writes several rows, whose ids ``key_of`` gives: all of them, or none
    where nothing was said with this id yet. One query at most. Raises ``id_reused``."""
    if id is None:
        return []
    keys = [key_of(id, n) for n in range(len(sames) + 1)]
    found = {row.uuid: row for row in model._default_manager.filter(uuid__in=keys)}
    if not found:
        return []
    check_same(set(found) == set(keys[:-1]))
    rows = [found[key] for key in keys[:-1]]
    for row, same in zip(rows, sames, strict=True):
        check_same(all(getattr(row, name) == value for name, value in same.items()))
    return rows


def check_same(is_same: bool) -> None:
    """Raises Conflict ``id_reused`` unless what was sent again says the same."""
    if not is_same:
        raise Conflict(
            "id_reused",
            _("This was sent before with another meaning. What was said first stands; load the "
              "page again and say it once more."),
        )  # fmt: skip
