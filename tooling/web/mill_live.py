"""What stands on mills, as their pages show it and poll it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tooling.pictures.ribbon import Ribbon
from tooling.queries.mills import MillRow, mill_list
from tooling.queries.on_mill import OnMill, mills_token, on_mill, on_mills
from tooling.web.mill_ribbon import mill_ribbon


@dataclass(frozen=True)
class MillLive:
    """One mill of the list: what stands on it and what comes next."""

    row: MillRow
    on: OnMill
    ribbon: Ribbon


def mills_context(token: str | None = None) -> dict[str, Any]:
    """Of every mill in the list what stands on it."""
    version = mills_token() if token is None else token
    there = {each.number: each for each in on_mills()}
    rows = [
        MillLive(row, there[row.number], mill_ribbon(there[row.number]))
        for row in mill_list()
        if row.number in there
    ]
    return {"mills": rows, "version": version}


def live_context(number: str, token: str | None = None) -> dict[str, Any]:
    """What stands on one mill."""
    version = mills_token([number]) if token is None else token
    on = on_mill(number)
    assert on is not None
    return {"on": on, "ribbon": mill_ribbon(on), "version": version}
