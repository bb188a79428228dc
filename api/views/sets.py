"""Tool sets: the list, one set, and making and editing them."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import SetFilter
from api.paging import Keyset
from api.serializers.sets import CreateSetIn, EditSetIn, SetDetailOut, SetOut
from tooling.permissions import Verb
from tooling.queries.by_code import owner_of, set_of
from tooling.queries.record_rows import sets, sets_in_full
from tooling.services import sets as services


class Sets(ListDoor):
    """Sets by number."""

    key = "number"
    verbs = {"POST": Verb.EDIT_RECORDS}
    queryset = sets()
    filter_backends = [DjangoFilterBackend]
    filterset_class = SetFilter
    pagination_class = Keyset

    @extend_schema(responses=SetOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(SetOut)

    @extend_schema(request=CreateSetIn, responses={201: SetDetailOut})
    def post(self, request: Request) -> Response:
        """A tool set; it gets a label code."""
        values = _with_customer(given(CreateSetIn, request))
        made = services.create_set(by=by(request), at=timezone.now(), **values)
        return set_answer(made.number, 201)


class OneSet(Door):
    """One set with passes, positions, variants, copies and charts."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(responses=SetDetailOut)
    def get(self, request: Request, number: str) -> Response:
        return set_answer(set_of(number).number)

    @extend_schema(request=EditSetIn, responses=SetDetailOut)
    def patch(self, request: Request, number: str) -> Response:
        row, values = set_of(number), _with_customer(given(EditSetIn, request))
        services.edit_set(by=by(request), at=timezone.now(), tool_set=row, **values)
        return set_answer(row.number)


def set_answer(number: str, status: int = 200) -> Response:
    """The whole set after a change."""
    return answer(SetDetailOut, sets_in_full().get(number=number), status)


def _with_customer(values: dict[str, Any]) -> dict[str, Any]:
    if "customer" in values:
        values["customer"] = owner_of(values["customer"]) if values["customer"] else None
    return values
