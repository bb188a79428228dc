"""Backups through the API: what is kept, and have one made."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by
from api.serializers.imports import TaskOut
from tooling.permissions import Verb
from tooling.services.backup import kept


class BackupOut(serializers.Serializer):
    """A backup in the server's data directory."""

    name = serializers.CharField()
    size = serializers.IntegerField()
    made_at = serializers.DateTimeField()


class Backups(Door):
    """What is kept, newest first; POST has the worker make one."""

    verbs = {"GET": Verb.BACK_UP, "POST": Verb.BACK_UP}

    @extend_schema(responses=BackupOut(many=True))
    def get(self, request: Request) -> Response:
        return Response(BackupOut(kept.kept(by=by(request)), many=True).data)

    @extend_schema(request=None, responses={202: TaskOut})
    def post(self, request: Request) -> Response:
        return answer(TaskOut, kept.ask(by=by(request), at=timezone.now()), 202)
