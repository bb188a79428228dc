"""The pass ribbon: a kit as the strip meets it, one column a station, to scale.

Each cell shows one shaft's stack looking downstream, shoulder on the drive side. A page lays the
columns side by side, or one under the other where it is narrow.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from tooling.pictures.ribbon_kit import Hand, RibbonKit, RibbonStation
from tooling.pictures.ribbon_stacks import Scale, scale_of, station_shapes, width_of
from tooling.pictures.shapes import Drawing
from tooling.pictures.state_marks import STATE_WORDS, TROUBLE, gravest, summarise
from tooling.pictures.svg import paint_svg


@dataclass(frozen=True, slots=True)
class RibbonColumn:
    """One station as pages show it: its gravest state by mark and word, and its picture.

    ``state`` is empty for an idle station.
    """

    station: int
    anchor: str
    pass_name: str
    is_idle: bool
    is_trouble: bool
    state: str
    word: str
    summary: str
    svg: SafeString


@dataclass(frozen=True, slots=True)
class Ribbon:
    """All columns as the strip meets them, and where the operator sees it come in; the style
    sheet puts the first column on that side."""

    columns: tuple[RibbonColumn, ...]
    entry: Hand

    @property
    def troubles(self) -> tuple[RibbonColumn, ...]:
        return tuple(column for column in self.columns if column.is_trouble)


def draw_ribbon(kit: RibbonKit) -> Ribbon:
    """The kit's columns at one scale."""
    scale = scale_of(kit)
    return Ribbon(tuple(_column(station, scale) for station in kit.stations), kit.entry)


def draw_station(station: RibbonStation, scale: Scale) -> Drawing:
    """One station's stacks as shapes, for a page or for paper."""
    return Drawing(
        width=width_of(station),
        height=scale.height,
        shapes=tuple(station_shapes(station, scale)),
        title=_("Station {number}").format(number=station.station),
        description=summarise(station.states()),
        look="station-picture",
    )


def _column(station: RibbonStation, scale: Scale) -> RibbonColumn:
    states = station.states()
    state = gravest(states)
    return RibbonColumn(
        station=station.station,
        anchor=f"station-{station.station}",
        pass_name=station.pass_name,
        is_idle=station.is_idle,
        is_trouble=state in TROUBLE,
        state=state,
        word=str(STATE_WORDS[state]) if state else _("idle"),
        summary=summarise(states),
        svg=paint_svg(draw_station(station, scale), key=f"ribbon-{station.station}", role="group"),
    )
