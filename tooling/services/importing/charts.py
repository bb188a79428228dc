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
    SetPass,
    SetPosition,
    SetupChart,
    Station,
    ToolSet,
)
from tooling.services.chart_axes import check_gap
from tooling.services.charts import ON_A_SHAFT
from tooling.services.importing.known import Known, plain
from tooling.services.importing.known_records import pointing_to, read_drawings, with_keys
from tooling.services.importing.mills import machine_of
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.services.importing.stage import chunks
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

SPOKEN_OF = "charts that rows speak of"
CHARTS_AT_ONCE = 50


class _Charts:
    """Charts, passes, stations and shafts by what names them, existing and planned."""

    def __init__(self, rows: list[Row], plan: Plan, known: Known) -> None:
        self.stage, self.known = plan.stage, known
        machine = machine_of(known)
        self.stations = machine.stations
        self.shafts = {
            (station_id, which): shaft.diameter_nm
            for (station_id, which, _bank), shaft in sorted(
                machine.shafts.items(), key=lambda each: -each[0][2]
            )
        }
        self.charts = charts_of(known)
        named = {plain(row.values["set"]) for row in rows}
        sets = {known.sets[number].pk for number in named if number in known.sets}
        numbers = {row.values["pass"] for row in rows}
        self.passes: dict[tuple[str, int], SetPass] = {}
        for each in pointing_to(self.stage, SetPass, "tool_set_id", sets):
            if each.number in numbers:
                each.tool_set = known.set_keys[each.tool_set_id]
                self.passes[plain(each.tool_set.number), each.number] = each
        keys = {each.pk: each for each in self.passes.values()}
        self.positions: dict[int, list[SetPosition]] = defaultdict(list)
        self._add_positions(pointing_to(self.stage, SetPosition, "set_pass_id", keys))
        here = [each.pk for each in self.charts.values() if each.tool_set_id in sets]
        self.placed: dict[tuple[int, int], ChartPass] = {}
        stations = {station.pk: station for station in self.stations.values()}
        for placed in pointing_to(self.stage, ChartPass, "chart_id", here):
            if placed.set_pass_id in keys:
                placed.station = stations[placed.station_id]
                self.placed[placed.chart_id, placed.set_pass_id] = placed

    def _add_positions(self, positions: list[SetPosition]) -> None:
        read_drawings(self.known, keys=[each.drawing_id for each in positions])
        for position in positions:
            position.drawing = self.known.drawing_keys[position.drawing_id]
            if position.drawing.kind in ON_A_SHAFT:
                self.positions[position.set_pass_id].append(position)


def charts_of(known: Known) -> dict[tuple[str, str], SetupChart]:
    """Every current chart by set and mill, read once for an import."""
    if SetupChart not in known.held:
        current = SetupChart.objects.filter(is_current=True)
        known.held[SetupChart] = {
            (plain(chart.tool_set.number), plain(chart.mill.number)): chart
            for chart in current.select_related("tool_set", "mill")
        }
    found: dict[tuple[str, str], SetupChart] = known.held[SetupChart]
    return found


def plan_charts(rows: list[Row], plan: Plan, known: Known) -> None:
    charts = _Charts(rows, plan, known)
    for row in rows:
        with plan.of_row(row, KINDS["charts"], "pass"):
            _plan_row(row.values, plan, known, charts)


def plan_after_charts(plan: Plan, known: Known) -> None:
    """Once all rows are planned: no station of a chart may have two passes."""
    for part in chunks(known.held.get(SPOKEN_OF, ()), CHARTS_AT_ONCE):
        _refuse_taken_stations(part, plan, known)


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
        "gap_allowance_nm": values.get("gap_allowance"),
        "gap_method": values.get("gap_method"),
        "gap_is_loaded": values.get("gap_is_loaded"),
        "top_inboard_fill_nm": values.get("top_inboard_fill"),
        "bottom_inboard_fill_nm": values.get("bottom_inboard_fill"),
        "note": values.get("note"),
    }
    check_gap(own)
    title = f"{tool_set.number} on {mill.number}, {set_pass}"
    plan.outcomes[-1].is_late = True
    known.held.setdefault(SPOKEN_OF, set()).add(chart.pk)
    present = charts.placed.get((chart.pk, set_pass.pk))
    if present is None:
        present = plan.create(ChartPass, title, chart=chart, set_pass=set_pass, **said(own))
        charts.placed[chart.pk, set_pass.pk] = present
        changed = True
    else:
        changed = plan.edit(present, title, clears=_giving_way(own), **own)
    plan.speak_of(present, title)
    if changed and chart.state == ChartState.PROVED:
        plan.edit(chart, title, state=ChartState.UNPROVED)


def _giving_way(own: dict[str, Any]) -> list[str]:
    """A gap gives way to so much over the strip, and the other way round."""
    pair = ("gap_nm", "gap_allowance_nm")
    told = [name for name in pair if own[name] is not None]
    return [name for name in pair if told and name not in told]


def _chart(
    values: dict[str, Any], tool_set: ToolSet, mill: Mill, plan: Plan, charts: _Charts
) -> SetupChart:
    key = (plain(tool_set.number), plain(mill.number))
    title = f"{tool_set.number} on {mill.number}"
    wanted: dict[str, Any] = {"revision": values.get("chart_revision"), "hand": values.get("hand")}
    if key in charts.charts:
        plan.edit(charts.charts[key], title, **wanted)
    else:
        charts.charts[key] = plan.create(
            SetupChart, title, tool_set=tool_set, mill=mill, **said(wanted)
        )
    return charts.charts[key]


def _check_bores(set_pass: SetPass, station: Station, known: Known, charts: _Charts) -> None:
    for position in charts.positions.get(set_pass.pk, []):
        revision = known.current.get(plain(position.drawing.number))
        shaft = charts.shafts.get((station.pk, position.shaft))
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


def _refuse_taken_stations(keys: list[int], plan: Plan, known: Known) -> None:
    at: dict[tuple[int, int], list[Any]] = defaultdict(list)
    for each in pointing_to(plan.stage, ChartPass, "chart_id", keys):
        at[each.chart_id, each.station_id].append(each)
    stations = {station.pk: station for station in machine_of(known).stations.values()}
    for several in at.values():
        told = {getattr(each, "stage_told", 0): each for each in several}
        last = max(told)
        if len(several) < 2 or not last:
            continue
        standing = next(each for each in several if each is not told[last])
        (set_pass,) = with_keys(plan.stage, SetPass, [standing.set_pass_id])
        error = Conflict(
            "station_taken",
            _("Pass {number} stands at station {station}. Move it first."),
            number=set_pass.number,
            station=stations[standing.station_id].number,
            in_field="station",
        )
        plan.refuse(plan.told.find([last])[last], "station", error)
