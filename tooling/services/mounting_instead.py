"""Another piece goes on than the kit has: chosen with a reason, brought here, then mounted."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Person, Piece, Setup, ShaftMount, StockLine
from tooling.permissions import Verb, check_can
from tooling.services import stock
from tooling.services.edits import require_text
from tooling.services.kit_choices import choose
from tooling.services.mounting import check_free, hold_shaft, mount
from tooling.services.movements import move_pieces
from tooling.services.write import bump, writing


def substitute(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    station: int,
    shaft: str,
    order: int,
    piece: Piece | None = None,
    line: StockLine | None = None,
    reason: str,
) -> None:
    """Another piece, or one of another bin, goes on instead: it is chosen for the kit, with the
    reason, and is here from now on.

    Raises NotAllowed, ``empty_text``, ``setup_struck``, ``kit_closed``, ``no_such_shaft``,
    ``mounted_already``, ``unknown_position``, and what choosing and staging it raise.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    said = require_text(reason, field="reason", label=_("Reason"), longest=300)
    with writing():
        where = hold_shaft(
            setup,
            station,
            shaft,
            pieces=[piece.pk] if piece else (),
            stock=[line.pk] if line else (),
        )
        check_free(where)
        row = next((each.row for each in where.stack if each.row.order == order), None)
        if row is None:
            raise Unknown(
                "unknown_position",
                _("Nothing goes on {where} at {order}."),
                where=where.said,
                order=order,
            )
        kit = where.setup.kit
        choose(by=by, at=at, kit=kit, position=row, piece=piece, line=line, reason=said)
        to = kit.place or where.spot
        if piece is not None:
            move_pieces(by=by, at=at, pieces=[piece], to=to, kit_id=kit.pk)
        elif line is not None and line.place_id != to.pk:
            stock.move(by=by, at=at, line=line, quantity=1, to=to, kit=kit)
        bump([kit.pk])


@dataclass(frozen=True)
class Substitute:
    """What goes on instead of what the kit has at an order of a shaft: a piece, or one of a bin."""

    order: int
    reason: str
    piece: Piece | None = None
    line: StockLine | None = None


def mount_instead(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    station: int,
    shaft: str,
    substitutes: Sequence[Substitute],
    codes: Sequence[str] = (),
    left_out: Mapping[int, str] | None = None,
    id: uuid.UUID | None = None,
) -> ShaftMount:
    """Choose what goes on instead and mount the shaft, both or neither.

    Raises as `substitute` and `mount`.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    where: dict[str, Any] = {"by": by, "at": at, "setup": setup, "station": station, "shaft": shaft}
    with writing():
        repeated = ShaftMount.objects.filter(uuid=id).exists() if id is not None else False
        for each in substitutes if not repeated else ():
            substitute(
                order=each.order, piece=each.piece, line=each.line, reason=each.reason, **where
            )
        return mount(codes=codes, left_out=left_out, id=id, **where)
