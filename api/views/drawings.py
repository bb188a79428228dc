"""Drawings and their revisions."""

from __future__ import annotations

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import DrawingFilter
from api.paging import Keyset
from api.serializers.drawings import (
    CreateDrawingIn,
    CreateRevisionIn,
    DrawingOut,
    EditDrawingIn,
    EditRevisionIn,
)
from tooling.permissions import Verb
from tooling.queries.by_code import drawing_of, revision_of
from tooling.queries.record_rows import drawings
from tooling.services import drawings as services


class Drawings(ListDoor):
    """Drawings by number."""

    key = "number"
    verbs = {"POST": Verb.EDIT_RECORDS}
    queryset = drawings()
    filter_backends = [DjangoFilterBackend]
    filterset_class = DrawingFilter
    pagination_class = Keyset

    @extend_schema(responses=DrawingOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(DrawingOut)

    @extend_schema(request=CreateDrawingIn, responses={201: DrawingOut})
    def post(self, request: Request) -> Response:
        """A drawing with its first revision."""
        values = given(CreateDrawingIn, request)
        made = services.create_drawing(by=by(request), at=timezone.now(), **values)
        return drawing_answer(made.drawing.number, 201)


class OneDrawing(Door):
    """One drawing with its revisions."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(responses=DrawingOut)
    def get(self, request: Request, number: str) -> Response:
        return drawing_answer(drawing_of(number).number)

    @extend_schema(request=EditDrawingIn, responses=DrawingOut)
    def patch(self, request: Request, number: str) -> Response:
        """Change the title. Number and kind stand on labels and stay."""
        drawing, values = drawing_of(number), given(EditDrawingIn, request)
        services.edit_drawing(by=by(request), at=timezone.now(), drawing=drawing, **values)
        return drawing_answer(drawing.number)


class Revisions(Door):
    """Add a revision, which becomes the current one."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=CreateRevisionIn, responses={201: DrawingOut})
    def post(self, request: Request, number: str) -> Response:
        drawing, values = drawing_of(number), given(CreateRevisionIn, request)
        services.new_revision(by=by(request), at=timezone.now(), drawing=drawing, **values)
        return drawing_answer(drawing.number, 201)


class OneRevision(Door):
    """Put a revision's drawn sizes right."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(request=EditRevisionIn, responses=DrawingOut)
    def patch(self, request: Request, number: str, revision: str) -> Response:
        drawing = drawing_of(number)
        row, values = revision_of(drawing, revision), given(EditRevisionIn, request)
        services.edit_revision(by=by(request), at=timezone.now(), revision=row, **values)
        return drawing_answer(drawing.number)


def drawing_answer(number: str, status: int = 200) -> Response:
    """The drawing with all its revisions."""
    return answer(DrawingOut, drawings().get(number=number), status)
