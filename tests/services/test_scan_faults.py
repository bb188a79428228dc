"""Clocks that are wrong by a day or a year, and one scan that two devices send."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.services.scanning import a_scan, put, send
from tooling.models import Device, Movement
from tooling.queries.devices import clocks_off
from tooling.services.rebuild import differences
from tooling.services.scans import record_batch

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)
DAY, YEAR = timedelta(days=1), timedelta(days=366)


@pytest.fixture
def racks(world):
    return [world.place(f"Rack {n}") for n in range(3)]


@pytest.fixture
def piece(world, racks):
    return world.piece(world.drawing("D1"), racks[0])


@pytest.mark.parametrize("wrong_by", [DAY, -DAY, YEAR, -YEAR, -56 * YEAR])
def test_a_wrong_clock_is_put_right_flagged_and_shown(
    racks, piece, attendant, at, wrong_by
) -> None:
    """Two scans an hour old of a device whose clock is off, among those of one that is right."""
    earlier, later = at - 60 * MINUTE, at - 30 * MINUTE
    put(attendant, at - 45 * MINUTE, piece.code, racks[1].code)
    batch = [
        a_scan(piece.code, racks[2].code, at=earlier + wrong_by),
        a_scan(piece.code, racks[0].code, at=later + wrong_by),
    ]
    assert [r.status for r in send(attendant, at, *batch, clock_ahead=wrong_by)] == ["taken"] * 2
    rows = Movement.objects.filter(uuid__in=[scan.id for scan in batch]).order_by("effective_at")
    assert [row.effective_at for row in rows] == [earlier, later]
    assert all(row.clock_is_off for row in rows)
    piece.refresh_from_db()
    assert piece.place == racks[0]
    [device] = clocks_off(at=at)
    assert device.offset == wrong_by
    assert differences() == []


def test_a_clock_that_was_set_right_is_no_longer_shown(racks, piece, attendant, at) -> None:
    send(attendant, at, a_scan(piece.code, racks[1].code, at=at), clock_ahead=DAY)
    send(attendant, at + MINUTE, a_scan(piece.code, racks[2].code, at=at + MINUTE))
    assert clocks_off(at=at + MINUTE) == ()
    assert Movement.objects.filter(clock_is_off=True).count() == 1


def test_a_clock_that_was_set_between_scan_and_sending_stays_before_now(
    racks, piece, attendant, at
) -> None:
    """What it scanned by the wrong clock seems to lie ahead; it counts as of when it was heard."""
    send(attendant, at, a_scan(piece.code, racks[1].code, at=at + YEAR))
    assert Movement.objects.latest("pk").effective_at == at
    assert put(attendant, at + MINUTE, piece.code, racks[2].code).status == "taken"
    piece.refresh_from_db()
    assert piece.place == racks[2]


def test_one_scan_that_two_devices_send_counts_once(racks, piece, attendant, at) -> None:
    """A copied profile, or a list of waiting scans that was taken over by another phone."""
    scan = a_scan(piece.code, racks[1].code, at=at)
    statuses = [
        record_batch(by=attendant, at=at, device=name, device_now=at, scans=[scan])[0].status
        for name in ("phone", "tablet")
    ]
    assert statuses == ["taken", "repeated"]
    assert Movement.objects.filter(uuid=scan.id).count() == 1
    assert Device.objects.count() == 2


def test_two_scans_of_one_piece_from_two_devices_both_stand(racks, piece, attendant, at) -> None:
    for name, rack, ago in (("phone", racks[1], 1), ("tablet", racks[2], 2)):
        scan = a_scan(piece.code, rack.code, at=at - ago * MINUTE)
        record_batch(by=attendant, at=at, device=name, device_now=at, scans=[scan])
    piece.refresh_from_db()
    assert piece.place == racks[1]
    assert Movement.objects.filter(scan__isnull=False).count() == 2
