"""Owners of tooling: the shop itself and its customers."""

from __future__ import annotations

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import OwnerFilter
from api.paging import Keyset
from api.serializers.owners import CreateOwnerIn, EditOwnerIn, OwnerOut
from tooling.permissions import Verb
from tooling.queries.by_code import owner_of
from tooling.queries.record_rows import owners
from tooling.services import owners as services


class Owners(ListDoor):
    """Owners by code."""

    verbs = {"POST": Verb.RUN_SHOP}
    queryset = owners()
    filter_backends = [DjangoFilterBackend]
    filterset_class = OwnerFilter
    pagination_class = Keyset

    @extend_schema(responses=OwnerOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(OwnerOut)

    @extend_schema(request=CreateOwnerIn, responses={201: OwnerOut})
    def post(self, request: Request) -> Response:
        """A new owner."""
        values = given(CreateOwnerIn, request)
        made = services.create_owner(by=by(request), at=timezone.now(), **values)
        return answer(OwnerOut, made, 201)


class OneOwner(Door):
    """One owner."""

    verbs = {"PATCH": Verb.RUN_SHOP}

    @extend_schema(responses=OwnerOut)
    def get(self, request: Request, code: str) -> Response:
        return answer(OwnerOut, owner_of(code))

    @extend_schema(request=EditOwnerIn, responses=OwnerOut)
    def patch(self, request: Request, code: str) -> Response:
        owner, values = owner_of(code), given(EditOwnerIn, request)
        saved = services.edit_owner(by=by(request), at=timezone.now(), owner=owner, **values)
        return answer(OwnerOut, saved)
