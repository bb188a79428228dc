"""What a set and its charts say beside rolls: middle fills, characteristics, named settings."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, by, given
from api.serializers.sets import AxisIn, CharacteristicIn, MiddleFillIn, SetDetailOut
from api.views.sets import set_answer
from tooling.permissions import Verb
from tooling.queries.by_code import chart_pass_of, mill_of, pass_of, set_of
from tooling.services import characteristics, chart_axes, set_fills


class Fills(Door):
    """Say what stands between two rolls of a shaft; the same spot again changes it."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=MiddleFillIn, responses=SetDetailOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), given(MiddleFillIn, request)
        set_pass = pass_of(row, values.pop("number"))
        set_fills.save_fill(by=by(request), at=timezone.now(), set_pass=set_pass, **values)
        return set_answer(row.number)


class OneFill(Door):
    """A fill that the drawings do not call for any more."""

    verbs = {"DELETE": Verb.EDIT_RECORDS}

    @extend_schema(responses=SetDetailOut)
    def delete(
        self, request: Request, number: str, set_pass: int, shaft: str, after_order: int
    ) -> Response:
        row = set_of(number)
        set_fills.remove_fill(
            by=by(request), at=timezone.now(), set_pass=pass_of(row, set_pass), shaft=shaft,
            after_order=after_order,
        )  # fmt: skip
        return set_answer(row.number)


class Characteristics(Door):
    """Say what is checked on the first piece; the same name again changes it."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=CharacteristicIn, responses=SetDetailOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = set_of(number), given(CharacteristicIn, request)
        characteristics.save_characteristic(
            by=by(request), at=timezone.now(), tool_set=row, **values
        )
        return set_answer(row.number)


class OneCharacteristic(Door):
    """What is not checked any more."""

    verbs = {"DELETE": Verb.EDIT_RECORDS}

    @extend_schema(responses=SetDetailOut)
    def delete(self, request: Request, number: str, name: str) -> Response:
        row = set_of(number)
        characteristics.remove_characteristic(
            by=by(request), at=timezone.now(), tool_set=row, name=name
        )
        return set_answer(row.number)


class Axes(Door):
    """Say another setting of a charted pass; the same name again changes it."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=AxisIn, responses=SetDetailOut)
    def post(self, request: Request, number: str, mill: str, set_pass: int) -> Response:
        row, values = set_of(number), given(AxisIn, request)
        chart_pass = chart_pass_of(row, mill_of(mill), set_pass)
        chart_axes.save_axis(by=by(request), at=timezone.now(), chart_pass=chart_pass, **values)
        return set_answer(row.number)


class OneAxis(Door):
    """A setting that is not set any more."""

    verbs = {"DELETE": Verb.EDIT_RECORDS}

    @extend_schema(responses=SetDetailOut)
    def delete(
        self, request: Request, number: str, mill: str, set_pass: int, name: str
    ) -> Response:
        row = set_of(number)
        chart_pass = chart_pass_of(row, mill_of(mill), set_pass)
        chart_axes.remove_axis(by=by(request), at=timezone.now(), chart_pass=chart_pass, name=name)
        return set_answer(row.number)
