"""A mill's next changeover and the best order of its jobs; its checks and rules."""

from __future__ import annotations

from dataclasses import fields

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.changeovers import (
    ChangedOut,
    ChangeoverOut,
    CheckIn,
    MovedOut,
    OfMillIn,
    OnMillOut,
    RuleIn,
    RuleOut,
    SettleOrderIn,
    ZeroedIn,
)
from api.serializers.imports import TaskOut
from tooling.models import Mill, MillRule
from tooling.permissions import Verb
from tooling.queries.by_code import mill_of, row_of
from tooling.queries.changeovers import changeover
from tooling.queries.job_order import proposal
from tooling.queries.on_mill import on_mill
from tooling.services import job_order
from tooling.services import mill_care as services

MILL = OpenApiParameter("mill", OpenApiTypes.STR, required=True)


class Changeovers(Door):
    """What the next job changes on a mill, and the newest order of its jobs."""

    @extend_schema(parameters=[MILL], responses=ChangeoverOut)
    def get(self, request: Request) -> Response:
        return _changeover(mill_of(request.query_params.get("mill", "")))


def _changeover(mill: Mill) -> Response:
    page = changeover(mill, at=timezone.now())
    shown = {each.name: getattr(page, each.name) for each in fields(page)}
    return answer(ChangeoverOut, {**shown, "order": proposal(mill)})


class AskOrder(Door):
    """Have the best order of a mill's jobs worked out; read it with the mill's changeover."""

    verbs = {"POST": Verb.PLAN_JOBS}

    @extend_schema(request=OfMillIn, responses={202: TaskOut})
    def post(self, request: Request) -> Response:
        mill = mill_of(given(OfMillIn, request)["mill"])
        return answer(
            TaskOut, job_order.ask_order(by=by(request), at=timezone.now(), mill=mill), 202
        )


class AcceptOrder(Door):
    """Move the jobs to where the order has them, all or none."""

    verbs = {"POST": Verb.PLAN_JOBS}

    @extend_schema(request=SettleOrderIn, responses=MovedOut)
    def post(self, request: Request) -> Response:
        values = given(SettleOrderIn, request)
        moved = job_order.accept_order(
            by=by(request), at=timezone.now(), mill=mill_of(values["mill"]), task=values["task"]
        )
        return answer(MovedOut, {"moved": [job.number for job in moved]})


class KeepOrder(Door):
    """The planner's own order stays."""

    verbs = {"POST": Verb.PLAN_JOBS}

    @extend_schema(request=SettleOrderIn, responses=ChangeoverOut)
    def post(self, request: Request) -> Response:
        values = given(SettleOrderIn, request)
        mill = mill_of(values["mill"])
        job_order.keep_order(by=by(request), at=timezone.now(), mill=mill, task=values["task"])
        return _changeover(mill)


class OnIt(Door):
    """What stands on a mill, station by station, from the shoulder."""

    @extend_schema(responses=OnMillOut)
    def get(self, request: Request, number: str) -> Response:
        return answer(OnMillOut, on_mill(mill_of(number).number))


class Checks(Door):
    """Stations aligned, end play or shoulder offsets measured, many at once."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=CheckIn, responses=ChangedOut)
    def post(self, request: Request, number: str) -> Response:
        mill, values = mill_of(number), given(CheckIn, request)
        n = services.note_check(by=by(request), at=timezone.now(), mill=mill, **values)
        return answer(ChangedOut, {"changed": n})


class Zeroed(Door):
    """The screws of stations read from a new zero."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(request=ZeroedIn, responses=ChangedOut)
    def post(self, request: Request, number: str) -> Response:
        """Older positions are struck out from now on; ``take_back`` makes them hold again."""
        mill, values = mill_of(number), given(ZeroedIn, request)
        act = services.take_zero_back if values["take_back"] else services.zero_screws
        n = act(by=by(request), at=timezone.now(), mill=mill, stations=values.get("stations"))
        return answer(ChangedOut, {"changed": n})


class Rules(Door):
    """A mill's rules for the order of jobs."""

    verbs = {"POST": Verb.PLAN_JOBS}

    @extend_schema(responses=RuleOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        rows = MillRule.objects.filter(mill=mill_of(number))
        return Response(RuleOut(rows, many=True).data)

    @extend_schema(request=RuleIn, responses={201: RuleOut})
    def post(self, request: Request, number: str) -> Response:
        mill, values = mill_of(number), given(RuleIn, request)
        rule = services.add_rule(by=by(request), at=timezone.now(), mill=mill, **values)
        return answer(RuleOut, rule, 201)


class OneRule(Door):
    """Remove a rule."""

    verbs = {"DELETE": Verb.PLAN_JOBS}

    @extend_schema(responses={204: None})
    def delete(self, request: Request, number: str, rule: int) -> Response:
        row = row_of(MillRule.objects.filter(mill=mill_of(number)), rule)
        services.remove_rule(by=by(request), at=timezone.now(), rule=row)
        return Response(status=204)
