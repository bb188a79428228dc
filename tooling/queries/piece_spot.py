"""Where on a mill a piece stands: from the piece to its station, shaft and place on the shaft."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.models import Station
from tooling.queries.on_mill import Of, OnMill, on_mill

ORDINALS = (
    *(gettext_lazy("first"), gettext_lazy("second"), gettext_lazy("third"), gettext_lazy("fourth")),
    *(gettext_lazy("fifth"), gettext_lazy("sixth"), gettext_lazy("seventh")),
    *(gettext_lazy("eighth"), gettext_lazy("ninth"), gettext_lazy("tenth")),
)
SHAFTS = {
    "top": gettext_lazy("top"),
    "bottom": gettext_lazy("bottom"),
    "side": gettext_lazy("side rolls"),
}


@dataclass(frozen=True)
class PieceSpot:
    """``nth`` from the shoulder, from 1; 0 where nobody knows. ``kit`` is that of the setup that
    stands on the mill, empty for none. ``of`` as in ``Stood``."""

    mill: str
    mill_name: str
    station: int
    shaft: str
    nth: int
    kit: str
    of: Of

    @property
    def said(self) -> str:
        """Such as “on Mill 2, station 7 top, third from the shoulder”."""
        if not self.shaft:
            words = _("on {mill}, station {station}")
        elif self.shaft == "side" or not self.nth:
            words = _("on {mill}, station {station} {shaft}")
        elif self.nth <= len(ORDINALS):
            words = _("on {mill}, station {station} {shaft}, {nth} from the shoulder")
        else:
            words = _("on {mill}, station {station} {shaft}, no. {n} from the shoulder")
        nth = str(ORDINALS[self.nth - 1]) if 0 < self.nth <= len(ORDINALS) else ""
        said = words.format(
            mill=self.mill_name,
            station=self.station,
            shaft=str(SHAFTS.get(self.shaft, self.shaft)),
            nth=nth,
            n=self.nth,
        )
        if self.kit and self.of == "other":
            return _("{where}, not of the setup that stands there").format(where=said)
        return said


def piece_spot(piece_id: int) -> PieceSpot | None:
    """None for a piece that lies at no station. One query, eight more for one that does."""
    rows = Station.objects.filter(place__pieces=piece_id).select_related("mill")
    station = rows.first()
    mill = on_mill(station.mill.number) if station is not None else None
    if station is None or mill is None:
        return None
    return _spot(mill, station.number, piece_id)


def _spot(mill: OnMill, number: int, piece_id: int) -> PieceSpot | None:
    station = next(each for each in mill.stations if each.number == number)
    found = next((each for each in station.stood if each.piece_id == piece_id), None)
    if found is None:
        return None
    stack = station.on(found.shaft) if found.shaft else ()
    nth = stack.index(found) + 1 if found in stack else 0
    return PieceSpot(
        mill=mill.number,
        mill_name=mill.name,
        station=number,
        shaft=found.shaft,
        nth=nth,
        kit=mill.setup.kit if mill.setup else "",
        of=found.of,
    )
