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
    rows = ShaftMount.objects.filter(
        setup_id__in=set(setup_ids), corrected_by=None, is_taken_back=False
    ).order_by("happened_at", "id")
    told = rows.values_list(
        "setup_id", "station_number", "shaft", "what", "checked", "by__name", "by__username",
        "happened_at", "note",
    )  # fmt: skip
    return {
        (setup, station, shaft): ShaftState(what, checked, name or username or "", at, note)
        for setup, station, shaft, what, checked, name, username, at, note in told
    }
