"""Counts: open, count, take back, close, drop; the plan and the record of accuracy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.counts import (
    AccuracyOut,
    CloseCountIn,
    CountEntriesIn,
    CountPlanOut,
    CountRowOut,
    DropCountIn,
    MissingOut,
    OneCountOut,
    OpenCountIn,
    TickRowIn,
)
from api.serializers.scans import ScanBatchOutSerializer
from tooling.permissions import Verb
from tooling.queries.by_code import copy_of, owner_of, place_of, set_of
from tooling.queries.count_accuracy import accuracy_record
from tooling.queries.count_candidates import missing_pieces
from tooling.queries.count_plan import count_plan
from tooling.queries.count_state import state_of
from tooling.queries.counts import count_list, count_sheet, find_count
from tooling.services import count_close, count_entries
from tooling.services import counts as services
from tooling.services.badge_scans import record_without_badges
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import ScanResult

PAGE = 100


class Counts(Door):
    """Counts, the newest first."""

    verbs = {"POST": Verb.CLOSE_COUNTS}

    @extend_schema(
        responses=CountRowOut(many=True),
        parameters=[
            OpenApiParameter("state", str, description="open, closed or dropped"),
            OpenApiParameter("place", str, description="A place's label code."),
            OpenApiParameter("owner", str, description="An owner's code."),
            OpenApiParameter("before", int, description="Older than this number."),
        ],
    )
    def get(self, request: Request) -> Response:
        """A hundred at most; ``before`` leads to the older ones."""
        asked = {key: request.query_params.get(key, "").replace("\x00", "")[:40]
                 for key in ("state", "place", "owner", "before")}  # fmt: skip
        before = asked.pop("before")
        older = int(before) if before.isascii() and before.isdigit() else None
        rows = count_list(**asked, before=older, most=PAGE)
        return Response(CountRowOut(rows, many=True).data)

    @extend_schema(request=OpenCountIn, responses={201: OneCountOut})
    def post(self, request: Request) -> Response:
        """Begin a count; what is expected is written down."""
        values = given(OpenCountIn, request)
        subject: dict[str, Any] = {}
        if "place" in values:
            subject["place"] = place_of(values["place"])
        if "owner" in values:
            subject["owner"] = owner_of(values["owner"])
        if "set" in values:
            subject["set_copy"] = copy_of(set_of(values["set"]), values.get("copy", ""))
        count = services.open_count(
            by=by(request), at=timezone.now(), note=values["note"], **subject
        )
        return _count(count.number, 201)


class OneCount(Door):
    """One count with every piece and bin."""

    @extend_schema(responses=OneCountOut)
    def get(self, request: Request, number: int) -> Response:
        return _count(number)


class CountEntries(Door):
    """A batch of marks. Every one is answered by its id; sending it again changes nothing."""

    verbs = {"POST": Verb.TAKE_COUNTS}

    @extend_schema(request=CountEntriesIn, responses=ScanBatchOutSerializer)
    def post(self, request: Request, number: int) -> Response:
        count, values = find_count(number), given(CountEntriesIn, request)
        at, scans = timezone.now(), [ScanIn(**scan) for scan in values["scans"]]

        def record_batch(rest: Sequence[ScanIn]) -> list[ScanResult]:
            return count_entries.record_batch(
                by=by(request), at=at, count=count, device=values["device"],
                device_now=values["device_now"], scans=rest,
            )  # fmt: skip

        results = record_without_badges(by=by(request), scans=scans, record=record_batch)
        return Response({"results": [asdict(result) for result in results]})


class CountTickRow(Door):
    """Everything that is missing at one place is there."""

    verbs = {"POST": Verb.TAKE_COUNTS}

    @extend_schema(request=TickRowIn, responses=OneCountOut)
    def post(self, request: Request, number: int) -> Response:
        count, place = find_count(number), place_of(given(TickRowIn, request)["place"])
        count_entries.tick_row(by=by(request), at=timezone.now(), count=count, place=place)
        return _count(number)


class CountMissing(Door):
    """What is missing, with where it was last seen and where it may be."""

    @extend_schema(responses=MissingOut(many=True))
    def get(self, request: Request, number: int) -> Response:
        rows = missing_pieces(state_of(find_count(number)))
        return Response(MissingOut(rows, many=True).data)


class CloseCount(Door):
    """End a count: what is missing is lost, bins are corrected, owners are owed reports."""

    verbs = {"POST": Verb.CLOSE_COUNTS}

    @extend_schema(request=CloseCountIn, responses=OneCountOut)
    def post(self, request: Request, number: int) -> Response:
        count, values = find_count(number), given(CloseCountIn, request)
        count_close.close(by=by(request), at=timezone.now(), count=count, **values)
        return _count(number)


class DropCount(Door):
    """End a count as if it had not been."""

    verbs = {"POST": Verb.CLOSE_COUNTS}

    @extend_schema(request=DropCountIn, responses=OneCountOut)
    def post(self, request: Request, number: int) -> Response:
        count, values = find_count(number), given(DropCountIn, request)
        services.drop(by=by(request), at=timezone.now(), count=count, **values)
        return _count(number)


class CountPlanDoor(Door):
    """When to count what: places by how often things move, owners' tooling."""

    @extend_schema(responses=CountPlanOut)
    def get(self, request: Request) -> Response:
        return answer(CountPlanOut, count_plan(at=timezone.now()))


class CountAccuracy(Door):
    """Found of expected: over time, per place, per count."""

    @extend_schema(responses=AccuracyOut)
    def get(self, request: Request) -> Response:
        return answer(AccuracyOut, accuracy_record())


def _count(number: int, status: int = 200) -> Response:
    return answer(OneCountOut, count_sheet(number), status)
