"""Setup charts: one set on one mill, which pass stands at which station. Intent, not sizes."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import Conflict, ToolingError
from tooling.models import (
    ChartPass,
    DrawingKind,
    Mill,
    MillShaft,
    Person,
    SetPass,
    SetPosition,
    SetupChart,
    Station,
    ToolSet,
)
from tooling.permissions import Verb, check_can
from tooling.queries.line_passes import needs_station
from tooling.services.chart_axes import check_gap, unprove
from tooling.services.edits import apply_edit, record_creation, record_removal, require_fields
from tooling.services.touched import touch_kits_for
from tooling.services.write import writing

GAP = ("gap_nm", "gap_allowance_nm", "gap_method")
ON_A_SHAFT = (DrawingKind.ROLL, DrawingKind.SPACER, DrawingKind.SHIM)


def create_chart(
    *,
    by: Person,
    at: datetime,
    tool_set: ToolSet,
    mill: Mill,
    first_station: int = 1,
    **fields: Any,
) -> SetupChart:
    """A chart with the passes on stations in order from ``first_station``; move them after. A
    pass that only names what stands on the line needs no station.

    Raises ``already_there``, ``too_few_stations``, ``no_passes``, ``bore_smaller_than_shaft``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(SetupChart, fields)
    passes = list(needs_station(tool_set.passes.order_by("number")))
    stations = list(mill.stations.filter(number__gte=first_station).order_by("number"))
    _check_room(tool_set, mill, passes, stations, first_station)
    with writing():
        if SetupChart.objects.filter(tool_set=tool_set, mill=mill, is_current=True).exists():
            raise Conflict(
                "already_there",
                _("{set} has a chart on {mill} already. Change that one."),
                set=tool_set.number,
                mill=mill.name,
                in_field="mill",
            )
        chart = SetupChart.objects.create(tool_set=tool_set, mill=mill, **fields)
        pairs = list(zip(passes, stations, strict=False))
        for set_pass, station in pairs:
            _check_bores(set_pass, station)
        ChartPass.objects.bulk_create(
            ChartPass(chart=chart, set_pass=set_pass, station=station)
            for set_pass, station in pairs
        )
        values = {"mill": mill, "first station": first_station}
        record_creation(by=by, at=at, row=chart, key=_key(chart), fields=values)
    return chart


def place_pass(
    *,
    by: Person,
    at: datetime,
    chart: SetupChart,
    set_pass: SetPass,
    station: Station,
    **fields: Any,
) -> ChartPass:
    """Put a pass at a station, with its gap and inboard fills; the chart is unproved again.

    Raises ``other_mill``, ``other_set``, ``station_taken``, ``bore_smaller_than_shaft``,
    ``negative_length``, and of the gap ``two_targets``, ``gap_not_open``, ``improbable_value``,
    ``unknown_method``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(ChartPass, fields)
    if station.mill_id != chart.mill_id:
        raise Conflict("other_mill", _("That station belongs to another mill."))
    if set_pass.tool_set_id != chart.tool_set_id:
        raise Conflict("other_set", _("That pass belongs to another set."))
    for name in ("top_inboard_fill_nm", "bottom_inboard_fill_nm"):
        if (fields.get(name) or 0) < 0:
            raise ToolingError("negative_length", _("A fill is never negative."), in_field=name)
    with writing():
        _refuse_taken_station(chart, set_pass, station)
        _check_bores(set_pass, station)
        row = ChartPass.objects.filter(chart=chart, set_pass=set_pass).first()
        old = {name: getattr(row, name) for name in GAP} if row else {}
        check_gap({**old, **fields})
        key = f"{_key(chart)} pass {set_pass.number}"
        if row is None:
            row = ChartPass.objects.create(
                chart=chart, set_pass=set_pass, station=station, **fields
            )
            values = {**fields, "station": station.number}
            record_creation(by=by, at=at, row=row, key=key, fields=values)
            changed = True
        else:
            changed = apply_edit(
                by=by, at=at, row=row, key=key, fields={**fields, "station": station}
            )
        if changed:
            unprove(by=by, at=at, chart=chart)
    return row


def take_pass_off(*, by: Person, at: datetime, chart_pass: ChartPass) -> None:
    """The pass is left out on this mill."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        key = f"{_key(chart_pass.chart)} pass {chart_pass.set_pass.number}"
        fields = {"station": chart_pass.station.number}
        record_removal(by=by, at=at, row=chart_pass, key=key, fields=fields)
        chart_pass.delete()
        touch_kits_for(tool_set=chart_pass.chart.tool_set_id, mill=chart_pass.chart.mill_id)


def _key(chart: SetupChart) -> str:
    return f"{chart.tool_set.number} on {chart.mill.number}"[:48]


def _check_room(
    tool_set: ToolSet,
    mill: Mill,
    passes: list[SetPass],
    stations: list[Station],
    first_station: int,
) -> None:
    if not passes:
        raise Conflict(
            "no_passes", _("{set} has no passes yet. Add them first."), set=tool_set.number
        )
    if len(stations) < len(passes):
        raise Conflict(
            "too_few_stations",
            _("{set} has {passes} passes; {mill} has {stations} stations from {first} on."),
            set=tool_set.number,
            passes=len(passes),
            mill=mill.name,
            stations=len(stations),
            first=first_station,
            in_field="first_station",
        )


def _check_bores(set_pass: SetPass, station: Station) -> None:
    """Raise ``bore_smaller_than_shaft`` for a drawn bore that cannot go on the shaft."""
    shafts = {row.which: row for row in MillShaft.objects.filter(station=station)}
    positions = SetPosition.objects.filter(
        set_pass=set_pass,
        drawing__kind__in=ON_A_SHAFT,
        drawing__revisions__is_current=True,
        drawing__revisions__bore_nm__isnull=False,
    )
    for shaft, number, bore, unit in positions.values_list(
        "shaft", "drawing__number", "drawing__revisions__bore_nm", "drawing__revisions__unit"
    ):
        on = shafts.get(shaft)
        shown: Unit = "in" if unit == "in" else "mm"
        if on is not None and bore < on.diameter_nm:
            raise Conflict(
                "bore_smaller_than_shaft",
                _("{drawing} is bored {bore}; the {shaft} shaft of station {station} is "
                  "{diameter}. It cannot go on."),
                drawing=number,
                bore=say_length(bore, shown),
                shaft=shaft,
                station=station.number,
                diameter=say_length(on.diameter_nm, shown),
                in_field="station",
            )  # fmt: skip


def _refuse_taken_station(chart: SetupChart, set_pass: SetPass, station: Station) -> None:
    other = chart.chart_passes.filter(station=station).exclude(set_pass=set_pass)
    found = other.select_related("set_pass").first()
    if found is not None:
        raise Conflict(
            "station_taken",
            _("Pass {number} stands at station {station}. Move it first."),
            number=found.set_pass.number,
            station=station.number,
            in_field="station",
        )
