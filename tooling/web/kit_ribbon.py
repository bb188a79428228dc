"""From a kit's page to its pictures: the pass ribbon and one shaft large."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from tooling.engineering.lengths import say_length
from tooling.pictures.line_tools import paint_tool
from tooling.pictures.ribbon import Ribbon, draw_ribbon
from tooling.pictures.ribbon_kit import Hand, RibbonKit, RibbonPiece, RibbonShaft, RibbonStation
from tooling.pictures.shaft import Guide, draw_shaft
from tooling.pictures.svg import paint_svg
from tooling.queries.fill_told import ShaftTold
from tooling.queries.kit_views import KitPage, PositionView, ShaftView, StationView

SPACERS = ("spacer", "shim")


def kit_ribbon(page: KitPage) -> Ribbon:
    """The kit's ribbon; each shaft leads to its own page."""
    return draw_ribbon(
        RibbonKit(
            stations=tuple(_station(page.number, each) for each in page.stations),
            entry="left" if page.entry_left else "right",
            drive_side=_hand(page),
        )
    )


@dataclass(frozen=True)
class LineTool:
    """One thing that stands on the line, with its picture and where a tap on it leads."""

    position: PositionView
    svg: SafeString
    href: str


def line_tools(page: KitPage) -> tuple[LineTool, ...]:
    """What stands on the line, as the strip meets it."""
    return tuple(_line_tool(page.number, each) for each in page.line)


def _line_tool(kit: str, position: PositionView) -> LineTool:
    href = reverse("kit-shaft", args=[kit, position.station, "line"]) + f"#p-{position.order}"
    name = position.mark or position.drawing
    svg = paint_tool(_piece(position), station=position.station, name=name, href=href)
    return LineTool(position, svg, href)


def shaft_picture(
    page: KitPage, station: StationView, shaft: ShaftView, *, unit: str,
    told: ShaftTold | None = None,
) -> SafeString:  # fmt: skip
    """One shaft large, lengths in the person's unit; of a filled one where it is guided."""
    guide = None
    if told is not None and told.spacers:
        guide = Guide(told.guide_from_shoulder_nm, told.guide_nm, told.over_nm)
    drawing = draw_shaft(
        _station(page.number, station),
        _shaft(page.number, station, shaft),
        drive_side=_hand(page),
        unit="in" if unit == "in" else "mm",
        guide=guide,
    )
    return paint_svg(drawing, key=f"shaft-{station.number}-{shaft.which}")


def _hand(page: KitPage) -> Hand:
    return "left" if page.drive_side == "left" else "right"


def _station(kit: str, station: StationView) -> RibbonStation:
    shafts = (station.top, station.bottom, station.side)
    return RibbonStation(
        station=station.number,
        shafts=tuple(_shaft(kit, station, each) for each in shafts),
        pass_name=""
        if station.pass_number is None
        else _("pass {n}").format(n=station.pass_number),
    )


def _shaft(kit: str, station: StationView, shaft: ShaftView) -> RibbonShaft:
    which = shaft.which
    return RibbonShaft(
        shaft="top" if which == "top" else "bottom" if which == "bottom" else "side",
        pieces=tuple(_piece(each) for each in shaft.positions),
        href=reverse("kit-shaft", args=[kit, station.number, which]) if shaft.positions else "",
    )


def _piece(position: PositionView) -> RibbonPiece:
    return RibbonPiece(
        code=position.code,
        state=str(position.state),
        order=position.order,
        width_nm=position.face_width_nm or None,
        diameter_nm=position.greatest_diameter_nm,
        mark=position.mark or _length_mark(position),
        is_spacer=position.kind in SPACERS,
        side="drive" if position.side == "drive" else "operator" if position.side else "",
    )


def _length_mark(position: PositionView) -> str:
    """What is stamped on a spacer of a count: its length."""
    if not (position.is_pooled and position.kind in SPACERS and position.face_width_nm):
        return ""
    return say_length(position.face_width_nm, "in" if position.unit == "in" else "mm")
