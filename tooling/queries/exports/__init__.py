"""Reads of everything a shop may take away: rows as the sheets of each kind hold them."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from tooling.queries.exports import past, records, sets, tools
from tooling.spreadsheets.rows import Row

ROWS: dict[str, Callable[[], Iterable[Row]]] = {
    "owners": records.owners,
    "places": records.places,
    "mills": records.mills,
    "drawings": records.drawings,
    "features": tools.features,
    "pieces": records.pieces,
    "stock": records.stock,
    "sets": sets.positions,
    "paper_sets": sets.from_paper,
    "fills": sets.fills,
    "characteristics": sets.characteristics,
    "charts": sets.charts,
    "axes": sets.axes,
    "gauges": tools.gauges,
    "gauge_points": tools.gauge_points,
    "regrinds": past.regrinds,
    "readings": past.readings,
    "length_run": past.length_run,
    "jobs": past.jobs,
}
"""By kind of sheet; each gives the rows that the import of that kind takes."""
