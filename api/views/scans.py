"""``POST /api/v1/scans/``: a batch of scans from a device."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from api.plain_scans import plain_batch
from api.serializers.scans import ScanBatchInSerializer, ScanBatchOutSerializer
from tooling.models import Person
from tooling.permissions import Verb, check_can
from tooling.services import scans
from tooling.services.badge_scans import record_without_badges
from tooling.services.scan_moves import ScanIn

_BATCH = ScanBatchInSerializer()
"""It keeps nothing of what it checks; making it anew takes as long as checking."""


@extend_schema(request=ScanBatchInSerializer, responses=ScanBatchOutSerializer)
@api_view(["POST"])
def record(request: Request) -> Response:
    """Record a batch. Every scan is answered by its id; sending it again changes nothing."""
    check_can(request.user, Verb.MOVE_PIECES)
    given = plain_batch(request.data) or _checked(request.data)
    by, at = cast(Person, request.user), timezone.now()

    def record_batch(rest: Sequence[ScanIn]) -> list[scans.ScanResult]:
        return scans.record_batch(
            by=by, at=at, device=given["device"], device_now=given["device_now"], scans=rest
        )

    results = record_without_badges(by=by, scans=given["scans"], record=record_batch)
    return Response({"results": [_plain(result) for result in results]})


def _checked(body: Any) -> dict[str, Any]:
    """Raises ValidationError."""
    given = _BATCH.run_validation(body)
    return {**given, "scans": [ScanIn(**scan) for scan in given["scans"]]}


def _plain(result: scans.ScanResult) -> dict[str, Any]:
    return {
        "id": str(result.id),
        "status": result.status,
        "code": result.code,
        "message": result.message,
        "place": result.place,
    }
