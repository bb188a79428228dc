"""``pieces/{code}/history/``: one line of time, with the ids of scans."""

from __future__ import annotations

import uuid

import pytest

from tests.world import MM

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
