"""Devices as they send: known by the id they gave themselves, their clocks compared with ours."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from tooling.models import Device
from tooling.queries.prepared import Asked, hot_cursor

DEVICES = uuid.UUID("0c1b7a54-58b0-5d1c-8a0e-7f1de9a0c2b4")


def known_device(*, device: str, at: datetime, device_now: datetime) -> Device:
    """The device, its row made on first sight, with how far its clock is off; the row is held from
    here on. Its name is not read."""
    return ask_devices([(device, at, device_now)]).all()[0]


Clock = tuple[str, datetime, datetime]
"""What a device calls itself, the moment, and its own clock then."""


@dataclass(frozen=True)
class DevicesAsked:
    """Devices that were seen just now; which of them are known is under way."""

    clocks: Sequence[Clock]
    desks: Sequence[Device]
    known: Asked

    def all(self) -> list[Device]:
        """The devices, in the order of the clocks; those that are new have rows now."""
        known = {pk for (pk,) in self.known.rows()}
        for desk, (device, _at, _now) in zip(self.desks, self.clocks, strict=True):
            if desk.pk not in known:
                name = "" if str(desk.pk) == device.lower() else device[:80]
                seen = {"last_offset_ms": desk.last_offset_ms, "last_seen_at": desk.last_seen_at}
                Device.objects.get_or_create(pk=desk.pk, defaults={**seen, "name": name})
                known.add(desk.pk)
        return list(self.desks)


def ask_devices(clocks: Sequence[Clock]) -> DevicesAsked:
    """The same of several. One statement on PostgreSQL, and two for each that is new."""
    desks = [
        Device(
            pk=_device_key(device),
            last_offset_ms=round((device_now - at).total_seconds() * 1000),
            last_seen_at=at,
        )
        for device, at, device_now in clocks
    ]
    return DevicesAsked(clocks, desks, _saw_again({desk.pk: desk for desk in desks}))


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


def _saw_again(desks: Mapping[uuid.UUID, Device]) -> Asked:
    """Write what is new of those that are known; which they are. The ORM would spend more on this
    than the database does."""
    said = list(desks.values())
    cursor = hot_cursor(connection)
    if connection.vendor == "postgresql":
        columns = ["pk", "last_offset_ms", "last_seen_at"]
        cursor.execute(_SEEN_TOGETHER, [[getattr(d, each) for d in said] for each in columns])
        return Asked(cursor)
    known = []
    with cursor:
        for desk in said:
            seen = connection.ops.adapt_datetimefield_value(desk.last_seen_at)
            cursor.execute(_SEEN, [desk.last_offset_ms, seen, desk.pk.hex])
            if cursor.rowcount:
                known.append((desk.pk,))
    return Asked(known=known)
