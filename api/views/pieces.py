"""Pieces: the list, one piece, its history, and making and editing them."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.paging import Keyset, asked_after, paged
from api.serializers.pictures import LiftIn
from api.serializers.pieces import (
    AliasIn,
    CreatePiecesIn,
    EditPieceIn,
    EntryOut,
    HoldIn,
    PieceDetailOut,
    PieceOut,
    PiecesAsked,
)
from tooling.permissions import Verb
from tooling.queries.by_code import drawing_of, owner_of, piece_of, place_of, revision_of
from tooling.queries.piece_history import Entry, piece_history
from tooling.queries.piece_page import piece_page
from tooling.queries.piece_records import piece_records
from tooling.queries.pieces import Filters, search_pieces
from tooling.services import holds, pieces


class Pieces(Door):
    """Pieces by code, found as the search on the page finds them."""

    verbs = {"POST": Verb.EDIT_RECORDS}
    pagination_class = Keyset

    @extend_schema(parameters=[PiecesAsked], responses=PieceOut(many=True))
    def get(self, request: Request) -> Response:
        asked = PiecesAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        narrow = dict(asked.validated_data)
        filters = Filters(text=narrow.pop("q").strip(), **narrow)
        found = search_pieces(filters, after=asked_after(request))
        rows = piece_records(row.code for row in found.rows)
        return paged(request, PieceOut(rows, many=True).data, found.after)

    @extend_schema(request=CreatePiecesIn, responses={201: PieceOut(many=True)})
    def post(self, request: Request) -> Response:
        """Make pieces; each gets a label code."""
        values = given(CreatePiecesIn, request)
        drawing = drawing_of(values.pop("drawing"))
        made = pieces.create_pieces(
            by=by(request),
            at=timezone.now(),
            revision=revision_of(drawing, values.pop("revision", "")),
            owner=owner_of(values.pop("owner", "")),
            place=place_of(values.pop("place")),
            **values,
        )
        rows = piece_records(piece.code for piece in made)
        return Response(PieceOut(rows, many=True).data, status=201)


class OnePiece(Door):
    """One piece with its sizes and who needs it."""

    verbs = {"PATCH": Verb.EDIT_RECORDS}

    @extend_schema(responses=PieceDetailOut)
    def get(self, request: Request, code: str) -> Response:
        return _piece(piece_of(code).code)

    @extend_schema(request=EditPieceIn, responses=PieceDetailOut)
    def patch(self, request: Request, code: str) -> Response:
        """Change what is written; a condition of ``hold`` has its own address."""
        piece = piece_of(code)
        values = given(EditPieceIn, request)
        if "owner" in values:
            values["owner"] = owner_of(values["owner"])
        if "revision" in values:
            values["revision"] = revision_of(piece.drawing, values["revision"])
        pieces.edit_piece(by=by(request), at=timezone.now(), piece=piece, **values)
        return _piece(piece.code)


class PieceHistory(Door):
    """Everything that ever happened to a piece, newest first."""

    pagination_class = Keyset

    @extend_schema(responses=EntryOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        page = piece_history(piece_of(code).code, after=asked_after(request), size=100)
        rows = [_entry(entry) for entry in page.entries]
        return paged(request, EntryOut(rows, many=True).data, page.after)


class HoldPiece(Door):
    """Hold a piece in doubt, for a reason in words: no kit may stage it until it is lifted."""

    verbs = {"POST": Verb.STOP_PIECES}

    @extend_schema(request=HoldIn, responses=PieceDetailOut)
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(HoldIn, request)
        holds.hold_piece(by=by(request), at=timezone.now(), piece=piece, **values)
        return _piece(piece.code)


class LiftPiece(Door):
    """Let a held piece be used again, with the condition it was found in and why."""

    verbs = {"POST": Verb.LIFT_HOLDS}

    @extend_schema(request=LiftIn, responses=PieceDetailOut)
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(LiftIn, request)
        holds.lift_hold(by=by(request), at=timezone.now(), piece=piece, **values)
        return _piece(piece.code)


class PieceAliases(Door):
    """Old numbers under which a piece is still asked for."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=AliasIn, responses={201: PieceDetailOut})
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(AliasIn, request)
        pieces.add_alias(by=by(request), at=timezone.now(), piece=piece, **values)
        return _piece(piece.code, status=201)


def _piece(code: str, status: int = 200) -> Response:
    record = {**vars(piece_records([code])[0]), "page": piece_page(code)}
    return answer(PieceDetailOut, record, status)


def _entry(entry: Entry) -> dict[str, Any]:
    """An entry with what is empty on the page as null."""
    sizes = [
        {"dimension": name.replace(" ", "_"), "before_nm": before, "after_nm": after}
        for name, before, after in entry.sizes
    ]
    return {
        **vars(entry),
        "code": entry.extra.get("code", ""),
        "scan": entry.scan or None,
        "place": entry.place_code or None,
        "sizes": sizes,
    }
