"""Owners of tooling: the shop itself and its customers."""

from __future__ import annotations

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import OwnerFilter
from api.paging import Keyset, asked_after, paged
from api.serializers.imports import TaskOut
from api.serializers.owners import (
    CreateOwnerIn,
    DormantRowOut,
    EditOwnerIn,
    InsuredOut,
    LookIn,
    MarkRowOut,
    MarksAsked,
    MarksIn,
    MarksOut,
    OwnerAsked,
    OwnerOut,
    PapersIn,
    RegisterRowOut,
    TakenOverOut,
    TakeOverIn,
)
from tooling.models import Owner, Piece
from tooling.permissions import Verb
from tooling.queries.by_code import copy_of, owner_of, piece_of, set_of
from tooling.queries.dormant import dormant_list
from tooling.queries.owner_marks import mark_row, mark_walk
from tooling.queries.owner_register import pieces_of, register_rows
from tooling.queries.owner_values import insured_page
from tooling.queries.pictures import picture_row
from tooling.queries.record_rows import owners
from tooling.services import owner_marks, owner_papers
from tooling.services import owners as services

SIZE = 100


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


class Register(Door):
    """An owner's pieces by code, as the owner asks to see them."""

    verbs = {"POST": Verb.EXPORT}
    pagination_class = Keyset

    @extend_schema(responses=RegisterRowOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        pieces = pieces_of(owner_of(code)).filter(code__gt=asked_after(request))
        rows = register_rows(pieces.order_by("code")[: SIZE + 1])
        after = rows[SIZE - 1].code if len(rows) > SIZE else ""
        return paged(request, RegisterRowOut(rows[:SIZE], many=True).data, after)

    @extend_schema(request=PapersIn, responses={202: TaskOut})
    def post(self, request: Request, code: str) -> Response:
        """Have it drawn as a PDF with pictures; the task's file is the PDF."""
        owner, values = owner_of(code), given(PapersIn, request)
        task = owner_papers.ask_to_draw(by=by(request), at=timezone.now(), owner=owner, **values)
        return answer(TaskOut, task, 202)


class OwnerPieces(Door):
    """Pieces that become this owner's, each with the reason on record."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=TakeOverIn, responses=TakenOverOut)
    def post(self, request: Request, code: str) -> Response:
        owner, values = owner_of(code), given(TakeOverIn, request)
        number, letter = values.pop("set"), values.pop("copy")
        pieces = [piece_of(each) for each in values.pop("pieces")]
        if number:
            copy = copy_of(set_of(number), letter)
            pieces += Piece.objects.filter(allotments__copy=copy).distinct()
        count = services.change_owner(
            by=by(request), at=timezone.now(), pieces=pieces, owner=owner, **values
        )
        return answer(TakenOverOut, {"changed": count})


class Marks(Door):
    """The owner's mark on an owner's pieces, in walking order."""

    verbs = {"POST": Verb.RECORD_READINGS}

    @extend_schema(parameters=[MarksAsked], responses=MarksOut)
    def get(self, request: Request, code: str) -> Response:
        asked = MarksAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return answer(MarksOut, mark_walk(owner_of(code), size=SIZE, **asked.validated_data))

    @extend_schema(request=MarksIn, responses={201: MarkRowOut(many=True)})
    def post(self, request: Request, code: str) -> Response:
        """Write several looks down, all or none."""
        owner_of(code)
        checks = given(MarksIn, request)["checks"]
        pieces = {each["piece"]: piece_of(each["piece"]) for each in checks}
        seen = {pieces[each["piece"]].pk: each["is_there"] for each in checks}
        made = owner_marks.check_marks(
            by=by(request), at=timezone.now(), pieces=list(pieces.values()), seen=seen
        )
        rows = [mark_row(row.piece.code) for row in made]
        return Response(MarkRowOut(rows, many=True).data, status=201)


class PieceMark(Door):
    """A look for the owner's mark on one piece."""

    verbs = {"POST": Verb.RECORD_READINGS}

    @extend_schema(request=LookIn, responses={201: MarkRowOut})
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(LookIn, request)
        picture = values.pop("picture", None)
        owner_marks.check_mark(
            by=by(request),
            at=timezone.now(),
            piece=piece,
            picture=picture_row(picture) if picture else None,
            **values,
        )
        return answer(MarkRowOut, mark_row(piece.code), 201)


class Insured(Door):
    """What tooling is worth, by owner and by outermost place."""

    @extend_schema(parameters=[OwnerAsked], responses=InsuredOut)
    def get(self, request: Request) -> Response:
        return answer(InsuredOut, insured_page(_owner(request)))


class Dormant(Door):
    """Pieces that lie still, by code."""

    pagination_class = Keyset

    @extend_schema(parameters=[OwnerAsked], responses=DormantRowOut(many=True))
    def get(self, request: Request) -> Response:
        found = dormant_list(
            at=timezone.now(), owner=_owner(request), after=asked_after(request), size=SIZE
        )
        return paged(request, DormantRowOut(found.rows, many=True).data, found.after)


def _owner(request: Request) -> Owner | None:
    asked = OwnerAsked(data=request.query_params)
    asked.is_valid(raise_exception=True)
    code = asked.validated_data["owner"]
    return owner_of(code) if code else None
