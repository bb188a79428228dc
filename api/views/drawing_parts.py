"""What a drawing's die makes, and what becomes of pieces made to its older revisions."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, by, given
from api.serializers.drawings import DrawingOut, FeatureIn, OldPieceOut, SettleIn
from api.views.drawings import drawing_answer
from tooling.permissions import Verb
from tooling.queries.by_code import drawing_of, piece_of, revision_of
from tooling.queries.drawings import drawing_page
from tooling.services import features, old_pieces


class Features(Door):
    """Say what a die makes: a hole, a slot, a cut."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(request=FeatureIn, responses=DrawingOut)
    def post(self, request: Request, number: str, revision: str) -> Response:
        drawing, values = drawing_of(number), given(FeatureIn, request)
        row = revision_of(drawing, revision)
        features.save_feature(by=by(request), at=timezone.now(), revision=row, **values)
        return drawing_answer(drawing.number)


class OneFeature(Door):
    """Something that the die does not make any more."""

    verbs = {"DELETE": Verb.EDIT_RECORDS}

    @extend_schema(responses=DrawingOut)
    def delete(self, request: Request, number: str, revision: str, order: int) -> Response:
        drawing = drawing_of(number)
        row = revision_of(drawing, revision)
        features.remove_feature(by=by(request), at=timezone.now(), revision=row, order=order)
        return drawing_answer(drawing.number)


class OldPieces(Door):
    """Pieces to older revisions: listed with what is to happen, and settled."""

    verbs = {"POST": Verb.EDIT_RECORDS}

    @extend_schema(responses=OldPieceOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        return _old(drawing_of(number).number)

    @extend_schema(request=SettleIn, responses=OldPieceOut(many=True))
    def post(self, request: Request, number: str) -> Response:
        """They are used as they are, were reworked to the current revision, or are scrapped."""
        drawing, values = drawing_of(number), given(SettleIn, request)
        _settle({"by": by(request), "at": timezone.now(), "drawing": drawing}, **values)
        return _old(drawing.number)


def _settle(way: dict[str, Any], *, act: str, reason: str, pieces: list[str] | None = None) -> None:
    if not pieces and act != "as_is":
        raise serializers.ValidationError({"pieces": [str(_("This field is required."))]})
    rows = [piece_of(code) for code in pieces or ()]
    if act == "reworked":
        old_pieces.reworked(**way, pieces=rows)
    elif act == "scrapped":
        old_pieces.scrapped(**way, pieces=rows)
    elif rows:
        old_pieces.use_as_is(**way, pieces=rows, reason=reason)
    else:
        old_pieces.use_all_as_is(**way, reason=reason)


def _old(number: str) -> Response:
    return Response(OldPieceOut(drawing_page(number).old_pieces, many=True).data)
