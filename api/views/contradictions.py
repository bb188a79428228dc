"""Scans that cannot both be right, and saying which is."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.paging import Keyset, paged
from api.serializers.contradictions import (
    ContradictionOut,
    ContradictionsAsked,
    SettleContradictionIn,
    SettledOut,
)
from tooling.errors import Unknown
from tooling.models import Contradiction
from tooling.permissions import Verb
from tooling.queries.by_code import place_of
from tooling.queries.contradictions import open_rows
from tooling.services import contradictions

SIZE = 100


class Contradictions(Door):
    """What waits to be settled, the newest first."""

    pagination_class = Keyset

    @extend_schema(parameters=[ContradictionsAsked], responses=ContradictionOut(many=True))
    def get(self, request: Request) -> Response:
        asked = ContradictionsAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        values = asked.validated_data
        rows = open_rows(piece=values["piece"].upper(), before=values.get("after"), size=SIZE + 1)
        after = str(rows[SIZE - 1].id) if len(rows) > SIZE else ""
        return paged(request, ContradictionOut(rows[:SIZE], many=True).data, after)


class Settle(Door):
    """Which of the scans is right."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=SettleContradictionIn, responses=SettledOut)
    def post(self, request: Request, number: int) -> Response:
        values = given(SettleContradictionIn, request)
        row = Contradiction.objects.filter(pk=number).first()
        if row is None:
            raise Unknown(
                "unknown_contradiction", _("There is no contradiction {number}."), number=number
            )
        to = place_of(values["to"]) if values["to"] else None
        settled = contradictions.settle(
            by=by(request), at=timezone.now(), contradiction=row, to=to, reason=values["reason"]
        )
        return answer(SettledOut, settled)
