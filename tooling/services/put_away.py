"""Putting away what a cart brought back: everything of one stop of the walk with one tap."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import How, Movement, Person, Place, StockLine
from tooling.permissions import Verb, check_can
from tooling.queries.put_away import PutLine, put_away_from
from tooling.services import stock
from tooling.services.carts import move_cart
from tooling.services.movements import Stamp
from tooling.services.together import Act, move_together
from tooling.services.write import writing


def put_stop_away(
    *, by: Person, at: datetime, source: Place, stop: str, act: uuid.UUID | None = None
) -> uuid.UUID:
    """All that belongs at one stop is there now, each thing in its own home; the act's id, by
    which one undo takes all of it back. ``stop``: the place's label code. Sent again with the same
    ``act`` it counts once.

    Raises NotAllowed, ``nothing_for_that_place``, and what moving it may raise.
    """
    check_can(by, Verb.MOVE_PIECES)
    key = act or uuid.uuid4()
    with writing():
        if act is not None and Movement.objects.filter(uuid=key).exists():
            return key
        fresh = Place.objects.get(pk=source.pk)
        lines = next(
            (
                each.lines
                for each in put_away_from(fresh, at=at).stops
                if each.place_code == stop.upper()
            ),
            (),
        )
        if not lines:
            raise Conflict(
                "nothing_for_that_place",
                _("Nothing on {name} belongs there any more. Load the page again."),
                name=fresh.name,
            )
        _put(lines, Act(by=by, at=at, stamp=Stamp.of(at), how=How.TICK, scan=key))
    return key


def _put(lines: Sequence[PutLine], act: Act) -> None:
    homes = Place.objects.in_bulk({line.home_id for line in lines if line.home_id is not None})
    going = {
        line.id: homes[line.home_id] for line in lines if line.kind == "piece" and line.home_id
    }
    number = 0
    if going:
        rows, refused = move_together(act=act, going=going)
        for error in refused.values():
            raise error
        number = len(rows)
    bins = StockLine.objects.in_bulk([line.id for line in lines if line.kind == "bin"])
    carts = Place.objects.in_bulk([line.id for line in lines if line.kind == "cart"])
    for line in lines:
        if line.kind == "piece":
            continue
        to = homes[line.home_id or 0]
        key = act.row_id(number)
        number += 1
        if line.kind == "bin":
            stock.move(by=act.by, at=act.at, line=bins[line.id], quantity=line.quantity, to=to,
                       how=act.how, stamp=act.stamp, id=key, scan=act.scan)  # fmt: skip
        else:
            move_cart(by=act.by, at=act.at, cart=carts[line.id], to=to, how=act.how,
                      stamp=act.stamp, id=key, scan=act.scan)  # fmt: skip
