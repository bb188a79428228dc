"""Another mapping for an import, kept mappings, and putting an import away."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.door import by
from api.serializers.import_mapping import KeptMappingOut, SheetsIn
from api.serializers.imports import ImportOut
from tooling.models import Import, ImportMapping
from tooling.permissions import Verb, check_can
from tooling.services import import_mapping, imports


class MapImport(APIView):
    """Match the columns otherwise, then look again; nothing is changed but the import."""

    @extend_schema(request=SheetsIn, responses=ImportOut)
    def post(self, request: Request, number: int) -> Response:
        check_can(request.user, Verb.IMPORT)
        made = get_object_or_404(Import, pk=number)
        given = SheetsIn(data=request.data)
        given.is_valid(raise_exception=True)
        person, at = by(request), timezone.now()
        if given.validated_data["sheets"]:
            mapping = import_mapping.asked(made=made, sheets=given.validated_data["sheets"])
            imports.remap(by=person, at=at, made=made, mapping=mapping)
        if name := given.validated_data["keep_as"]:
            imports.keep_mapping(by=person, at=at, made=made, name=name)
        made.refresh_from_db()
        return Response(ImportOut(made).data)


class DropImport(APIView):
    """Put an import away unapplied."""

    @extend_schema(request=None, responses=ImportOut)
    def post(self, request: Request, number: int) -> Response:
        check_can(request.user, Verb.IMPORT)
        made = get_object_or_404(Import, pk=number)
        imports.drop(by=by(request), at=timezone.now(), made=made)
        return Response(ImportOut(made).data)


class KeptMappings(APIView):
    """Every kept mapping by its name."""

    @extend_schema(responses=KeptMappingOut(many=True))
    def get(self, request: Request) -> Response:
        check_can(request.user, Verb.IMPORT)
        return Response(KeptMappingOut(ImportMapping.objects.all(), many=True).data)
