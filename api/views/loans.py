"""What is out: listed, handed out, due another day, taken back."""

from __future__ import annotations

from typing import get_args
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.loans import (
    WHICH,
    CountOut,
    DueIn,
    HandOutIn,
    HandOutOut,
    LoanIdsIn,
    LoanOut,
    ManyDueIn,
)
from tooling.permissions import Verb
from tooling.queries.hand_outs import slip_of_act
from tooling.queries.loans import Which, loan_page, loans
from tooling.queries.out import away_place
from tooling.services import loans as services
from tooling.services.due_back import USUAL
from tooling.services.loans import Thing


class Loans(Door):
    """What is out, the most overdue first."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(
        parameters=[
            OpenApiParameter("which", str, enum=WHICH, description="Overdue, due within a week "
                             "(soon), without a day (open)."),
            OpenApiParameter("place", str, description="Label code of one place away."),
        ],
        responses=LoanOut(many=True),
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        asked = request.query_params.get("which", "all")
        known: dict[str, Which] = {each: each for each in get_args(Which)}
        place = request.query_params.get("place", "")[:40]
        page = loan_page(at=timezone.now(), which=known.get(asked, "all"), place=place)
        rows = [loan for holder in page.holders for loan in holder.loans]
        return Response(LoanOut(rows, many=True).data)

    @extend_schema(request=HandOutIn, responses={201: HandOutOut})
    def post(self, request: Request) -> Response:
        """Hand things out, all of them or none, as one act."""
        values, at = given(HandOutIn, request), timezone.now()
        act = services.hand_out(
            by=by(request),
            at=at,
            to=away_place(values["to"], at=at).place,
            things=[Thing(**thing) for thing in values["things"]],
            due_on=values.get("due_on", USUAL),
            reason=values["reason"],
            act=values.get("id"),
        )
        return answer(HandOutOut, slip_of_act(act, at=at), 201)


class OneLoan(Door):
    """The hand-out that a loan belongs to, as far as it is still out."""

    verbs = {"PATCH": Verb.MOVE_PIECES}

    @extend_schema(responses=HandOutOut)
    def get(self, request: Request, number: UUID) -> Response:
        return answer(HandOutOut, slip_of_act(number, at=timezone.now()))

    @extend_schema(request=DueIn, responses=LoanOut(many=True))
    def patch(self, request: Request, number: UUID) -> Response:
        """Another day for this loan."""
        values, at = given(DueIn, request), timezone.now()
        services.set_due(by=by(request), at=at, ids=[number], **values)
        return _of_ids([number])


class ManyDue(Door):
    """Another day for several loans."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=ManyDueIn, responses=LoanOut(many=True))
    def post(self, request: Request) -> Response:
        values = given(ManyDueIn, request)
        services.set_due(by=by(request), at=timezone.now(), **values)
        return _of_ids(values["ids"])


class UndoDue(Door):
    """The day before the last change stands again."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=LoanIdsIn, responses=LoanOut(many=True))
    def post(self, request: Request) -> Response:
        ids = given(LoanIdsIn, request)["ids"]
        services.take_back_due(by=by(request), at=timezone.now(), ids=ids)
        return _of_ids(ids)


class UndoHandOut(Door):
    """Everything of a hand-out, or of a stop put away, is back where it was."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=None, responses=CountOut)
    def post(self, request: Request, number: UUID) -> Response:
        count = services.take_back(by=by(request), at=timezone.now(), act=number)
        return Response({"count": count})


def _of_ids(ids: list[UUID]) -> Response:
    wanted = set(ids)
    rows = [loan for loan in loans(at=timezone.now()) if loan.id in wanted]
    return Response(LoanOut(rows, many=True).data)
