"""An import's files, its whole list of problems, and the stop of the worker's part in it."""

from __future__ import annotations

from typing import ClassVar

from django.http import FileResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, by
from api.serializers.imports import ImportFileOut, ImportOut
from api.views.pictures import sent
from tooling.permissions import Verb
from tooling.queries.import_tasks import file_lines, one_file, the_import, whole_list
from tooling.services import imports

CSV = "text/csv; charset=utf-8"


class CancelImport(Door):
    """Stop the reading or applying of a large import; nothing was written."""

    verbs: ClassVar = {"POST": Verb.IMPORT}

    @extend_schema(request=None, responses=ImportOut)
    def post(self, request: Request, number: int) -> Response:
        made = imports.cancel(by=by(request), at=timezone.now(), made=the_import(number))
        return Response(ImportOut(made).data)


class ImportFiles(Door):
    """The files of an import as they were brought."""

    verbs: ClassVar = {"GET": Verb.IMPORT}

    @extend_schema(responses=ImportFileOut(many=True))
    def get(self, request: Request, number: int) -> Response:
        return Response(ImportFileOut(file_lines(the_import(number)), many=True).data)


class OneImportFile(Door):
    """One file of an import."""

    verbs: ClassVar = {"GET": Verb.IMPORT}

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    def get(self, request: Request, number: int, key: int) -> FileResponse:
        each = one_file(number, key)
        return sent(each.file, name=each.name)


class ImportProblems(Door):
    """Every problem of an import as CSV, also where ``problems`` names the first thousand only."""

    verbs: ClassVar = {"GET": Verb.IMPORT}

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.BINARY})
    def get(self, request: Request, number: int) -> HttpResponseBase:
        made = the_import(number)
        whole, name = whole_list(made), f"import-{number}-problems.csv"
        if whole is not None:
            answer = sent(whole, name=name)
            answer.headers["Content-Type"] = CSV
            return answer
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return StreamingHttpResponse(imports.problems_csv(made), content_type=CSV, headers=headers)
