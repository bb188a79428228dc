"""Short ways for tests to scan."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from tooling.models import Person
from tooling.services import scans
from tooling.services.scan_moves import ScanIn

DEVICE = "7d1d9c9e-2f6b-4b39-8d43-0a4f1f0f6a01"


def a_scan(code: str, to: str, *, at: datetime, **fields: Any) -> ScanIn:
    fields.setdefault("id", uuid.uuid4())
    fields.setdefault("happened_at", at)
    return ScanIn(code=code, to=to, **fields)


def send(
    by: Person, at: datetime, *batch: ScanIn, clock_ahead: timedelta = timedelta()
) -> list[scans.ScanResult]:
    return scans.record_batch(
        by=by, at=at, device=DEVICE, device_now=at + clock_ahead, scans=list(batch)
    )


def put(by: Person, at: datetime, code: str, to: str, **fields: Any) -> scans.ScanResult:
    """One scan that happens as it is sent."""
    return send(by, at, a_scan(code, to, at=at, **fields))[0]
