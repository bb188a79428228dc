"""By hand at a bin: take some to a kit, a person, a cart or a mill; put some back."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import How, Movement, Person, Place, StockLine
from tooling.permissions import Verb, check_can
from tooling.queries.scan_lookup import look_up
from tooling.services import stock, stock_staging
from tooling.services.movements import check_place_is_used


def take(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    to: str,
    quantity: int | None = None,
    id: uuid.UUID | None = None,
) -> Movement:
    """Take some of a bin. ``to``: a label code (kit, cart, station …) or the name of a place or
    person. Without a number as many as the kit that is meant still lacks.

    Raises NotAllowed, ``no_place``, ``absurd_quantity``, and as ``Lookup.target`` and
    ``stock.move``.
    """
    check_can(by, Verb.MOVE_PIECES)
    if not to.strip():
        raise ToolingError(
            "no_place",
            _("Say where they go: a kit, a cart, a person, a mill. Scan its label or write its "
              "name."),
            in_field="to",
        )  # fmt: skip
    target = look_up([], [to]).target(to)
    check_place_is_used(target.place)
    if quantity is None:
        kit = stock_staging.kit_into(to=target.place, kit=target.kit)
        quantity = stock_staging.to_take(kit=kit, line=line) if kit is not None else 1
    return stock.move(by=by, at=at, line=line, quantity=quantity, to=target.place, how=How.TICK,
                      id=id, scan=id, kit=target.kit)  # fmt: skip


def put_back(
    *,
    by: Person,
    at: datetime,
    line: StockLine,
    source: StockLine,
    quantity: int | None = None,
    id: uuid.UUID | None = None,
) -> Movement:
    """Put some of what lies elsewhere back into this bin; without a number all of it.

    Raises NotAllowed, ``other_stock``, ``stock_short``, ``absurd_quantity``.
    """
    check_can(by, Verb.MOVE_PIECES)
    _check_same(line, source)
    place = Place.objects.get(pk=line.place_id)
    return stock.move(by=by, at=at, line=source, quantity=quantity or max(source.count, 1),
                      to=place, how=How.TICK, id=id, scan=id)  # fmt: skip


def _check_same(line: StockLine, source: StockLine) -> None:
    same = ("drawing_id", "condition", "owner_id")
    if any(getattr(line, name) != getattr(source, name) for name in same):
        raise Conflict(
            "other_stock",
            _("What lies in {source} is not the same as in bin {label}: another drawing, "
              "condition or owner. Put it into a bin of its own."),
            source=source.code,
            label=line.code,
        )  # fmt: skip
