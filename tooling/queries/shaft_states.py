"""What stands on the shafts of setups: the last word that was said about each and still holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from tooling.models import ShaftMount


@dataclass(frozen=True)
class ShaftState:
    """One shaft's last standing word. ``what``: mounted, skipped or taken_off; ``checked``: how
    much was scanned (a ``CheckLevel``; empty where nothing was); ``by`` is empty for nobody."""

    what: str
    checked: str
    by: str
    at: datetime
    note: str


ShaftKey = tuple[int, int, str]
"""Setup's database id, number of the station, shaft."""


def shaft_states(setup_ids: Iterable[int]) -> dict[ShaftKey, ShaftState]:
    """The last standing word for each shaft that has one; a shaft nobody spoke of is not there.

    A row that another corrects does not count; a row that only takes another back counts for
    nothing itself. One statement.
    """
    rows = (
        ShaftMount.objects.filter(
            setup_id__in=set(setup_ids), corrected_by=None, is_taken_back=False
        )
        .select_related("by")
        .order_by("happened_at", "id")
    )
    return {
        (row.setup_id, row.station_number, row.shaft): ShaftState(
            what=row.what,
            checked=row.checked,
            by=str(row.by) if row.by else "",
            at=row.happened_at,
            note=row.note,
        )
        for row in rows
    }
