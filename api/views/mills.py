"""Mills, stations and shafts."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import MillFilter
from api.paging import Keyset
from api.serializers.mills import (
    SHAFTS,
    CreateMillIn,
    EditMillIn,
    EditShaftIn,
    EditStationIn,
    GroupIn,
    MillDetailOut,
    MillOut,
)
from tooling.permissions import Verb
from tooling.queries.by_code import group_of, mill_of, shaft_of, station_of
from tooling.queries.record_rows import mills, mills_in_full
from tooling.services import mills as services

STATION = ("centre_to_next_nm", "vertical_least_nm", "vertical_most_nm")
SHAFT = ("diameter_nm", "roll_space_nm", "key_width_nm", "key_height_nm", "shoulder_offset_nm")
WHICH = OpenApiParameter(
    "which", OpenApiTypes.STR, OpenApiParameter.PATH, enum=[name for name, _word in SHAFTS]
)


class Mills(ListDoor):
    """Mills by number."""

    key = "number"
    verbs = {"POST": Verb.EDIT_RECORDS}
    queryset = mills()
    filter_backends = [DjangoFilterBackend]
    filterset_class = MillFilter
    pagination_class = Keyset

    @extend_schema(responses=MillOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(MillOut)

    @extend_schema(request=CreateMillIn, responses={201: MillDetailOut})
    def post(self, request: Request) -> Response:
        """A mill with its stations, all alike at first."""
        values = given(CreateMillIn, request)
        made = services.create_mill(
            by=by(request),
            at=timezone.now(),
            station=_taken(values, STATION),
            shaft=_taken(values, SHAFT),
            **values,
        )
        return _mill(made.number, 201)


class OneMill(Door):
    """One mill with its stations and shafts."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(responses=MillDetailOut)
    def get(self, request: Request, number: str) -> Response:
        return _mill(mill_of(number).number)

    @extend_schema(request=EditMillIn, responses=MillDetailOut)
    def patch(self, request: Request, number: str) -> Response:
        """Change what holds for the whole machine."""
        mill, values = mill_of(number), given(EditMillIn, request)
        services.edit_mill(by=by(request), at=timezone.now(), mill=mill, **values)
        return _mill(mill.number)


class OneStation(Door):
    """Change one station's centres, ratio or room."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(request=EditStationIn, responses=MillDetailOut)
    def patch(self, request: Request, number: str, station: int) -> Response:
        mill = mill_of(number)
        row, values = station_of(mill, station), given(EditStationIn, request)
        services.edit_station(by=by(request), at=timezone.now(), station=row, **values)
        return _mill(mill.number)


class OneShaft(Door):
    """Change one shaft."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(
        operation_id="mills_shafts_partial_update",
        parameters=[WHICH],
        request=EditShaftIn,
        responses=MillDetailOut,
    )
    def patch(self, request: Request, number: str, station: int, which: str) -> Response:
        mill, values = mill_of(number), given(EditShaftIn, request)
        row = shaft_of(station_of(mill, station), which, values.pop("bank"))
        if "drive_group" in values:
            name = values["drive_group"]
            values["drive_group"] = group_of(mill, name) if name else None
        services.edit_shaft(by=by(request), at=timezone.now(), shaft=row, **values)
        return _mill(mill.number)


class DriveGroups(Door):
    """Save a drive group by its name."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=GroupIn, responses=MillDetailOut)
    def post(self, request: Request, number: str) -> Response:
        mill, values = mill_of(number), given(GroupIn, request)
        services.save_drive_group(by=by(request), at=timezone.now(), mill=mill, **values)
        return _mill(mill.number)


def _taken(values: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: values.pop(name) for name in names if name in values}


def _mill(number: str, status: int = 200) -> Response:
    return answer(MillDetailOut, mills_in_full().get(number=number), status)
