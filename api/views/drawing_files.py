"""Files of a drawing's revision: listed, attached, and their bytes."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.pictures import AttachIn, FileLinkOut
from api.views.pictures import sent
from tooling.errors import Unknown
from tooling.models import DrawingFile, DrawingRevision
from tooling.permissions import Verb
from tooling.queries.by_code import drawing_of, revision_of
from tooling.services import drawing_files


class DrawingFiles(Door):
    """The files beside a revision."""

    verbs = {"POST": Verb.EDIT_RECORDS}
    parser_classes = [MultiPartParser]

    @extend_schema(responses=FileLinkOut(many=True))
    def get(self, request: Request, number: str, revision: str) -> Response:
        rows = _files(revision_of(drawing_of(number), revision))
        return Response(FileLinkOut([_link(row) for row in rows], many=True).data)

    @extend_schema(request={"multipart/form-data": AttachIn}, responses={201: FileLinkOut})
    def post(self, request: Request, number: str, revision: str) -> Response:
        """Put a file beside a revision."""
        row, values = revision_of(drawing_of(number), revision), given(AttachIn, request)
        kept = drawing_files.attach(
            by=by(request), at=timezone.now(), revision=row, upload=values["file"]
        )
        return answer(FileLinkOut, _link(kept), 201)


class OneDrawingFile(Door):
    """The bytes of a file, to be kept under its name."""

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def get(self, request: Request, number: str, revision: str, sha256: str) -> Any:
        rows = _files(revision_of(drawing_of(number), revision))
        row = rows.filter(file__sha256=sha256).first()
        if row is None:
            raise Unknown("unknown_file", _("Revision {r} has no such file."), r=revision)
        return sent(row.file, name=row.name)


def _files(revision: DrawingRevision) -> Any:
    return DrawingFile.objects.filter(revision=revision).select_related("file").order_by("name")


def _link(row: DrawingFile) -> dict[str, Any]:
    return {
        "name": row.name,
        "sha256": row.file.sha256,
        "content_type": row.file.content_type,
        "size": row.file.size,
    }
