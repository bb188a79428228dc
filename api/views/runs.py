"""Runs of setups and the counters of mills. The codes are those of the pages."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.paging import SIZE, Keyset, asked_after, paged
from api.serializers.moments import MomentField
from api.serializers.runs import (
    CounterBatchIn,
    CounterMovedOut,
    CounterResultsOut,
    LengthOfRunIn,
    RunOut,
    RunPageOut,
    SetupRunIn,
    TakeRunBackIn,
)
from tooling.models import Run
from tooling.permissions import Verb
from tooling.queries.by_code import mill_of
from tooling.queries.counter_feed import counters_moved
from tooling.queries.runs import find_run, run_page, run_rows, views_of
from tooling.queries.setups import find_setup
from tooling.services import counter_readings, runs

WRITE = {"POST": Verb.RECORD_RUNS}
NARROW = ("mill", "set", "setup", "piece")


def _made(run: Run, status: int = 201) -> Response:
    return answer(RunPageOut, run_page(run.pk), status)


class Runs(Door):
    """What ran, the last first; POST puts a run on every piece that was mounted."""

    verbs = WRITE
    pagination_class = Keyset

    @extend_schema(
        responses=RunOut(many=True),
        parameters=[OpenApiParameter(name, str) for name in (*NARROW, "standing")],
    )
    def get(self, request: Request) -> Response:
        asked = {name: request.query_params.get(name, "")[:60] for name in NARROW}
        rows = run_rows(
            tool_set=asked.pop("set"),
            standing=request.query_params.get("standing", "1") != "0",
            **asked,
        ).order_by("-id")
        after = asked_after(request)
        if after.isdigit():
            rows = rows.filter(pk__lt=int(after))
        found = list(rows[: SIZE + 1])
        more = str(found[SIZE - 1].pk) if len(found) > SIZE else ""
        return paged(request, RunOut(views_of(found[:SIZE]), many=True).data, more)

    @extend_schema(request=SetupRunIn, responses={201: RunPageOut})
    def post(self, request: Request) -> Response:
        values = given(SetupRunIn, request)
        setup = find_setup(values.pop("setup"), bare=True)
        made = runs.record_run(by=by(request), at=timezone.now(), setup=setup, **values)
        return _made(made)


class OneRun(Door):
    """One run with what it put on each piece."""

    @extend_schema(responses=RunPageOut)
    def get(self, request: Request, number: int) -> Response:
        return answer(RunPageOut, run_page(number))


class CorrectRun(Door):
    """The run was otherwise: all that tells its length is said again."""

    verbs = WRITE

    @extend_schema(request=LengthOfRunIn, responses={201: RunPageOut})
    def post(self, request: Request, number: int) -> Response:
        values = given(LengthOfRunIn, request)
        run = find_run(number)
        return _made(runs.correct_run(by=by(request), at=timezone.now(), run=run, **values))


class TakeRunBack(Door):
    """It did not run."""

    verbs = WRITE

    @extend_schema(request=TakeRunBackIn, responses={201: RunPageOut})
    def post(self, request: Request, number: int) -> Response:
        values = given(TakeRunBackIn, request)
        run = find_run(number)
        return _made(runs.take_back(by=by(request), at=timezone.now(), run=run, **values))


class MillCounter(Door):
    """The feed of a mill's length counters. A batch may repeat, come late or out of order; GET says
    what each moved between ``since`` and ``until`` (left out: the last day)."""

    verbs = WRITE

    @extend_schema(
        responses=CounterMovedOut(many=True),
        parameters=[OpenApiParameter(name, str) for name in ("since", "until")],
    )
    def get(self, request: Request, number: str) -> Response:
        mill = mill_of(number)
        until = _moment(request, "until") or timezone.now()
        since = _moment(request, "since") or until - timedelta(days=1)
        return Response(
            CounterMovedOut(counters_moved(mill, since=since, until=until), many=True).data
        )

    @extend_schema(request=CounterBatchIn, responses=CounterResultsOut)
    def post(self, request: Request, number: str) -> Response:
        mill, values = mill_of(number), given(CounterBatchIn, request)
        results = counter_readings.record_counter(
            by=by(request),
            at=timezone.now(),
            mill=mill,
            readings=[each["reading"] for each in values["readings"]],
        )
        return answer(CounterResultsOut, {"results": results})


def _moment(request: Request, name: str) -> Any:
    text = request.query_params.get(name, "")
    return MomentField().run_validation(text) if text else None
