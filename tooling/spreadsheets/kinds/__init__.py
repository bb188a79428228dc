"""Every kind of sheet, in the order in which an empty shop is filled."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.kinds.jobs import JOBS
from tooling.spreadsheets.kinds.mills import MILLS
from tooling.spreadsheets.kinds.past import LENGTH_RUN, READINGS, REGRINDS
from tooling.spreadsheets.kinds.pieces import DRAWINGS, PIECES, STOCK
from tooling.spreadsheets.kinds.sets import (
    AXES,
    CHARACTERISTICS,
    CHARTS,
    FILLS,
    PAPER_SETS,
    SETS,
)
from tooling.spreadsheets.kinds.shop import OWNERS, PLACES
from tooling.spreadsheets.kinds.tools import FEATURES, GAUGE_POINTS, GAUGES

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        *(OWNERS, PLACES, MILLS, DRAWINGS, FEATURES, PIECES, STOCK, SETS, PAPER_SETS, FILLS),
        *(CHARACTERISTICS, CHARTS, AXES),
        *(GAUGES, GAUGE_POINTS, REGRINDS, READINGS, LENGTH_RUN, JOBS),
    )
}


def find_kind(name: str) -> Kind:
    """The kind of this name. Raises Unknown ``unknown_kind``."""
    if name not in KINDS:
        raise Unknown(
            "unknown_kind",
            _("There is no kind of sheet “{name}”. The kinds are: {kinds}."),
            name=name,
            kinds=", ".join(KINDS),
        )
    return KINDS[name]
