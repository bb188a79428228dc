"""Setup charts from sheets: which pass stands at which station."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import say_length
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import (
    ChartPass,
    ChartState,
    Mill,
    MillShaft,
    SetPass,
    SetPosition,
    SetupChart,
    Station,
    ToolSet,
)
from tooling.services.charts import ON_A_SHAFT
from tooling.services.importing.known import Known, plain
from tooling.services.importing.plan import Outcome, Plan, same_record
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row


class _Charts:
    """Charts, passes, stations and shafts by what names them, existing and planned."""

    def __init__(self, plan: Plan) -> None:
        current = SetupChart.objects.filter(is_current=True)
        self.charts: dict[tuple[str, str], SetupChart] = {
            (plain(chart.tool_set.number), plain(chart.mill.number)): chart
            for chart in current.select_related("tool_set", "mill")
        }
        placed = ChartPass.objects.filter(chart__is_current=True)
        self.placed: dict[Any, ChartPass] = {
            (each.chart_id, each.set_pass_id): each
            for each in placed.select_related("chart", "station", "set_pass")
        }
        self.stations = {
            (plain(station.mill.number), station.number): station
            for station in [*Station.objects.select_related("mill"), *plan.records(Station)]
        }
        self.passes = {
            (plain(each.tool_set.number), each.number): each
            for each in [*SetPass.objects.select_related("tool_set"), *plan.records(SetPass)]
        }
        self.shafts: dict[Any, int] = {}
        shafts = [plan.as_edited(each) for each in MillShaft.objects.select_related("station")]
        for shaft in [*shafts, *plan.records(MillShaft)]:
            self.shafts[_key(shaft.station), shaft.which] = shaft.diameter_nm
        self.positions: dict[Any, list[SetPosition]] = defaultdict(list)
        rows = SetPosition.objects.select_related("drawing", "set_pass")
        for position in [*map(plan.as_edited, rows), *plan.records(SetPosition)]:
            if position.drawing.kind in ON_A_SHAFT:
                self.positions[_key(position.set_pass)].append(position)
        self.said_by: dict[int, Outcome] = {}


def _key(record: Any) -> Any:
    return (type(record), record.pk) if record.pk else id(record)


def plan_charts(rows: list[Row], plan: Plan, known: Known) -> None:
    charts = _Charts(plan)
    for row in rows:
        with plan.of_row(row, KINDS["charts"], "pass"):
            _plan_row(row.values, plan, known, charts)
    _refuse_taken_stations(plan, charts)


def _plan_row(values: dict[str, Any], plan: Plan, known: Known, charts: _Charts) -> None:
    tool_set = plan.look("set", known.tool_set, values["set"])
    mill = plan.look("mill", known.mill, values["mill"])
    set_pass = charts.passes.get((plain(tool_set.number), values["pass"]))
    station = charts.stations.get((plain(mill.number), values["station"]))
    if set_pass is None:
        raise Unknown(
            "unknown_pass", _("Set {set} has no pass {number}."), set=tool_set.number,
            number=values["pass"], in_field="pass",
        )  # fmt: skip
    if station is None:
        raise Unknown(
            "unknown_station", _("{mill} has no station {number}."), mill=mill.name,
            number=values["station"], in_field="station",
        )  # fmt: skip
    _check_bores(set_pass, station, known, charts)
    chart = _chart(values, tool_set, mill, plan, charts)
    own = {
        "station": station,
        "gap_nm": values.get("gap"),
        "top_inboard_fill_nm": values.get("top_inboard_fill"),
        "bottom_inboard_fill_nm": values.get("bottom_inboard_fill"),
        "note": values.get("note"),
    }
    title = f"{tool_set.number} on {mill.number}, {set_pass}"
    present = charts.placed.get((chart.pk, set_pass.pk)) if chart.pk and set_pass.pk else None
    if present is None:
        present = plan.create(ChartPass, title, chart=chart, set_pass=set_pass, **said(own))
        charts.placed[id(present)] = present
        changed = True
    else:
        changed = plan.edit(present, title, **own)
    plan.speak_of(present, title)
    charts.said_by[id(present)] = plan.outcomes[-1]
    if changed and chart.state == ChartState.PROVED:
        plan.edit(chart, title, state=ChartState.UNPROVED)


def _chart(
    values: dict[str, Any], tool_set: ToolSet, mill: Mill, plan: Plan, charts: _Charts
) -> SetupChart:
    key = (plain(tool_set.number), plain(mill.number))
    title = f"{tool_set.number} on {mill.number}"
    wanted = {"revision": values.get("chart_revision"), "hand": values.get("hand")}
    if key in charts.charts:
        plan.edit(charts.charts[key], title, **wanted)
    else:
        charts.charts[key] = plan.create(
            SetupChart, title, tool_set=tool_set, mill=mill, **said(wanted)
        )
    return charts.charts[key]


def _check_bores(set_pass: SetPass, station: Station, known: Known, charts: _Charts) -> None:
    for position in charts.positions.get(_key(set_pass), []):
        revision = known.current.get(plain(position.drawing.number))
        shaft = charts.shafts.get((_key(station), position.shaft))
        if revision is None or revision.bore_nm is None or shaft is None:
            continue
        if revision.bore_nm < shaft:
            unit: Any = revision.unit
            raise ToolingError(
                "bore_smaller_than_shaft",
                _("{drawing} is bored {bore}; the {shaft} shaft of station {station} is "
                  "{diameter}. It cannot go on."),
                drawing=position.drawing.number, bore=say_length(revision.bore_nm, unit),
                shaft=position.shaft, station=station.number,
                diameter=say_length(shaft, unit), in_field="station",
            )  # fmt: skip


def _refuse_taken_stations(plan: Plan, charts: _Charts) -> None:
    """Once all rows are planned: no station of a chart may have two passes."""
    at: dict[Any, ChartPass] = {}
    for each in charts.placed.values():
        key = (_key(each.chart), _key(each.station))
        other = at.setdefault(key, each)
        if same_record(other, each):
            continue
        teller, standing = (each, other) if id(each) in charts.said_by else (other, each)
        error = Conflict(
            "station_taken",
            _("Pass {number} stands at station {station}. Move it first."),
            number=standing.set_pass.number,
            station=standing.station.number,
            in_field="station",
        )
        plan.refuse(charts.said_by[id(teller)], "station", error)
