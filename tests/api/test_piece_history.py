"""``pieces/{code}/history/``: one line of time, with the ids of scans."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta

import pytest
from django.utils import timezone

from tests.world import MM
from tooling.models import Work
from tooling.queries.piece_history import piece_history
from tooling.services.lengths_run import record_length

pytestmark = pytest.mark.django_db
NOW = "2026-11-25T10:00:00Z"


@pytest.fixture
def piece(world):
    return world.piece(world.drawing("R-1", bore_nm=60 * MM), world.place("Rack A"), mark="1")


def scan(client, code, to):
    id = str(uuid.uuid4())
    sent = {"id": id, "happened_at": NOW, "to": to, "code": code, "how": "scan"}
    body = {"device": str(uuid.uuid4()), "device_now": NOW, "scans": [sent]}
    client.post("/api/v1/scans/", body, format="json")
    return id


def history(client, piece):
    return client.get(f"/api/v1/pieces/{piece.code}/history/").json()["results"]


def test_a_scan_stands_in_the_history_with_its_id_and_place(
    world, piece, api_as, attendant
) -> None:
    client, other = api_as(attendant), world.place("Rack B")
    id = scan(client, piece.code, other.code)
    newest = history(client, piece)[0]
    assert (newest["scan"], newest["status"], newest["place"]) == (id, "taken", other.code)
    assert (newest["kind"], newest["how"], newest["by"]) == ("movement", "scan", "Attendant")


def test_a_refused_scan_stands_there_too_with_its_reason(world, piece, api_as, attendant) -> None:
    client = api_as(attendant)
    id = scan(client, piece.code, world.code("P"))
    refused = next(entry for entry in history(client, piece) if entry["status"] == "refused")
    assert (refused["scan"], refused["code"]) == (id, "unknown_code")


def test_what_no_scan_caused_has_no_scan(piece, api_as, engineer) -> None:
    client = api_as(engineer)
    client.patch(f"/api/v1/pieces/{piece.code}/", {"mark": "2"}, format="json")
    assert {entry["scan"] for entry in history(client, piece)} == {None}


def test_a_regrind_tells_its_sizes_in_mm(piece, api_as, engineer) -> None:
    client = api_as(engineer)
    work = {"kind": "regrind", "done_on": "2026-01-15",
            "outside_diameter_before_mm": "180", "outside_diameter_after_mm": "179.25"}  # fmt: skip
    client.post(f"/api/v1/pieces/{piece.code}/work/", work, format="json")
    entry = next(entry for entry in history(client, piece) if entry["kind"] == "work")
    assert entry["sizes"] == [
        {"dimension": "outside_diameter", "before_mm": "180", "after_mm": "179.25"}
    ]


def test_work_stands_where_it_counts_and_never_ahead(world, piece, api_as, engineer, at) -> None:
    """Of today: when it was written down; written down days later: the end of its day."""
    today = timezone.localdate(at)
    rows = [(today, at), (today - timedelta(days=3), at), (today, at - timedelta(hours=1)),
            (today - timedelta(days=3), at - timedelta(days=1))]  # fmt: skip
    made = [
        Work.objects.create(piece=piece, kind="polish", done_on=day, received_at=received)
        for day, received in rows
    ]
    record_length(by=engineer, at=at, piece=piece, length_nm=10**9,
                  happened_at=at - timedelta(minutes=30))  # fmt: skip
    seen, after = [], ""
    while True:
        page = piece_history(piece.code, after=after, size=1)
        seen += [entry for entry in page.entries if entry.kind in ("work", "length")]
        after = page.after
        if not after:
            break
    order = [entry.id if entry.kind == "work" else "ran" for entry in seen]
    assert order == [made[0].pk, "ran", made[2].pk, made[3].pk, made[1].pk]
    assert [entry.at for entry in seen[:3]] == [at, at - timedelta(minutes=30),
                                                at - timedelta(hours=1)]  # fmt: skip
    assert f"{timezone.localtime(seen[4].at):%H:%M}" == "23:59"
    told = [entry for entry in history(api_as(engineer), piece) if entry["kind"] == "work"]
    assert [entry["done_on"] for entry in told] == [
        str(today), str(today), *[str(today - timedelta(days=3))] * 2,
    ]  # fmt: skip
    assert max(datetime.fromisoformat(entry["at"]) for entry in told) <= at


def test_the_page_tells_work_by_its_day_without_a_clock(piece, log_in, engineer) -> None:
    now = timezone.now()
    for days in (0, 1):
        Work.objects.create(piece=piece, kind="polish", received_at=now,
                            done_on=timezone.localdate(now) - timedelta(days=days))  # fmt: skip
    page = log_in(engineer).get(f"/pieces/{piece.code}/").content.decode()
    times = [part.split("</time>")[0] for part in page.split('data-kind="work"')[1:]]
    assert ["today" in times[0], "yesterday" in times[1]] == [True, True]
    assert not any(":" in each for each in times)


def test_a_long_history_comes_in_pages(world, piece, api_as, attendant) -> None:
    client = api_as(attendant)
    sent = {"length_m": "10"}
    for _n in range(101):
        client.post(f"/api/v1/pieces/{piece.code}/lengths/", sent, format="json")
    first = client.get(f"/api/v1/pieces/{piece.code}/history/").json()
    second = client.get(first["next"]).json()
    ids = [entry["id"] for entry in first["results"] + second["results"] if
           entry["kind"] == "length"]  # fmt: skip
    assert len(first["results"]) == 100
    assert len(set(ids)) == len(ids) == 101


def test_no_history_of_a_piece_that_is_not(world, api_as, viewer) -> None:
    answer = api_as(viewer).get(f"/api/v1/pieces/{world.code('R')}/history/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_code")
