"""Mills with their stations and shafts, each station with its label and its own place."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    DriveGroup,
    Mill,
    MillShaft,
    Person,
    Place,
    PlaceKind,
    Station,
)
from tooling.permissions import Verb, check_can
from tooling.services import mill_in_use
from tooling.services.codes import next_codes
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.places import paths
from tooling.services.write import writing

MOST_STATIONS = 60
WHICH = ("top", "bottom")
DEFAULT_GROUP = "1"


def create_mill(
    *,
    by: Person,
    at: datetime,
    number: str,
    name: str,
    stations: int,
    station: dict[str, Any],
    shaft: dict[str, Any],
    **fields: Any,
) -> Mill:
    """A mill with stations 1 to N, all alike at first; each is put right on its own afterwards.

    ``station`` and ``shaft`` are the common values. Raises ``already_there``, ``absurd_count``,
    ``window_turned_round``, ``not_positive``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    for model, given in ((Mill, fields), (Station, station), (MillShaft, shaft)):
        require_fields(model, given)
    number = require_text(number, field="number", label=_("Mill number"), longest=20)
    name = require_text(name, field="name", label=_("Name"), longest=80)
    if not 1 <= stations <= MOST_STATIONS:
        raise ToolingError(
            "absurd_count",
            _("A mill of {count} stations cannot be entered; 1 to {most}."),
            count=stations,
            most=MOST_STATIONS,
            in_field="stations",
        )
    _check_window(fields, "closing_least_nm", "closing_most_nm")
    _check_station(station)
    _check_shaft(shaft)
    with writing():
        _refuse_taken(number)
        place = _area(by=by, at=at, name=name)
        mill = Mill.objects.create(number=number, name=name, place=place, **fields)
        record_creation(
            by=by,
            at=at,
            row=mill,
            key=number,
            fields={**fields, "number": number, "name": name, "stations": stations},
        )
        group = DriveGroup.objects.create(mill=mill, name=DEFAULT_GROUP)
        _add_stations(mill=mill, count=stations, station=station, shaft=shaft, group=group)
    return mill


def edit_mill(*, by: Person, at: datetime, mill: Mill, **fields: Any) -> Mill:
    """Change what holds for the whole machine. The number stays. Raises ``window_turned_round``,
    ``mill_in_use``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(Mill, fields)
    if "name" in fields:
        fields["name"] = require_text(fields["name"], field="name", label=_("Name"), longest=80)
    with writing():
        fresh = Mill.objects.select_for_update().get(pk=mill.pk)
        merged = {f.attname: getattr(fresh, f.attname) for f in fresh._meta.fields} | fields
        _check_window(merged, "closing_least_nm", "closing_most_nm")
        mill_in_use.check_mill(fresh, fields)
        apply_edit(by=by, at=at, row=fresh, key=fresh.number, fields=fields)
    return fresh


def edit_station(*, by: Person, at: datetime, station: Station, **fields: Any) -> Station:
    """Change one station's centres, ratio, room … Raises ``window_turned_round``,
    ``not_positive``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(Station, fields)
    with writing():
        fresh = Station.objects.select_for_update().get(pk=station.pk)
        merged = {f.attname: getattr(fresh, f.attname) for f in fresh._meta.fields} | fields
        _check_station(merged)
        mill_in_use.check_station(fresh)
        apply_edit(by=by, at=at, row=fresh, key=fresh.code, fields=fields)
    return fresh


