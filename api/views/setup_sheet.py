"""The setup sheet of a kit for programs: the numbers that page and paper show."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door
from api.serializers.setup_sheet import SetupSheetOut
from tooling.queries.setup_sheet import setup_sheet


class SetupSheet(Door):
    """Stacks, gaps with their packs, moves and last good numbers; for any kit."""

    @extend_schema(responses=SetupSheetOut)
    def get(self, request: Request, number: str) -> Response:
        return Response(SetupSheetOut(setup_sheet(number, at=timezone.now())).data)
