"""Gauges, gauge points, readings at them and wear. The codes are those of the pages."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.imports import TaskOut
from api.serializers.wear import (
    GaugeFactsIn,
    GaugeIn,
    GaugeOut,
    LifeRowOut,
    LifeSumsOut,
    PieceWearOut,
    PointIn,
    PointOut,
    PointReadingIn,
    PointReadingOut,
    PoolsOut,
    SheetRowOut,
    WearRowOut,
)
from tooling.models import Reading
from tooling.permissions import Verb
from tooling.queries.by_code import drawing_of, entry_of, gauge_of, piece_of
from tooling.queries.conformity import statement_of
from tooling.queries.gauge_points import points_of
from tooling.queries.life_money import life_page, life_rows
from tooling.queries.piece_wear import piece_wear
from tooling.queries.reading_sheet import Asked, reading_sheet
from tooling.queries.settings import setting_value
from tooling.queries.shop import gauge_list
from tooling.queries.wear import pools_page, wear_page
from tooling.queries.wear_lives import start_of
from tooling.services import gauge_points, gauges, wear_work
from tooling.services.point_readings import record_point_reading

EDIT = {"POST": Verb.EDIT_RECORDS, "PATCH": Verb.EDIT_RECORDS, "DELETE": Verb.EDIT_RECORDS}
ASKED = {"set": "tool_set", "copy": "copy", "kit": "kit", "place": "place", "piece": "piece",
         "drawing": "drawing"}  # fmt: skip


def _text(request: Request, name: str) -> str:
    return request.query_params.get(name, "").strip()[:60]


class Gauges(Door):
    """Gauges with their certificates."""

    verbs = EDIT

    @extend_schema(responses=GaugeOut(many=True))
    def get(self, request: Request) -> Response:
        return Response(GaugeOut(gauge_list(on=timezone.localdate()), many=True).data)

    @extend_schema(request=GaugeIn, responses={201: GaugeOut})
    def post(self, request: Request) -> Response:
        values = given(GaugeIn, request)
        made = gauges.create_gauge(by=by(request), at=timezone.now(), **values)
        return answer(GaugeOut, _gauge(made.number), 201)


class OneGauge(Door):
    """One gauge; its number stays."""

    verbs = EDIT

    @extend_schema(responses=GaugeOut)
    def get(self, request: Request, number: str) -> Response:
        return answer(GaugeOut, _gauge(gauge_of(number).number))

    @extend_schema(request=GaugeFactsIn, responses=GaugeOut)
    def patch(self, request: Request, number: str) -> Response:
        gauge, values = gauge_of(number), given(GaugeFactsIn, request)
        gauges.edit_gauge(by=by(request), at=timezone.now(), gauge=gauge, **values)
        return answer(GaugeOut, _gauge(gauge.number))


def _gauge(number: str) -> Any:
    return next(row for row in gauge_list(on=timezone.localdate()) if row.number == number)


class GaugePoints(Door):
    """Where pieces of a drawing are gauged; POST adds a point or changes the one of that name."""

    verbs = EDIT

    @extend_schema(responses=PointOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        return Response(PointOut(points_of(drawing_of(number).number), many=True).data)

    @extend_schema(request=PointIn, responses=PointOut(many=True))
    def post(self, request: Request, number: str) -> Response:
        drawing, values = drawing_of(number), given(PointIn, request)
        gauge_points.save_gauge_point(by=by(request), at=timezone.now(), drawing=drawing, **values)
        return self.get(request, number)


class OneGaugePoint(Door):
    """A point that is not gauged any more; its readings stay."""

    verbs = EDIT

    @extend_schema(responses=PointOut(many=True))
    def delete(self, request: Request, number: str, name: str) -> Response:
        drawing = drawing_of(number)
        gauge_points.stop_using(by=by(request), at=timezone.now(), drawing=drawing, name=name)
        return Response(PointOut(points_of(drawing.number), many=True).data)


class Readings(Door):
    """What is to be read (nothing asked: what is due); POST keeps one reading at a gauge point."""

    verbs = {"POST": Verb.RECORD_READINGS}

    @extend_schema(
        responses=SheetRowOut(many=True), parameters=[OpenApiParameter(name, str) for name in ASKED]
    )
    def get(self, request: Request) -> Response:
        asked = Asked(**{to: _text(request, name) for name, to in ASKED.items()})
        return Response(SheetRowOut(reading_sheet(asked).rows, many=True).data)

    @extend_schema(request=PointReadingIn, responses={201: PointReadingOut})
    def post(self, request: Request) -> Response:
        values = given(PointReadingIn, request)
        piece = piece_of(values.pop("piece"))
        point = gauge_points.find_gauge_point(piece.drawing, values.pop("point"))
        gauge, number = values.pop("gauge"), values.pop("corrects", None)
        body: Any = request.data
        unit = "in" if "value_in" in body else "mm"
        made = record_point_reading(
            by=by(request),
            at=timezone.now(),
            piece=piece,
            point=point,
            unit=unit,
            as_written=str(body.get(f"value_{unit}", ""))[:40],
            gauge=gauge_of(gauge) if gauge else None,
            corrects=entry_of(Reading, piece, number) if number else None,
            **values,
        )
        told = statement_of(
            point, made, on=timezone.localdate(), k=float(setting_value("guard_band")),
            new_nm=start_of(piece.pk, point, made.end),
        )  # fmt: skip
        made.conformity, made.uncertainty_nm = told.said, round(told.u_nm)  # type: ignore[attr-defined]
        return answer(PointReadingOut, made, 201)


class Wear(Door):
    """Gauge points ranked by what is left; ``class`` reckons all in one class of strip."""

    @extend_schema(
        responses=WearRowOut(many=True),
        parameters=[OpenApiParameter(name, str) for name in ("class", "set", "only")],
    )
    def get(self, request: Request) -> Response:
        page = wear_page(
            at=timezone.now(), chosen=_text(request, "class"), tool_set=_text(request, "set"),
            only=_text(request, "only"),
        )  # fmt: skip
        return Response(WearRowOut(page.rows, many=True).data)


class WearOfPiece(Door):
    """How one piece wears, point by point."""

    @extend_schema(responses=PieceWearOut, parameters=[OpenApiParameter("class", str)])
    def get(self, request: Request, code: str) -> Response:
        page = piece_wear(code, at=timezone.now(), chosen=_text(request, "class"))
        return answer(PieceWearOut, page)


class Pools(Door):
    """What was learned; POST asks the worker to learn anew."""

    verbs = EDIT

    @extend_schema(responses=PoolsOut)
    def get(self, request: Request) -> Response:
        return answer(PoolsOut, pools_page())

    @extend_schema(request=None, responses={202: TaskOut})
    def post(self, request: Request) -> Response:
        return answer(TaskOut, wear_work.ask_to_learn(by=by(request), at=timezone.now()), 202)


class Life(Door):
    """Life and money of every piece, or of one set's."""

    @extend_schema(responses=LifeRowOut(many=True), parameters=[OpenApiParameter("set", str)])
    def get(self, request: Request) -> Response:
        return Response(LifeRowOut(life_rows(tool_set=_text(request, "set")), many=True).data)


class LifeSums(Door):
    """Life and money summed up for every set, or for one, and for all pieces."""

    @extend_schema(responses=LifeSumsOut, parameters=[OpenApiParameter("set", str)])
    def get(self, request: Request) -> Response:
        return answer(LifeSumsOut, life_page(tool_set=_text(request, "set")))
