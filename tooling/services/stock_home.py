"""Counts go home: what lies on a cart goes back to the bins that it was taken from, by count."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import How, Movement, Person, Place, StockLine
from tooling.permissions import Verb, check_can
from tooling.queries.stock_homes import homes_of_counts
from tooling.services import stock
from tooling.services.write import writing


def put_counts_back(
    *, by: Person, at: datetime, source: Place, act: uuid.UUID | None = None
) -> list[Movement]:
    """Everything counted that lies in a place, or on the cart, goes back to its bins. The rows
    share the act's id, so that one undo brings all of it back; sent again it counts once.

    What has no bin stays. Raises NotAllowed, ``nothing_to_put_back``.
    """
    check_can(by, Verb.MOVE_PIECES)
    key = act or uuid.uuid4()
    with writing():
        if act is not None and Movement.objects.filter(uuid=key).exists():
            return []
        fresh = Place.objects.get(pk=source.pk)
        rows = put_lines_back(by=by, at=at, lines=_lying(fresh), act=key)
        if not rows:
            raise Conflict(
                "nothing_to_put_back",
                _("Nothing counted lies in {place} that a bin is known for. Scan a bin, or make "
                  "one, and put it there."),
                place=fresh.path_name or fresh.name,
            )  # fmt: skip
    return rows


def _lying(place: Place) -> list[StockLine]:
    lines = StockLine.objects.filter(place__path__startswith=place.path, count__gt=0)
    return list(lines.select_related("drawing", "place", "owner").order_by("code"))


def put_lines_back(
    *, by: Person, at: datetime, lines: Sequence[StockLine], act: uuid.UUID, note: str = ""
) -> list[Movement]:
    """So many of each line as it counts go back to their bins; the caller has checked that the
    person may, and is within its write. What has no bin stays."""
    homes = homes_of_counts(lines)
    rows: list[Movement] = []
    for line in lines:
        for back in homes.get(line.pk, ()):
            if back.place is None or back.place.pk == line.place_id:
                continue
            number = len(rows)
            rows.append(
                stock.move(
                    by=by,
                    at=at,
                    line=line,
                    quantity=back.count,
                    to=back.place,
                    how=How.TICK,
                    id=act if number == 0 else uuid.uuid5(act, str(number)),
                    scan=act,
                    note=note,
                )
            )
    return rows
