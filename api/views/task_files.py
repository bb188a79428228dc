"""The files that tasks made."""

from __future__ import annotations

from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from api.door import Door
from tooling.models import Task, TaskState
from tooling.services import files


class TaskFile(Door):
    """What a task made: sheets of labels, an owner's register."""

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, number: int) -> FileResponse:
        done = Task.objects.select_related("file").filter(state=TaskState.DONE, file__isnull=False)
        task = get_object_or_404(done, pk=number)
        if task.file is None:
            raise Http404
        response = FileResponse(
            files.open_file(task.file),
            filename=f"{task.kind}-{number}.pdf",
            content_type=task.file.content_type,
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response
