"""``POST /api/v1/scans/``: a batch of scans from a device."""

from __future__ import annotations

from dataclasses import asdict
from typing import cast

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from api.serializers.scans import ScanBatchInSerializer, ScanBatchOutSerializer
from tooling.models import Person
from tooling.permissions import Verb, check_can
from tooling.services import scans
from tooling.services.scan_moves import ScanIn


@extend_schema(request=ScanBatchInSerializer, responses=ScanBatchOutSerializer)
@api_view(["POST"])
def record(request: Request) -> Response:
    """Record a batch. Every scan is answered by its id; sending it again changes nothing."""
    check_can(request.user, Verb.MOVE_PIECES)
    batch = ScanBatchInSerializer(data=request.data)
    batch.is_valid(raise_exception=True)
    given = batch.validated_data
    results = scans.record_batch(
        by=cast(Person, request.user),
        at=timezone.now(),
        device=given["device"],
        device_now=given["device_now"],
        scans=[ScanIn(**scan) for scan in given["scans"]],
    )
    return Response({"results": [asdict(result) for result in results]})
