"""Mills, stations and shafts from sheets, and setup charts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import (
    ChartPass,
    DriveGroup,
    Mill,
    MillShaft,
    Place,
    SetPass,
    SetupChart,
    Station,
)
from tooling.services.importing.known import Known, plain
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

MILL_NAMES = {
    "name": "name", "datum": "datum", "hand": "hand", "operator_side": "operator_side",
    "closing": "closing", "closing_least": "closing_least_nm", "closing_most": "closing_most_nm",
    "pass_line_height": "pass_line_height_nm", "guide_plane": "guide_plane_nm",
    "base_clearance": "base_clearance_nm",
}  # fmt: skip
STATION_NAMES = {
    "centre_to_next": "centre_to_next_nm", "vertical_least": "vertical_least_nm",
    "vertical_most": "vertical_most_nm", "gear_ratio": "gear_ratio",
    "bottom_adjustable": "bottom_adjustable", "screw_lead": "screw_lead_nm",
    "stand_clearance": "stand_clearance_nm", "side_roll_room": "side_roll_room_nm",
    "side_roll_mounting": "side_roll_mounting", "aligned_on": "aligned_on",
}  # fmt: skip
SHAFT_NAMES = {
    "diameter": "diameter_nm", "key_style": "key_style", "key_width": "key_width_nm",
    "key_height": "key_height_nm", "roll_space": "roll_space_nm",
    "shoulder_offset": "shoulder_offset_nm", "shoulder_measured_on": "shoulder_measured_on",
    "drive": "drive", "joint_length": "joint_length_nm",
}  # fmt: skip
NEEDED = ("datum", "hand", "operator_side")


def taken(values: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    """The sheet's fields under the model's names."""
    return {ours: values.get(theirs) for theirs, ours in names.items()}


class _Machine:
    """Stations and shafts by what names them, existing and planned."""

    def __init__(self) -> None:
        self.stations = {
            (plain(station.mill.number), station.number): station
            for station in Station.objects.select_related("mill", "place")
        }
        self.shafts = {
            (shaft.station_id, shaft.which, shaft.bank): shaft for shaft in MillShaft.objects.all()
        }
        self.new_shafts: dict[tuple[int, str, int], MillShaft] = {}
        self.groups = {
            (plain(group.mill.number), plain(group.name)): group
            for group in DriveGroup.objects.select_related("mill")
        }


def plan_mills(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    machine = _Machine()
    for row in rows:
        plan.begin(row, "mills")
        values = row.values
        mill = _mill(row, plan, known)
        if mill is None:
            continue
        station = _station(values, mill, plan, known, machine)
        _shaft(values, mill, station, plan, machine)


def _mill(row: Row, plan: Plan, known: Known) -> Mill | None:
    values = row.values
    number = values["mill"]
    wanted = taken(values, MILL_NAMES)
    wanted["unit"] = row.unit(KINDS["mills"])
    if values.get("max_speed") is not None:
        wanted["max_speed_m_min"] = float(values["max_speed"])
    mill = known.mills.get(plain(number))
    if mill is not None:
        plan.edit(mill, f"mill {number}", **wanted)
        return mill
    for name in NEEDED:
        if values.get(name) is None:
            error = ToolingError(
                "missing_value", _("A new mill needs its {name}."), name=name.replace("_", " ")
            )
            plan.problem(name, "", error)
            return None
    wanted["name"] = wanted["name"] or number
    title = str(wanted["name"])
    place = _area(title, None, "area", plan, known)
    mill = plan.create(Mill, f"mill {number}", number=number, place=place, **said(wanted))
    known.mills[plain(number)] = mill
    return mill


def _area(name: str, parent: Place | None, kind: str, plan: Plan, known: Known) -> Place:
    path_name = f"{parent.path_name} / {name}" if parent else name
    place = known.places.get(plain(path_name))
    if place is None:
        place = plan.create(
            Place, path_name, quiet=True, code="", kind=kind, name=name, parent=parent,
            path_name=path_name, walking_order=10_000,
        )  # fmt: skip
        known.add_place(place)
    return place


def _station(
    values: dict[str, Any], mill: Mill, plan: Plan, known: Known, machine: _Machine
) -> Station:
    number = values["station"]
    wanted = taken(values, STATION_NAMES)
    key = (plain(mill.number), number)
    station = machine.stations.get(key)
    title = f"mill {mill.number} station {number}"
    if station is not None:
        plan.edit(station, title, **wanted)
        return station
    assert mill.place is not None
    place = _area(f"Station {number}", mill.place, "station", plan, known)
    station = plan.create(
        Station, title, code="", mill=mill, number=number, place=place, **said(wanted)
    )
    machine.stations[key] = station
    return station


def _shaft(
    values: dict[str, Any], mill: Mill, station: Station, plan: Plan, machine: _Machine
) -> None:
    wanted = taken(values, SHAFT_NAMES)
    wanted["drive_group"] = _group(values, mill, plan, machine)
    which, bank = values["shaft"], values.get("bank") or 1
    title = f"mill {mill.number} station {station.number} {which}"
    shaft = machine.new_shafts.get((id(station), which, bank))
    if station.pk is not None and shaft is None:
        shaft = machine.shafts.get((station.pk, which, bank))
    if shaft is not None:
        plan.edit(shaft, title, **wanted)
        return
    machine.new_shafts[id(station), which, bank] = plan.create(
        MillShaft, title, station=station, which=which, bank=bank, **said(wanted)
    )


def _group(values: dict[str, Any], mill: Mill, plan: Plan, machine: _Machine) -> DriveGroup | None:
    name = values.get("drive_group")
    if not name:
        return None
    key = (plain(mill.number), plain(name))
    factor = float(values["rpm_factor"]) if values.get("rpm_factor") is not None else None
    group = machine.groups.get(key)
    if group is None:
        group = plan.create(
            DriveGroup, f"drive group {name}", quiet=True, mill=mill, name=name,
            rpm_factor=factor or 1.0,
        )  # fmt: skip
        machine.groups[key] = group
    else:
        plan.edit(group, f"drive group {name}", rpm_factor=factor)
    return group


def plan_charts(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    charts = {
        (plain(chart.tool_set.number), plain(chart.mill.number)): chart
        for chart in SetupChart.objects.filter(is_current=True).select_related("tool_set", "mill")
    }
    placed = {
        (chart_pass.chart_id, chart_pass.set_pass_id): chart_pass
        for chart_pass in ChartPass.objects.select_related("station")
    }
    stations = {
        (plain(station.mill.number), station.number): station
        for station in [*Station.objects.select_related("mill"), *plan.records(Station)]
    }
    passes = {
        (plain(each.tool_set.number), each.number): each
        for each in [*SetPass.objects.select_related("tool_set"), *plan.records(SetPass)]
    }
    for row in rows:
        plan.begin(row, "charts")
        try:
            _plan_chart_row(row.values, plan, known, charts, placed, stations, passes)
        except ToolingError as error:
            plan.problem("pass", row.values.get("pass"), error)


def _plan_chart_row(
    values: dict[str, Any],
    plan: Plan,
    known: Known,
    charts: dict[tuple[str, str], SetupChart],
    placed: dict[tuple[int, int], ChartPass],
    stations: dict[tuple[str, int], Station],
    passes: dict[tuple[str, int], SetPass],
) -> None:
    tool_set, mill = known.tool_set(values["set"]), known.mill(values["mill"])
    set_pass = passes.get((plain(tool_set.number), values["pass"]))
    station = stations.get((plain(mill.number), values["station"]))
    if set_pass is None:
        raise ToolingError(
            "unknown_pass", _("Set {set} has no pass {number}."), set=tool_set.number,
            number=values["pass"],
        )  # fmt: skip
    if station is None:
        raise ToolingError(
            "unknown_station", _("{mill} has no station {number}."), mill=mill.name,
            number=values["station"],
        )  # fmt: skip
    title = f"{tool_set.number} on {mill.number}"
    key = (plain(tool_set.number), plain(mill.number))
    wanted = {"revision": values.get("chart_revision"), "hand": values.get("hand")}
    if key in charts:
        plan.edit(charts[key], title, **wanted)
    else:
        charts[key] = plan.create(SetupChart, title, tool_set=tool_set, mill=mill, **said(wanted))
    chart = charts[key]
    own = {
        "station": station,
        "gap_nm": values.get("gap"),
        "top_inboard_fill_nm": values.get("top_inboard_fill"),
        "bottom_inboard_fill_nm": values.get("bottom_inboard_fill"),
        "note": values.get("note"),
    }
    present = placed.get((chart.pk, set_pass.pk)) if chart.pk and set_pass.pk else None
    if present is None:
        plan.create(ChartPass, f"{title}, {set_pass}", chart=chart, set_pass=set_pass, **said(own))
    else:
        plan.edit(present, f"{title}, {set_pass}", **own)
