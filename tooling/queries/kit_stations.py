"""The columns of a kit's ribbon: every station of the mill, idle ones too."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from tooling.models import KitPosition
from tooling.queries.kit_views import PositionView, ShaftView, StationView
from tooling.queries.shafts import StationAt, Stations


def station_views(
    rows: Sequence[KitPosition], views: Sequence[PositionView], stations: Stations
) -> tuple[StationView, ...]:
    """Stations in order of their numbers; a pass on no station of the mill gets its own column.
    What stands on the line is in none of them."""
    by: dict[int, list[PositionView]] = defaultdict(list)
    first: dict[int, KitPosition] = {}
    for row, view in zip(rows, views, strict=True):
        if view.is_on_the_line:
            continue
        by[view.station].append(view)
        if not row.fill:
            first.setdefault(view.station, row)
    return tuple(
        _view(number, stations.get(number), by.get(number, []), first.get(number))
        for number in sorted({*stations, *by})
    )


def line_station(tools: Sequence[PositionView]) -> StationView:
    """A column for what stands on the line at one pass: nothing on its shafts."""
    column = _view(tools[0].station, None, (), None)
    return replace(column, pass_number=tools[0].pass_number)


def _view(
    number: int,
    station: StationAt | None,
    views: Sequence[PositionView],
    row: KitPosition | None,
) -> StationView:
    return StationView(
        number=number,
        code=station.code if station else "",
        pass_number=row.pass_number if row else None,
        pass_name=getattr(row, "pass_name", ""),
        gap_nm=station.gap_nm if station and row else None,
        gap_point=getattr(row, "gap_point", ""),
        gear_ratio=station.gear_ratio if station else Decimal(1),
        top=_shaft("top", station, views),
        bottom=_shaft("bottom", station, views),
        side=_shaft("side", station, views),
    )


def _shaft(which: str, station: StationAt | None, views: Sequence[PositionView]) -> ShaftView:
    shaft = station.shafts.get(which) if station else None
    return ShaftView(
        which=which,
        diameter_nm=shaft.spec.diameter_nm if shaft else None,
        roll_space_nm=shaft.spec.roll_space_nm if shaft else None,
        positions=tuple(view for view in views if view.shaft == which),
    )
