"""Stock lines: a bin with a label for pooled spacers, shims, keys. Counts move in ``stock``."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Condition, Drawing, Owner, Person, Place, StockLine
from tooling.permissions import Verb, check_can
from tooling.services import stock
from tooling.services.codes import next_codes
from tooling.services.edits import apply_edit, record_creation
from tooling.services.movements import check_place_is_used
from tooling.services.write import writing

MOST = 1_000_000


def create_line(
    *,
    by: Person,
    at: datetime,
    drawing: Drawing,
    place: Place,
    owner: Owner,
    condition: str = Condition.SOUND,
    least_count: int = 0,
    count: int = 0,
) -> StockLine:
    """A new bin with what was received into it. Raises ``already_there``, ``absurd_quantity``,
    ``place_not_used``."""
    check_can(by, Verb.COUNT_STOCK)
    check_place_is_used(place)
    _check_count(count, "count")
    _check_count(least_count, "least_count")
    same = {"drawing": drawing, "place": place, "owner": owner, "condition": condition}
    with writing():
        found = StockLine.objects.filter(**same).first()
        if found is not None:
            raise ToolingError(
                "already_there",
                _("{place} has a bin of {drawing} already: {code}. Receive into that one."),
                place=place.path_name,
                drawing=drawing.number,
                code=found.code,
                in_field="place",
            )
        code = next_codes(kind="B")[0]
        line = StockLine.objects.create(code=code, least_count=least_count, **same)
        record_creation(by=by, at=at, row=line, key=code, fields=same)
        if count:
            stock.receive(by=by, at=at, line=line, quantity=count)
            line.refresh_from_db()
    return line


def set_least(*, by: Person, at: datetime, line: StockLine, least_count: int) -> StockLine:
    """Below how many the bin is short. Raises ``absurd_quantity``."""
    check_can(by, Verb.COUNT_STOCK)
    _check_count(least_count, "least_count")
    with writing():
        fresh = StockLine.objects.select_for_update().get(pk=line.pk)
        fields = {"least_count": least_count}
        apply_edit(by=by, at=at, row=fresh, key=fresh.code, fields=fields)
    return fresh


def _check_count(count: int, field: str) -> None:
    if not 0 <= count <= MOST:
        raise ToolingError(
            "absurd_quantity",
            _("{count} cannot be a count; write 0 to {most}."),
            count=count,
            most=MOST,
            in_field=field,
        )
