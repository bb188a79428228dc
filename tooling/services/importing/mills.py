"""Mills, stations and shafts from sheets."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import DriveGroup, Mill, MillShaft, Place, Station
from tooling.services.importing.known import Known, check_label, plain
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


class Machine:
    """Stations and shafts by what names them, existing and planned."""

    def __init__(self) -> None:
        self.stations = {
            (plain(station.mill.number), station.number): station
            for station in Station.objects.select_related("mill", "place")
        }
        self.shafts = {
            (shaft.station_id, shaft.which, shaft.bank): shaft
            for shaft in MillShaft.objects.select_related("station", "drive_group")
        }
        self.groups = {
            (plain(group.mill.number), plain(group.name)): group
            for group in DriveGroup.objects.select_related("mill")
        }


def machine_of(known: Known) -> Machine:
    """The stations of all mills, read once for an import."""
    if Machine not in known.held:
        machine = known.held[Machine] = Machine()
        known.labels |= {station.code for station in machine.stations.values()}
    found: Machine = known.held[Machine]
    return found


def plan_mills(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    machine = machine_of(known)
    for row in rows:
        with plan.of_row(row, KINDS["mills"], "mill"):
            mill = _mill(row, plan, known)
            station = _station(row.values, mill, plan, known, machine)
            _shaft(row.values, mill, station, plan, machine)


def _mill(row: Row, plan: Plan, known: Known) -> Mill:
    values = row.values
    number = values["mill"]
    wanted = taken(values, MILL_NAMES)
    if values.get("place"):
        wanted["place"] = plan.look("place", known.place, values["place"])
    wanted["unit"] = row.unit(KINDS["mills"])
    if values.get("max_speed") is not None:
        wanted["max_speed_m_min"] = float(values["max_speed"])
    mill = known.mills.get(plain(number))
    if mill is not None:
        plan.edit(mill, f"mill {number}", **wanted)
        return mill
    for name in NEEDED:
        if values.get(name) is None:
            raise ToolingError(
                "missing_value",
                _("A new mill needs its {name}."),
                name=KINDS["mills"].field(name).label.lower(),
                in_field=name,
            )
    wanted["name"] = wanted["name"] or number
    if wanted.get("place") is None:
        wanted["place"] = _area(str(wanted["name"]), None, "area", plan, known)
    mill = known.mills[plain(number)] = plan.create(
        Mill, f"mill {number}", number=number, **said(wanted)
    )
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
    values: dict[str, Any], mill: Mill, plan: Plan, known: Known, machine: Machine
) -> Station:
    number = values["station"]
    wanted = taken(values, STATION_NAMES)
    key = (plain(mill.number), number)
    station = machine.stations.get(key)
    title = f"mill {mill.number} station {number}"
    code = values.get("station_code")
    if station is not None:
        plan.look("station_code", lambda text: check_label(station, text), code)
        plan.edit(station, title, **wanted)
        return station
    outer = mill.place or _area(mill.name, None, "area", plan, known)
    place = _area(f"Station {number}", outer, "station", plan, known)
    label = plan.look("station_code", lambda text: known.label(text, "M"), code) if code else ""
    station = plan.create(
        Station, title, code=label, mill=mill, number=number, place=place, **said(wanted)
    )
    machine.stations[key] = station
    return station


def _shaft(
    values: dict[str, Any], mill: Mill, station: Station, plan: Plan, machine: Machine
) -> None:
    wanted = taken(values, SHAFT_NAMES)
    wanted["drive_group"] = _group(values, mill, plan, machine)
    which, bank = values["shaft"], values.get("bank") or 1
    title = f"mill {mill.number} station {station.number} {which}"
    shaft = machine.shafts.get((station.pk, which, bank))
    if shaft is None:
        shaft = plan.create(
            MillShaft, title, station=station, which=which, bank=bank, **said(wanted)
        )
        machine.shafts[station.pk, which, bank] = shaft
    else:
        plan.edit(shaft, title, **wanted)
    plan.speak_of(shaft, title)


def _group(values: dict[str, Any], mill: Mill, plan: Plan, machine: Machine) -> DriveGroup | None:
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
