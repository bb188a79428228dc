"""What every view of records is: it knows the verb of each write before it reads the body."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, cast

from rest_framework.generics import GenericAPIView
from rest_framework.parsers import JSONParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from tooling.models import Person
from tooling.permissions import Verb, check_can
from tooling.web import pins


class Door(APIView):
    """``verbs`` names, per method, what a person must be allowed to do; reads need a login."""

    verbs: ClassVar[Mapping[str, Verb]] = {}
    parser_classes = [JSONParser]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        verb = self.verbs.get(request.method or "")
        if verb is not None:
            check_can(request.user, verb)


class ListDoor(Door, GenericAPIView):
    """A list by key, narrowed by its filters."""

    key: ClassVar[str] = "code"

    def page_of(self, serializer: type[Serializer[Any]]) -> Response:
        """One page of the list as it was asked for."""
        rows = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(serializer(rows, many=True).data)


def by(request: Request) -> Person:
    """Who asks; every endpoint needs a login."""
    return cast(Person, request.user)


def confirm(request: Request) -> None:
    """Before what cannot be undone: a session that began by badge gives the PIN in the header
    ``X-Pin``; a token needs none. Raises PinNeeded."""
    if request.auth is None:
        pins.confirm(request._request, pin=request.headers.get("X-Pin", ""))


def given(serializer: type[Serializer[Any]], request: Request, **more: Any) -> dict[str, Any]:
    """The body, checked. Raises ValidationError and what lengths raise."""
    filled = serializer(data=request.data, **more)
    filled.is_valid(raise_exception=True)
    return dict(filled.validated_data)


def answer(serializer: type[Serializer[Any]], row: Any, status: int = 200) -> Response:
    """One record out."""
    return Response(serializer(row).data, status=status)
