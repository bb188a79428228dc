"""One setup chart: where each pass stands, what its gap aims at, its other settings."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from tooling.engineering.measures import plain_measure
from tooling.errors import Unknown
from tooling.models import ChartAxis, ChartPass, Method, SetPass, SetupChart


@dataclass(frozen=True)
class AxisRow:
    """A free-named setting with its target in its own unit, empty where none is said."""

    name: str
    unit: str
    target: str


@dataclass(frozen=True)
class ChartLine:
    """One pass of a chart with where it stands."""

    pass_id: int
    pass_number: int
    pass_name: str
    chart_pass_id: int | None
    station: int | None
    gap_nm: int | None
    gap_allowance_nm: int | None
    gap_method: str
    gap_is_loaded: bool
    top_inboard_fill_nm: int | None
    bottom_inboard_fill_nm: int | None
    note: str
    axes: tuple[AxisRow, ...] = ()


@dataclass(frozen=True)
class ChartPage:
    id: int
    set_number: str
    set_name: str
    mill: str
    mill_number: str
    unit: str
    revision: str
    state: str
    state_word: str
    is_turned: bool
    lines: tuple[ChartLine, ...]
    idle_stations: tuple[int, ...]


def chart_page(chart_id: int) -> ChartPage:
    """One setup chart. Five queries. Raises Unknown ``unknown_chart``."""
    rows = SetupChart.objects.select_related("tool_set", "mill")
    chart = rows.filter(pk=chart_id).first()
    if chart is None:
        raise Unknown("unknown_chart", _("There is no such setup chart."))
    placed = {
        each.set_pass_id: each
        for each in ChartPass.objects.filter(chart=chart).select_related("station")
    }
    axes: dict[int, list[AxisRow]] = defaultdict(list)
    for each in ChartAxis.objects.filter(chart_pass__chart=chart).order_by("name"):
        target = plain_measure(each.target_nm, each.target, each.unit)
        axes[each.chart_pass_id].append(AxisRow(each.name, each.unit, target))
    used = {each.station.number for each in placed.values()}
    numbers = chart.mill.stations.order_by("number").values_list("number", flat=True)
    return ChartPage(
        id=chart.pk,
        set_number=chart.tool_set.number,
        set_name=chart.tool_set.name,
        mill=chart.mill.name,
        mill_number=chart.mill.number,
        unit=chart.tool_set.unit,
        revision=chart.revision,
        state=chart.state,
        state_word=chart.get_state_display(),
        is_turned=chart.is_turned,
        lines=tuple(
            _line(set_pass, placed.get(set_pass.pk), axes)
            for set_pass in SetPass.objects.filter(tool_set=chart.tool_set).order_by("number")
        ),
        idle_stations=tuple(number for number in numbers if number not in used),
    )


def _line(set_pass: SetPass, at: ChartPass | None, axes: dict[int, list[AxisRow]]) -> ChartLine:
    return ChartLine(
        pass_id=set_pass.pk,
        pass_number=set_pass.number,
        pass_name=set_pass.name,
        chart_pass_id=at.pk if at else None,
        station=at.station.number if at else None,
        gap_nm=at.gap_nm if at else None,
        gap_allowance_nm=at.gap_allowance_nm if at else None,
        gap_method=str(dict(Method.choices).get(at.gap_method, "")) if at else "",
        gap_is_loaded=at.gap_is_loaded if at else False,
        top_inboard_fill_nm=at.top_inboard_fill_nm if at else None,
        bottom_inboard_fill_nm=at.bottom_inboard_fill_nm if at else None,
        note=at.note if at else "",
        axes=tuple(axes.get(at.pk, ())) if at else (),
    )