def edit_shaft(*, by: Person, at: datetime, shaft: MillShaft, **fields: Any) -> MillShaft:
    """Change one shaft. Raises ``not_positive``, ``key_as_wide_as_shaft``, ``other_mill``,
    ``mill_in_use``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(MillShaft, fields)
    with writing():
        rows = MillShaft.objects.select_for_update().select_related("station__mill")
        fresh = rows.get(pk=shaft.pk)
        merged = {f.attname: getattr(fresh, f.attname) for f in fresh._meta.fields} | fields
        _check_shaft(merged)
        group = fields.get("drive_group")
        if group is not None and group.mill_id != fresh.station.mill_id:
            raise Conflict("other_mill", _("That drive group belongs to another mill."))
        mill_in_use.check_shaft(fresh, fields)
        key = f"{fresh.station.code} {fresh.which}"
        apply_edit(by=by, at=at, row=fresh, key=key, fields=fields)
    return fresh


def save_drive_group(
    *, by: Person, at: datetime, mill: Mill, name: str, rpm_factor: float
) -> DriveGroup:
    """A group of shafts that turn together, by name; its factor against the line's rpm."""
    check_can(by, Verb.EDIT_RECORDS)
    name = require_text(name, field="name", label=_("Drive group"), longest=20)
    if not 0.01 <= rpm_factor <= 100:
        raise ToolingError(
            "absurd_factor",
            _("An rpm factor of {factor} is not possible; write 0.01 to 100."),
            factor=rpm_factor,
            in_field="rpm_factor",
        )
    with writing():
        group, made = DriveGroup.objects.get_or_create(
            mill=mill, name=name, defaults={"rpm_factor": rpm_factor}
        )
        key = f"{mill.number} {name}"
        if made:
            fields = {"name": name, "rpm_factor": rpm_factor}
            record_creation(by=by, at=at, row=group, key=key, fields=fields)
        else:
            apply_edit(by=by, at=at, row=group, key=key, fields={"rpm_factor": rpm_factor})
    return group


def _add_stations(
    *, mill: Mill, count: int, station: dict[str, Any], shaft: dict[str, Any], group: DriveGroup
) -> None:
    place_codes = next_codes(kind="P", count=count)
    codes = next_codes(kind="M", count=count)
    places = []
    for n, code in enumerate(place_codes, start=1):
        name = f"{mill.number} station {n}"
        path, path_name = paths(code=code, name=name, parent=mill.place)
        places.append(
            Place(
                code=code,
                kind=PlaceKind.STATION,
                name=name,
                parent=mill.place,
                walking_order=n,
                path=path,
                path_name=path_name,
            )
        )
    places = Place.objects.bulk_create(places)
    stations = Station.objects.bulk_create(
        Station(code=code, mill=mill, number=n, place=place, **station)
        for n, (code, place) in enumerate(zip(codes, places, strict=True), start=1)
    )
    MillShaft.objects.bulk_create(
        MillShaft(station=each, which=which, drive_group=group, **shaft)
        for each in stations
        for which in WHICH
    )


def _area(*, by: Person, at: datetime, name: str) -> Place:
    if Place.objects.filter(parent=None, name=name).exists():
        raise already_there(label=_("Place"), text=name, field="name")
    code = next_codes(kind="P")[0]
    path, path_name = paths(code=code, name=name, parent=None)
    place = Place.objects.create(
        code=code, kind=PlaceKind.AREA, name=name, path=path, path_name=path_name
    )
    record_creation(by=by, at=at, row=place, key=code, fields={"name": name, "kind": "area"})
    return place


def _refuse_taken(number: str) -> None:
    if Mill.objects.filter(number__iexact=number).exists():
        raise already_there(label=_("Mill"), text=number, field="number")


def _check_window(values: dict[str, Any], least: str, most: str) -> None:
    low, high = values.get(least), values.get(most)
    if low is not None and high is not None and low > high:
        raise ToolingError(
            "window_turned_round",
            _("The least is larger than the most. Exchange the two."),
            in_field=least,
        )


def _check_positive(values: dict[str, Any], *names: str) -> None:
    for name in names:
        value = values.get(name)
        if value is not None and value <= 0:
            raise ToolingError(
                "not_positive",
                _("{what} must be above nothing."),
                what=name.removesuffix("_nm").replace("_", " ").capitalize(),
                in_field=name,
            )


def _check_station(values: dict[str, Any]) -> None:
    _check_window(values, "vertical_least_nm", "vertical_most_nm")
    names = ("centre_to_next_nm", "vertical_least_nm", "vertical_most_nm", "gear_ratio")
    _check_positive(values, *names, "screw_lead_nm", "stand_clearance_nm")


def _check_shaft(values: dict[str, Any]) -> None:
    _check_positive(values, "diameter_nm", "roll_space_nm", "key_width_nm", "key_height_nm")
    width = values.get("key_width_nm")
    if width is not None and width >= values["diameter_nm"]:
        raise ToolingError(
            "key_as_wide_as_shaft",
            _("The key is as wide as the shaft. Check both numbers and their units."),
            in_field="key_width_nm",
        )
