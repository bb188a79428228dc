"""The server's disk is full: it says so, half of nothing is saved, and the same batch is taken
when there is room again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.db import connection
from rest_framework.test import APIClient

from tests.services.scanning import DEVICE
from tests.world import World, make_person
from tooling.errors import NoRoom
from tooling.models import Movement, RefusedScan, Role
from tooling.services.rebuild import differences
from tooling.services.write import writing

pytestmark = pytest.mark.django_db(transaction=True)

FULL = """
CREATE FUNCTION disk_is_full() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'could not extend file: No space left on device' USING ERRCODE = '53100';
END $$;
CREATE TRIGGER disk_is_full BEFORE INSERT ON tooling_movement FOR EACH ROW WHEN (NEW.id % 7 = 0)
EXECUTE FUNCTION disk_is_full();
"""


@contextmanager
def full_disk() -> Iterator[None]:
    """SQLite may not grow its file; PostgreSQL answers as from a full disk at one row of seven."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            pages = cursor.execute("PRAGMA page_count").fetchone()[0]
            cursor.execute(f"PRAGMA max_page_count = {pages}")
        else:
            cursor.execute(FULL)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA max_page_count = 1073741823")
            else:
                cursor.execute("DROP FUNCTION disk_is_full CASCADE")


@pytest.fixture
def world(transactional_db: None, at) -> World:
    return World(at=at)


def test_a_batch_that_finds_no_room_is_refused_whole_and_taken_later(world, at, api_as) -> None:
    racks = [world.place(f"Rack {n}") for n in range(2)]
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, racks[0]) for _n in range(400)]
    client: APIClient = api_as(make_person("sender", Role.ATTENDANT))
    before = Movement.objects.count()
    batch = {
        "device": DEVICE,
        "device_now": at.isoformat(),
        "scans": [
            {
                "id": f"00000000-0000-4000-8000-{n:012d}",
                "code": piece.code,
                "to": racks[1].code,
                "happened_at": at.isoformat(),
            }
            for n, piece in enumerate(pieces)
        ],
    }
    with full_disk():
        answer = client.post("/api/v1/scans/", batch, format="json")
        assert (answer.status_code, answer.json()["code"]) == (507, "no_room")
        assert "nothing was saved" in answer.json()["message"]
        assert Movement.objects.count() == before
        assert not RefusedScan.objects.exists()
    assert differences() == []
    again = client.post("/api/v1/scans/", batch, format="json").json()["results"]
    assert {each["status"] for each in again} == {"taken"}
    assert Movement.objects.count() == before + len(pieces)


def test_another_trouble_of_the_database_is_not_called_a_full_disk(world) -> None:
    with (
        pytest.raises(Exception, match="no_such_table") as raised,
        writing(),
        connection.cursor() as cursor,
    ):
        cursor.execute("SELECT * FROM no_such_table")
    assert not isinstance(raised.value, NoRoom)
