"""Phones and tablets: who uses them where, whose clock is wrong, what still waits on them."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import F, QuerySet
from django.utils.translation import ngettext

from tooling.models import Device, SetupState

CLOCK_IS_OFF = timedelta(minutes=2)
"""The same as scans are flagged beyond (``services/scans.LARGE_OFFSET``)."""
SEEN_WITHIN = timedelta(days=7)


@dataclass(frozen=True)
class DeviceRow:
    """One device. ``offset``: its clock was ahead by so much when it last sent (negative: behind).

    ``waiting``: scans that it said it still kept; None: it never said.
    """

    key: uuid.UUID
    name: str
    is_shared: bool
    mill: str
    offset: timedelta
    seen_at: datetime | None
    waiting: int | None

    @property
    def clock_is_off(self) -> bool:
        return abs(self.offset) > CLOCK_IS_OFF

    @property
    def is_ahead(self) -> bool:
        return self.offset > timedelta()

    @property
    def off_by(self) -> str:
        """By how much the clock is off, as a person says it."""
        minutes = round(abs(self.offset) / timedelta(minutes=1))
        if minutes < 120:
            return ngettext("{n} minute", "{n} minutes", minutes).format(n=minutes)
        if minutes < 2 * 24 * 60:
            return ngettext("{n} hour", "{n} hours", minutes // 60).format(n=minutes // 60)
        days = minutes // (24 * 60)
        return ngettext("{n} day", "{n} days", days).format(n=days)


def device_rows() -> tuple[DeviceRow, ...]:
    """Every device, the last seen first. One query."""
    return _rows(Device.objects.all())


def clocks_off(*, at: datetime) -> tuple[DeviceRow, ...]:
    """Devices of the last week whose clock is off. One query."""
    recent = Device.objects.filter(last_seen_at__gte=at - SEEN_WITHIN)
    most = CLOCK_IS_OFF / timedelta(milliseconds=1)
    return _rows(recent.exclude(last_offset_ms__range=(-most, most)))


def _rows(devices: QuerySet[Device]) -> tuple[DeviceRow, ...]:
    found = devices.select_related("mill")
    return tuple(
        DeviceRow(
            key=each.pk,
            name=str(each),
            is_shared=each.is_shared,
            mill=each.mill.number if each.mill else "",
            offset=timedelta(milliseconds=each.last_offset_ms),
            seen_at=each.last_seen_at,
            waiting=each.waiting,
        )
        for each in found.order_by(F("last_seen_at").desc(nulls_last=True), "pk")
    )


def find_device(key: uuid.UUID) -> Device | None:
    """One query."""
    return Device.objects.select_related("mill").filter(pk=key).first()


def stays_open(key: uuid.UUID) -> bool:
    """Whether the device stands at a mill where a setup is open, so that nobody has to log in
    again with gloves on. One query."""
    standing = [state for state in SetupState.values if state != SetupState.STRUCK]
    return Device.objects.filter(pk=key, mill__setups__state__in=standing).exists()
