"""Orders for work on pieces by program: the same acts as on the pages, refused alike."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, confirm, given
from api.serializers.regrind_orders import (
    BackIn,
    ChangeRegrindLineIn,
    DropIn,
    EditRegrindOrderIn,
    ForJobIn,
    JudgedOut,
    LeadTimeOut,
    OrderMarksIn,
    RegrindLineIn,
    RegrindOrderOut,
    RegrindOrderRowOut,
    ReleaseIn,
    RequestIn,
    SendIn,
    targets_in,
)
from tooling.models import Job, Piece, Place
from tooling.permissions import Verb
from tooling.queries.by_code import copy_of, piece_of, place_of, set_of
from tooling.queries.lead_times import lead_times
from tooling.queries.regrind_order_page import order_page
from tooling.queries.regrind_orders import (
    ended_orders,
    find_order,
    find_order_line,
    order_lists,
)
from tooling.queries.release_part import judge_part
from tooling.services import regrind_order_moves, regrind_orders, regrind_release
from tooling.services.purchases import read_price
from tooling.services.regrind_asked import asked_lines
from tooling.services.regrind_targets import OrderLineIn
from tooling.web.rows import get_job


class RegrindOrders(Door):
    """Open orders, the first due first; ``?ended=1``: those that are over."""

    verbs = {"POST": Verb.ORDER_REGRINDS}

    @extend_schema(responses=RegrindOrderRowOut(many=True))
    def get(self, request: Request) -> Response:
        today = timezone.localdate()
        if request.query_params.get("ended", "") in ("1", "true"):
            rows = list(ended_orders(today=today))
        else:
            found = order_lists(today=today)
            rows = [*found.to_release, *found.out, *found.to_send]
        return Response(RegrindOrderRowOut(rows, many=True).data)

    @extend_schema(request=RequestIn, responses={201: RegrindOrderOut})
    def post(self, request: Request) -> Response:
        values = given(RequestIn, request)
        asked = asked_lines(
            codes=values["codes"], copy=_copy(values), plan_number=values["plan"],
            kinds=values["kinds"], take_off_nm=values.get("take_off_nm"),
            tolerance_nm=values.get("tolerance_nm"),
        )  # fmt: skip
        lines = [*(_line(dict(line)) for line in values["lines"]), *asked.lines]
        made = regrind_orders.request_order(
            by=by(request), at=timezone.now(), lines=lines, plan=asked.plan,
            vendor=_place(values["vendor"]), due_on=values.get("due_on"),
            price_cents=read_price(values["price"]), note=values["note"],
            leave_out=values["leave_out"],
        )  # fmt: skip
        return _order(made.number, 201)


class OneRegrindOrder(Door):
    """One order: its pieces, their sizes, and what it does to every set that uses them."""

    verbs = {"PATCH": Verb.ORDER_REGRINDS}

    @extend_schema(responses=RegrindOrderOut)
    def get(self, request: Request, number: str) -> Response:
        return _order(number)

    @extend_schema(request=EditRegrindOrderIn, responses=RegrindOrderOut)
    def patch(self, request: Request, number: str) -> Response:
        values = given(EditRegrindOrderIn, request)
        if "vendor" in values:
            values["vendor"] = _place(values["vendor"])
        if "price" in values:
            values["price_cents"] = read_price(values.pop("price"))
        row = find_order(number)
        regrind_orders.edit_order(by=by(request), at=timezone.now(), order=row, **values)
        return _order(row.number)


class RegrindOrderLines(Door):
    """A further piece."""

    verbs = {"POST": Verb.ORDER_REGRINDS}

    @extend_schema(request=RegrindLineIn, responses={201: RegrindOrderOut})
    def post(self, request: Request, number: str) -> Response:
        row, line = find_order(number), _line(given(RegrindLineIn, request))
        regrind_orders.add_line(by=by(request), at=timezone.now(), order=row, line=line)
        return _order(row.number, 201)


class OneRegrindOrderLine(Door):
    """Other work or targets for a piece, or take it off the order."""

    verbs = {"PUT": Verb.ORDER_REGRINDS, "DELETE": Verb.ORDER_REGRINDS}

    @extend_schema(request=ChangeRegrindLineIn, responses=RegrindOrderOut)
    def put(self, request: Request, number: str, code: str) -> Response:
        row, values = find_order_line(find_order(number), code), given(ChangeRegrindLineIn, request)
        reason = values.pop("reason")
        line = _line_of(row.piece, values)
        regrind_orders.change_line(
            by=by(request), at=timezone.now(), row=row, line=line, reason=reason
        )
        return _order(row.order.number)

    @extend_schema(responses=RegrindOrderOut)
    def delete(self, request: Request, number: str, code: str) -> Response:
        row = find_order_line(find_order(number), code)
        regrind_orders.remove_line(by=by(request), at=timezone.now(), row=row)
        return _order(row.order.number)


class SendRegrindOrder(Door):
    """The pieces leave; without codes all that were not sent."""

    verbs = {"POST": Verb.SEND_REGRINDS}

    @extend_schema(request=SendIn, responses=RegrindOrderOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = find_order(number), given(SendIn, request)
        regrind_order_moves.send(by=by(request), at=timezone.now(), order=row, **values)
        return _order(row.number)


class BackFromWork(Door):
    """Pieces came back."""

    verbs = {"POST": Verb.SEND_REGRINDS}

    @extend_schema(request=BackIn, responses=RegrindOrderOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = find_order(number), given(BackIn, request)
        values["to"], values["cost_cents"] = _place(values["to"]), read_price(values.pop("cost"))
        regrind_order_moves.take_back(by=by(request), at=timezone.now(), order=row, **values)
        return _order(row.number)


class OrderMarks(Door):
    """The marks of these pieces can be read again."""

    verbs = {"POST": Verb.SEND_REGRINDS}

    @extend_schema(request=OrderMarksIn, responses=RegrindOrderOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = find_order(number), given(OrderMarksIn, request)
        regrind_order_moves.see_mark(by=by(request), at=timezone.now(), order=row, **values)
        return _order(row.number)


class ReleaseRegrindOrder(Door):
    """What the release asks (GET; ``codes``: of these pieces alone), and the release itself."""

    verbs = {"POST": Verb.RELEASE_REGRINDS}

    @extend_schema(responses=JudgedOut, parameters=[OpenApiParameter("codes", str)])
    def get(self, request: Request, number: str) -> Response:
        codes = [each for each in request.query_params.get("codes", "").split(",") if each.strip()]
        if codes:
            return answer(JudgedOut, judge_part(number, codes, timezone.now()))
        return answer(JudgedOut, order_page(number, at=timezone.now()).judged)

    @extend_schema(request=ReleaseIn, responses=RegrindOrderOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = find_order(number), given(ReleaseIn, request)
        confirm(request)
        regrind_release.release(by=by(request), at=timezone.now(), order=row, **values)
        return _order(row.number)


class ReleaseForJob(Door):
    """One job may have the pieces that are back; for all others they stay held."""

    verbs = {"POST": Verb.RELEASE_FOR_JOB}

    @extend_schema(request=ForJobIn, responses=RegrindOrderOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = find_order(number), given(ForJobIn, request)
        job: Job = get_job(values.pop("job"))
        confirm(request)
        regrind_release.release_for_job(
            by=by(request), at=timezone.now(), order=row, job=job, **values
        )
        return _order(row.number)


class DropRegrindOrder(Door):
    """Nothing is done; the pieces are free again."""

    verbs = {"POST": Verb.ORDER_REGRINDS}

    @extend_schema(request=DropIn, responses=RegrindOrderOut)
    def post(self, request: Request, number: str) -> Response:
        row, values = find_order(number), given(DropIn, request)
        regrind_orders.cancel_order(by=by(request), at=timezone.now(), order=row, **values)
        return _order(row.number)


class LeadTimes(Door):
    """How long each vendor has pieces, learned from orders."""

    @extend_schema(responses=LeadTimeOut(many=True))
    def get(self, request: Request) -> Response:
        return Response(LeadTimeOut(lead_times(), many=True).data)


def _line(values: dict[str, Any]) -> OrderLineIn:
    return _line_of(piece_of(values.pop("piece")), values)


def _line_of(piece: Piece, values: dict[str, Any]) -> OrderLineIn:
    return OrderLineIn(
        piece,
        kinds=values["kinds"],
        targets=targets_in(values),
        take_off_nm=values.get("take_off_nm"),
        tolerance_nm=values.get("tolerance_nm"),
        mark_to_restore=values.get("mark_to_restore"),
        note=values["note"],
    )


def _copy(values: dict[str, Any]) -> Any:
    letter = values.get("copy")
    if (letter is None) != (values.get("set") is None):
        raise serializers.ValidationError({"copy": ["Name both the set and its copy."]})
    return copy_of(set_of(values["set"]), letter) if letter else None


def _place(code: str) -> Place | None:
    return place_of(code) if code else None


def _order(number: str, status: int = 200) -> Response:
    return answer(RegrindOrderOut, order_page(number, at=timezone.now()), status)
