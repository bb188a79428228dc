"""From what stands on a mill to its pass ribbon."""

from __future__ import annotations

from collections.abc import Sequence

from django.urls import reverse
from django.utils.translation import gettext as _

from tooling.pictures.ribbon import Ribbon, draw_ribbon
from tooling.pictures.ribbon_kit import (
    RibbonKit,
    RibbonPiece,
    RibbonShaft,
    RibbonStation,
    ShaftName,
)
from tooling.queries.on_mill import OnMill, StationOn, Stood
from tooling.web.kit_ribbon import SPACERS

SHAFTS: tuple[ShaftName, ...] = ("top", "bottom", "side")


def mill_ribbon(mill: OnMill) -> Ribbon:
    """What stands on the mill; a shaft of the standing setup leads to its page in the kit."""
    return draw_ribbon(
        RibbonKit(
            stations=tuple(_station(mill, each) for each in mill.stations),
            entry="left" if mill.entry_left else "right",
            drive_side="left" if mill.drive_side == "left" else "right",
        )
    )


def _station(mill: OnMill, station: StationOn) -> RibbonStation:
    return RibbonStation(
        station=station.number,
        shafts=tuple(_shaft(mill, station, which) for which in SHAFTS),
        pass_name=""
        if station.pass_number is None
        else _("pass {n}").format(n=station.pass_number),
    )


def _shaft(mill: OnMill, station: StationOn, which: ShaftName) -> RibbonShaft:
    stack = station.on(which)
    leads = mill.setup is not None and any(each.of != "other" for each in stack)
    kit = mill.setup.kit if mill.setup else ""
    return RibbonShaft(
        shaft=which,
        pieces=tuple(_pieces(stack)),
        href=reverse("kit-shaft", args=[kit, station.number, which]) if leads else "",
    )


def _pieces(stack: Sequence[Stood]) -> list[RibbonPiece]:
    return [
        RibbonPiece(
            code=each.code,
            state="held" if each.is_held else "here",
            order=number,
            width_nm=each.width_nm,
            diameter_nm=each.diameter_nm,
            mark=each.mark,
            is_spacer=each.kind in SPACERS,
            side="drive" if each.side == "drive" else "operator" if each.side else "",
        )
        for number, each in enumerate(stack, start=1)
    ]
