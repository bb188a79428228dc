"""Regrind plans by program: the same acts as on the pages, refused alike; when to send what."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.imports import TaskOut
from api.serializers.regrind_plans import (
    OWN_LENGTHS,
    BeginPlanIn,
    PinPieceIn,
    RegrindPlanOut,
    RegrindPlanRowOut,
    SettingsIn,
    WindowsOut,
    prices_in,
)
from tooling.models import RegrindPlan
from tooling.permissions import Verb
from tooling.queries.regrind_asks import Asks, PinAsked, asks_from
from tooling.queries.regrind_plan_page import plan_page
from tooling.queries.regrind_plans import find_copy, find_plan
from tooling.queries.regrind_when import when_page
from tooling.queries.regrinds import plan_rows
from tooling.services import regrind_plans

PLAIN = ("face_from_degrees", "ratio_percent", "horizon_days")
FLAGS = ("counts_life", "no_new", "keeps_slack", "hold_others")


class RegrindPlans(Door):
    """Plans that were not put aside, the newest first; a new one is worked out at once."""

    verbs = {"POST": Verb.PLAN_REGRINDS}

    @extend_schema(responses=RegrindPlanRowOut(many=True))
    def get(self, request: Request) -> Response:
        return Response(RegrindPlanRowOut(plan_rows(at=timezone.now()), many=True).data)

    @extend_schema(request=BeginPlanIn, responses={201: RegrindPlanOut})
    def post(self, request: Request) -> Response:
        values = given(BeginPlanIn, request)
        copies = [find_copy(name) for name in values["copies"]]
        plan = regrind_plans.start_plan(
            by=by(request), at=timezone.now(), copies=copies, name=values.get("name", ""),
            asks=_asks(Asks(), values),
        )  # fmt: skip
        return _plan(plan.number, 201)


class OneRegrindPlan(Door):
    """A plan with its answer; other settings are worked out at once."""

    verbs = {"PATCH": Verb.PLAN_REGRINDS}

    @extend_schema(responses=RegrindPlanOut)
    def get(self, request: Request, number: str) -> Response:
        return _plan(number)

    @extend_schema(request=SettingsIn, responses=RegrindPlanOut)
    def patch(self, request: Request, number: str) -> Response:
        plan = find_plan(number)
        asks = _asks(asks_from(plan.asks), given(SettingsIn, request))
        regrind_plans.change_plan(by=by(request), at=timezone.now(), plan=plan, asks=asks)
        return _plan(number)


class RegrindPlanPiece(Door):
    """What is settled for one piece of a plan."""

    verbs = {"PUT": Verb.PLAN_REGRINDS, "DELETE": Verb.PLAN_REGRINDS}

    @extend_schema(request=PinPieceIn, responses=RegrindPlanOut)
    def put(self, request: Request, number: str, code: str) -> Response:
        plan, values = find_plan(number), given(PinPieceIn, request)
        pin = PinAsked(values["decision"], values.get("to_nm"))
        return self._settled(request, plan, code, pin)

    @extend_schema(request=None, responses=RegrindPlanOut)
    def delete(self, request: Request, number: str, code: str) -> Response:
        return self._settled(request, find_plan(number), code, None)

    def _settled(
        self, request: Request, plan: RegrindPlan, code: str, pin: PinAsked | None
    ) -> Response:
        regrind_plans.pin_piece(by=by(request), at=timezone.now(), plan=plan, code=code, pin=pin)
        return _plan(plan.number)


class SolveRegrindPlan(Door):
    """Have a plan worked out from what is known now."""

    verbs = {"POST": Verb.PLAN_REGRINDS}

    @extend_schema(request=None, responses={202: TaskOut})
    def post(self, request: Request, number: str) -> Response:
        task = regrind_plans.ask_plan(by=by(request), at=timezone.now(), plan=find_plan(number))
        return answer(TaskOut, task, 202)


class DropRegrindPlan(Door):
    """Put a plan aside; it is kept."""

    verbs = {"POST": Verb.PLAN_REGRINDS}

    @extend_schema(request=None, responses=RegrindPlanOut)
    def post(self, request: Request, number: str) -> Response:
        regrind_plans.drop_plan(by=by(request), at=timezone.now(), plan=find_plan(number))
        return _plan(number)


class RegrindWindows(Door):
    """When to send which set, by urgency, with recut against replace."""

    @extend_schema(responses=WindowsOut)
    def get(self, request: Request) -> Response:
        return answer(WindowsOut, when_page(at=timezone.now()))


def _plan(number: str, status: int = 200) -> Response:
    return answer(
        RegrindPlanOut, plan_page(find_plan(number), at=timezone.now(), unit="mm"), status
    )


def _asks(before: Asks, values: dict[str, Any]) -> Asks:
    """What was asked before, with what the body names; a length of null is the shop's again."""
    own = dict(before.own)
    for name in (*(f"{each}_nm" for each in OWN_LENGTHS), *PLAIN):
        if name in values:
            own.pop(name, None)
            if values[name] is not None:
                own[name] = values[name]
    prices = {**before.prices, **prices_in(values)}
    flags = {name: values[name] for name in FLAGS if name in values}
    return replace(before, own=own, prices=prices, **flags)
