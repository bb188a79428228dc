"""What a bin really holds, said while a spacer of it was looked for in vain."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Kit, KitPosition, Person, StockLine
from tooling.permissions import Verb, can
from tooling.services import stock


@dataclass(frozen=True)
class Really:
    """So many are really in a bin."""

    line: StockLine
    count: int


def correct_bin(
    *, by: Person, at: datetime, kit: Kit, position: KitPosition, really: Really
) -> None:
    """The bin's count becomes what is there: counted by who may count, else what is missing is
    used up. Nothing where the record has no more than that. Call inside the write.

    Raises Conflict ``other_stock`` for a bin of something else, ``absurd_quantity``.
    """
    line = StockLine.objects.select_related("drawing").get(pk=really.line.pk)
    if position.piece_id is not None or line.drawing_id != position.drawing_id:
        raise Conflict(
            "other_stock",
            _("Bin {label} holds {drawing}, which is not what was looked for."),
            label=line.code,
            drawing=line.drawing.number,
        )
    if really.count < 0:
        raise ToolingError(
            "absurd_quantity",
            _("{quantity} cannot be the number in a bin. Write 0 or more."),
            quantity=really.count,
            in_field="there",
        )
    if really.count >= line.count:
        return
    note = _now("not there for kit {kit}").format(kit=kit.number)
    if can(by, Verb.COUNT_STOCK):
        stock.count(by=by, at=at, line=line, counted=really.count, note=note)
    else:
        missing = line.count - really.count
        stock.use_up(by=by, at=at, line=line, quantity=missing, note=note)
