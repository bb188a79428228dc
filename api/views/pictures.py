"""Pictures: listed, kept, given words, taken back; and their bytes."""

from __future__ import annotations

from typing import Any

from django.http import FileResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.paging import Keyset, paged
from api.serializers.pictures import (
    KeepPicturesIn,
    PictureOut,
    PicturesAsked,
    TakeBackIn,
    WordsIn,
)
from tooling.models import StoredFile
from tooling.permissions import Verb
from tooling.queries.by_code import piece_of, place_of
from tooling.queries.incidents import incident_row
from tooling.queries.pictures import picture_list, picture_row, picture_view, shown_file
from tooling.services import files, pictures

SIZE = 100
BYTES = {(200, "image/jpeg"): OpenApiTypes.BINARY}


class Pictures(Door):
    """Pictures that stand, the newest first."""

    verbs = {"POST": Verb.KEEP_PICTURES}
    pagination_class = Keyset
    parser_classes = [MultiPartParser]

    @extend_schema(parameters=[PicturesAsked], responses=PictureOut(many=True))
    def get(self, request: Request) -> Response:
        asked = PicturesAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        narrow = dict(asked.validated_data)
        found = picture_list(before=narrow.pop("after"), size=SIZE + 1, **narrow)
        after = str(found[SIZE - 1].id) if len(found) > SIZE else ""
        return paged(request, PictureOut(found[:SIZE], many=True).data, after)

    @extend_schema(
        request={"multipart/form-data": KeepPicturesIn}, responses={201: PictureOut(many=True)}
    )
    def post(self, request: Request) -> Response:
        """Keep photographs of a piece, a place, an incident, or several of them."""
        values = given(KeepPicturesIn, request)
        incident = values.pop("incident", None)
        piece, place = values["piece"], values["place"]
        kept = pictures.keep_all(
            by=by(request),
            at=timezone.now(),
            uploads=values["files"],
            piece=piece_of(piece) if piece else None,
            place=place_of(place) if place else None,
            incident=incident_row(incident) if incident else None,
            caption=values["caption"],
        )
        rows = [picture_view(row) for row in kept]
        return Response(PictureOut(rows, many=True).data, status=201)


class OnePicture(Door):
    """One picture, as the newest word on it says."""

    @extend_schema(responses=PictureOut)
    def get(self, request: Request, number: int) -> Response:
        return answer(PictureOut, picture_view(picture_row(number)))


class SayPicture(Door):
    """Other words under a picture."""

    verbs = {"POST": Verb.KEEP_PICTURES}

    @extend_schema(request=WordsIn, responses=PictureOut)
    def post(self, request: Request, number: int) -> Response:
        row, values = picture_row(number), given(WordsIn, request)
        newer = pictures.say(by=by(request), at=timezone.now(), picture=row, **values)
        return answer(PictureOut, picture_view(newer))


class TakeBackPicture(Door):
    """It shows the wrong thing: it is shown no more."""

    verbs = {"POST": Verb.KEEP_PICTURES}

    @extend_schema(request=TakeBackIn, responses=PictureOut)
    def post(self, request: Request, number: int) -> Response:
        row, values = picture_row(number), given(TakeBackIn, request)
        newer = pictures.take_back(by=by(request), at=timezone.now(), picture=row, **values)
        return answer(PictureOut, picture_view(newer))


class PutBackPicture(Door):
    """Undo of taking back."""

    verbs = {"POST": Verb.KEEP_PICTURES}

    @extend_schema(request=None, responses=PictureOut)
    def post(self, request: Request, number: int) -> Response:
        row = picture_row(number)
        newer = pictures.put_back(by=by(request), at=timezone.now(), picture=row)
        return answer(PictureOut, picture_view(newer))


class PictureFile(Door):
    """The bytes of a picture that stands."""

    @extend_schema(responses=BYTES)
    def get(self, request: Request, number: int) -> Any:
        return sent(shown_file(picture_row(number).file.sha256))


class SmallPictureFile(Door):
    """The bytes of its small copy, at most 480 px long."""

    @extend_schema(responses=BYTES)
    def get(self, request: Request, number: int) -> Any:
        return sent(shown_file(picture_row(number).small.sha256))


def sent(file: StoredFile, *, name: str = "") -> FileResponse:
    """A stored file, a little at a time, with the type that its bytes were found to have."""
    response = FileResponse(
        files.open_file(file),
        filename=name,
        as_attachment=bool(name),
        content_type=file.content_type,
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
