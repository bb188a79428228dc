"""Devices as they send: known by the id they gave themselves, their clocks compared with ours."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db import connection

from tooling.models import Device
from tooling.queries.prepared import hot_cursor

DEVICES = uuid.UUID("0c1b7a54-58b0-5d1c-8a0e-7f1de9a0c2b4")


def known_device(*, device: str, at: datetime, device_now: datetime) -> Device:
    """The device, its row made on first sight, with how far its clock is off; the row is held from
    here on. Its name is not read."""
    return known_devices([(device, at, device_now)])[0]


def known_devices(clocks: Sequence[tuple[str, datetime, datetime]]) -> list[Device]:
    """The same of several: what it calls itself, the moment, and its own clock then. One statement
    on PostgreSQL, and two for each that is new."""
    desks = [
        Device(
            pk=_device_key(device),
            last_offset_ms=round((device_now - at).total_seconds() * 1000),
            last_seen_at=at,
        )
        for device, at, device_now in clocks
    ]
    known = _saw_again({desk.pk: desk for desk in desks})
    for desk, (device, _at, _now) in zip(desks, clocks, strict=True):
        if desk.pk not in known:
            name = "" if str(desk.pk) == device.lower() else device[:80]
            seen = {"last_offset_ms": desk.last_offset_ms, "last_seen_at": desk.last_seen_at}
            Device.objects.get_or_create(pk=desk.pk, defaults={**seen, "name": name})
            known.add(desk.pk)
    return desks


def _device_key(device: str) -> uuid.UUID:
    try:
        return uuid.UUID(device)
    except ValueError:
        return uuid.uuid5(DEVICES, device)


_SEEN_TOGETHER = (
    "WITH given AS (SELECT * FROM unnest(%s::uuid[], %s::bigint[], %s::timestamptz[]) "
    "AS given (id, off, seen)), held AS (SELECT d.id FROM tooling_device d JOIN given USING (id) "
    "ORDER BY d.id FOR NO KEY UPDATE OF d) "
    "UPDATE tooling_device d SET last_offset_ms = given.off, last_seen_at = given.seen "
    "FROM given JOIN held USING (id) WHERE d.id = given.id RETURNING d.id"
)
_SEEN = "UPDATE tooling_device SET last_offset_ms = %s, last_seen_at = %s WHERE id = %s"


def _saw_again(desks: Mapping[uuid.UUID, Device]) -> set[uuid.UUID]:
    """Write what is new of those that are known; which they are. The ORM would spend more on this
    than the database does."""
    said = list(desks.values())
    with hot_cursor(connection) as cursor:
        if connection.vendor == "postgresql":
            columns = ["pk", "last_offset_ms", "last_seen_at"]
            cursor.execute(_SEEN_TOGETHER, [[getattr(d, each) for d in said] for each in columns])
            return {pk for (pk,) in cursor.fetchall()}
        known = set()
        for desk in said:
            seen = connection.ops.adapt_datetimefield_value(desk.last_seen_at)
            cursor.execute(_SEEN, [desk.last_offset_ms, seen, desk.pk.hex])
            if cursor.rowcount:
                known.add(desk.pk)
        return known
