"""A bare view that writes the same rows as a scan and nothing else, on the same server: no log-in,
no check, no kit, no answer worth reading. What the house adds is what scans take more than this."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime

from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, JsonResponse
from django.urls import include, path
from django.views.decorators.csrf import csrf_exempt

from tooling.services.write import writing

COLUMNS = (
    "uuid", "happened_at", "received_at", "effective_at", "clock_offset_ms", "clock_is_off",
    "what", "piece_id", "to_id", "quantity", "how", "scan", "sees", "code_read", "content_hash",
    "note",
)  # fmt: skip
INSERT = (
    f"INSERT INTO tooling_movement ({', '.join(COLUMNS)}) "
    f"VALUES ({', '.join(['%s'] * len(COLUMNS))})"
)
UPDATE = (
    "UPDATE tooling_piece SET place_id = %s, placed_effective_at = %s, placed_received_at = %s, "
    "placed_by_id = (SELECT id FROM tooling_movement WHERE uuid = %s), seen_at = %s WHERE id = %s"
)
SEEN = "UPDATE tooling_device SET last_offset_ms = %s, last_seen_at = %s WHERE id = %s"
NOBODY = uuid.UUID(int=0)


@csrf_exempt
@login_not_required
def insert(request: HttpRequest) -> JsonResponse:
    """``[[piece id, place id], …]`` become movements and places, in one transaction."""
    native = connection.features.has_native_uuid_field
    at = connection.ops.adapt_datetimefield_value(datetime.now(UTC))
    rows, places = [], []
    for piece, place in json.loads(request.body):
        fresh = uuid.uuid4()
        key = fresh if native else fresh.hex
        rows.append((key, at, at, at, 0, False, "move", piece, place, 1, "scan", key, True, "", "", ""))  # noqa: E501  # fmt: skip
        places.append((place, at, at, key, at, piece))
    with writing(), connection.cursor() as cursor:
        cursor.execute(SEEN, (0, at, NOBODY if native else NOBODY.hex))
        cursor.executemany(INSERT, rows)
        cursor.executemany(UPDATE, places)
    return JsonResponse({"rows": len(rows)})


urlpatterns = [path("bare/", insert), path("", include("tooling.urls"))]
