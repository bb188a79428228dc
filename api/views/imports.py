"""Spreadsheets in through the API: bring, look, apply. Tasks can be watched and stopped."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.door import by
from api.serializers.imports import BringIn, ImportOut, TaskOut
from tooling.models import Import, ImportState, Task
from tooling.permissions import Verb, check_can
from tooling.queries.import_tasks import the_import
from tooling.services import imports, tasks


class Imports(APIView):
    """Every import, newest first; a new one changes nothing yet.

    A few hundred rows are looked over at once. More are the worker's: the state is ``reading``
    until ``tasks/{task}/`` is over.
    """

    @extend_schema(responses=ImportOut(many=True))
    def get(self, request: Request) -> Response:
        check_can(request.user, Verb.IMPORT)
        rows = Import.objects.select_related("task").order_by("-pk")[:100]
        return Response(ImportOut(rows, many=True).data)

    @extend_schema(request={"multipart/form-data": BringIn}, responses={201: ImportOut})
    def post(self, request: Request) -> Response:
        check_can(request.user, Verb.IMPORT)
        files = request.FILES.getlist("files") or request.FILES.getlist("file")
        brought = [imports.Brought(file.name or "sheet", file.read()) for file in files]
        made = imports.bring(
            by=by(request),
            at=timezone.now(),
            brought=brought,
            mapping_name=request.POST.get("mapping", ""),
        )
        return Response(ImportOut(made).data, status=201)


class OneImport(APIView):
    """One import with its first thousand problems."""

    @extend_schema(responses=ImportOut)
    def get(self, request: Request, number: int) -> Response:
        check_can(request.user, Verb.IMPORT)
        return Response(ImportOut(the_import(number)).data)


class ApplyImport(APIView):
    """Apply all of it or nothing; 202 with the state ``applying`` where the worker does it."""

    @extend_schema(request=None, responses={200: ImportOut, 202: ImportOut})
    def post(self, request: Request, number: int) -> Response:
        check_can(request.user, Verb.IMPORT)
        made = imports.apply(by=by(request), at=timezone.now(), made=the_import(number))
        later = made.state == ImportState.APPLYING
        return Response(ImportOut(made).data, status=202 if later else 200)


class OneTask(APIView):
    """How far a task is; a person may ask for their own to stop."""

    @extend_schema(responses=TaskOut)
    def get(self, request: Request, number: int) -> Response:
        return Response(TaskOut(get_object_or_404(Task, pk=number)).data)

    @extend_schema(request=None, responses=TaskOut)
    def delete(self, request: Request, number: int) -> Response:
        task = get_object_or_404(Task, pk=number)
        tasks.cancel(by=by(request), at=timezone.now(), task=task)
        task.refresh_from_db()
        return Response(TaskOut(task).data)
