"""What is read without the serializer is what the serializer would have read."""

from __future__ import annotations

import uuid
from datetime import UTC
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from rest_framework.exceptions import ValidationError

from api.plain_scans import plain_batch
from api.serializers.scans import MOST_SCANS, ScanBatchInSerializer
from tooling.services.scan_moves import ScanIn

NOW = "2026-11-25T10:00:00+00:00"
ID = "7d1d9c9e-2f6b-4b39-8d43-0a4f1f0f6a01"
ODD: list[Any] = [
    None, "", " ", "x", " R000001X", "R000001X ", "a\x00b", "\ud800", "Regal 3 · Süd", "a\tb",
    True, False, 0, 1, -1, 1.5, 2**53, 2**53 + 1, "5", "scan", "tick", "typed", "count", "Scan",
    [], {}, [1], ID, ID.upper(), ID.replace("-", ""), f"{{{ID}}}", f"urn:uuid:{ID}", "x" * 60,
    "x" * 61, "x" * 81, "x" * 201, NOW, "2026-11-25", "2026-11-25T10:00:00Z", "20261125T100000Z",
    "2026-11-25T10:00:00", "2026-11-25 10:00+05:30", "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-12:00", "2026-W48-3T10:00:00Z", "10:00", "2027-01-01",
]  # fmt: skip
"""Each is put in the place of every field in turn."""
FIELDS = ("id", "happened_at", "to", "code", "how", "corrects", "sequence", "quantity", "due_on",
          "only_home", "another")  # fmt: skip


def scan(**fields: Any) -> dict[str, Any]:
    return {"id": ID, "happened_at": NOW, "to": "P000001X", "code": "R000001X", **fields}


def batch(*scans: Any, **fields: Any) -> dict[str, Any]:
    return {"device": "d", "device_now": NOW, "scans": list(scans), **fields}


def by_the_serializer(body: Any) -> dict[str, Any] | None:
    try:
        given = ScanBatchInSerializer().run_validation(body)
    except ValidationError:
        return None
    return {**given, "scans": [ScanIn(**each) for each in given["scans"]]}


def told(given: dict[str, Any]) -> str:
    """All that was read, kinds and zones of the values too."""
    return repr([given["device"], given["device_now"].isoformat(), *(
        (each, each.happened_at.isoformat(), type(each.how), type(each.only_home),
         each.content_hash) for each in given["scans"])])  # fmt: skip


def check(body: Any) -> None:
    given = plain_batch(body)
    if given is not None:
        read = by_the_serializer(body)
        assert read is not None, body
        assert told(given) == told(read), body


@pytest.mark.parametrize("zone", ["UTC", "America/Chicago"])
@pytest.mark.parametrize("field", FIELDS)
def test_what_is_read_is_what_the_serializer_reads(field: str, zone: str) -> None:
    with timezone.override(ZoneInfo(zone)):
        for value in ODD:
            check(batch(scan(**{field: value})))
        without = scan()
        without.pop(field, None)
        check(batch(without))


@pytest.mark.parametrize("field", ["device", "device_now", "scans"])
def test_so_it_is_with_the_batch_itself(field: str) -> None:
    with timezone.override(UTC):
        for value in ODD:
            check(batch(**{field: value}))
        without = batch()
        del without[field]
        check(without)
    for body in (*ODD, [], [scan()], batch(None), batch([]), batch(*[scan()] * (MOST_SCANS + 1))):
        assert plain_batch(body) is None


def test_what_devices_send_is_read_so() -> None:
    """Else nothing is gained, and the tests above say nothing."""
    sent = [
        scan(),
        scan(id=str(uuid.uuid4()), to="", corrects=ID),
        scan(how="tick", sequence=7, only_home=True, quantity=None),
    ]
    assert plain_batch(batch()) is not None
    assert plain_batch(batch(*sent)) is not None
