"""What a set consists of: passes, positions, variants, copies with their pieces, charts."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, by, given
from api.serializers.sets import (
    AllotIn,
    ChartPassIn,
    CopyIn,
    CreateChartIn,
    PassIn,
    PositionIn,
    SetDetailOut,
    VariantIn,
)
from api.views.sets import set_answer
from tooling.permissions import Verb
from tooling.queries.by_code import (
    chart_of,
    copy_of,
    drawing_of,
    mill_of,
    owner_of,
    pass_of,
    piece_of,
    place_of,
    position_of,
    set_of,
    station_of,
    variant_of,
)
from tooling.services import allotments, charts, sets


class Passes(Door):
    """Add a pass, or change the one of that number."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=PassIn, responses=SetDetailOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), given(PassIn, request)
        sets.save_pass(by=by(request), at=timezone.now(), tool_set=row, **values)
        return set_answer(row.number)


class Positions(Door):
    """Say what a position calls for; the same position again changes it."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=PositionIn, responses=SetDetailOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), given(PositionIn, request)
        variant = values.pop("variant", None)
        sets.save_position(
            by=by(request),
            at=timezone.now(),
            set_pass=pass_of(row, values.pop("number")),
            drawing=drawing_of(values.pop("drawing")),
            variant=variant_of(row, variant) if variant else None,
            **values,
        )
        return set_answer(row.number)


class Variants(Door):
    """Add a named width or hand."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=VariantIn, responses={201: SetDetailOut})
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), given(VariantIn, request)
        sets.add_variant(by=by(request), at=timezone.now(), tool_set=row, **values)
        return set_answer(row.number, 201)


class Copies(Door):
    """Add a further copy: A, B …"""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=CopyIn, responses={201: SetDetailOut})
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), _with_rows(given(CopyIn, request))
        sets.add_copy(by=by(request), at=timezone.now(), tool_set=row, **values)
        return set_answer(row.number, 201)


class Allotments(Door):
    """Say which piece normally fills a position of a copy; the one before steps back."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=AllotIn, responses=SetDetailOut)
    def post(self, request: Request, number: str, letter: str) -> Response:
        row, values = set_of(number), given(AllotIn, request)
        piece = piece_of(values.pop("piece"))
        values["variant"] = values.get("variant") or ""
        allotments.allot(
            by=by(request),
            at=timezone.now(),
            copy=copy_of(row, letter),
            position=position_of(row, **values),
            piece=piece,
        )
        return set_answer(row.number)


class Charts(Door):
    """Make the set's chart for a mill."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=CreateChartIn, responses={201: SetDetailOut})
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), given(CreateChartIn, request)
        mill = mill_of(values.pop("mill"))
        charts.create_chart(by=by(request), at=timezone.now(), tool_set=row, mill=mill, **values)
        return set_answer(row.number, 201)


class ChartPass(Door):
    """Put a pass of a chart at a station; the chart has to be proved again."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(request=ChartPassIn, responses=SetDetailOut)
    def patch(self, request: Request, number: str, mill: str, set_pass: int) -> Response:
        row, values = set_of(number), given(ChartPassIn, request)
        chart = chart_of(row, mill_of(mill))
        charts.place_pass(
            by=by(request),
            at=timezone.now(),
            chart=chart,
            set_pass=pass_of(row, set_pass),
            station=station_of(chart.mill, values.pop("station")),
            **values,
        )
        return set_answer(row.number)


def _with_rows(values: dict[str, Any]) -> dict[str, Any]:
    """Codes as the rows they name."""
    if "home" in values:
        values["home"] = place_of(values["home"]) if values["home"] else None
    if "owner" in values:
        values["owner"] = owner_of(values["owner"]) if values["owner"] else None
    return values
