"""A cut and a reading of one day: the later one tells the size, by the shop's clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.world import MM, World
from tooling.models import Piece, Shop
from tooling.services import rebuild
from tooling.services.readings import record_reading
from tooling.services.work import record_work

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("R1"), world.place("Rack A"))


def cut(engineer, piece, at, done_on) -> None:
    record_work(
        by=engineer, at=at, piece=piece, kind="regrind", done_on=done_on,
        sizes={"drive_diameter": (150 * MM, 149 * MM)},
    )  # fmt: skip


def measure(engineer, piece, at, happened_at, value_nm) -> int | None:
    record_reading(
        by=engineer, at=at, piece=piece, dimension="drive_diameter", value_nm=value_nm, unit="mm",
        happened_at=happened_at, sure=True,
    )  # fmt: skip
    piece.refresh_from_db()
    assert rebuild.differences() == []
    return piece.now_drive_diameter_nm


def test_a_reading_after_the_cut_of_the_same_day_is_newer(engineer, piece, at) -> None:
    cut(engineer, piece, at, at.date())
    later = at + HOUR
    assert measure(engineer, piece, later, later, 148 * MM) == 148 * MM


def test_a_cut_written_down_later_counts_from_the_end_of_its_day(engineer, piece, at) -> None:
    cut(engineer, piece, at, (at - timedelta(days=2)).date())
    noon = at - timedelta(days=2)
    assert measure(engineer, piece, at, noon, 148 * MM) == 149 * MM


def test_the_day_ends_by_the_shops_clock(engineer, piece) -> None:
    """23:30 in Chicago on the 24th is 05:30 UTC on the 25th: still within the day of the cut."""
    Shop.objects.update_or_create(pk=1, defaults={"name": "S", "time_zone": "America/Chicago"})
    at = datetime(2026, 11, 27, 15, tzinfo=UTC)
    cut(engineer, piece, at, datetime(2026, 11, 24, tzinfo=UTC).date())
    late = datetime(2026, 11, 25, 5, 30, tzinfo=UTC)
    assert measure(engineer, piece, at, late, 148 * MM) == 149 * MM
    assert measure(engineer, piece, at, late + HOUR, 148 * MM) == 148 * MM
