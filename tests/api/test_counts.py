"""Counts by program."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.utils import timezone

from tests.services.counting import Rack
from tests.world import World
from tooling.models import Count, Owner, Person, Piece, RefusedScan

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(db: None) -> Rack:
    return Rack(World(at=timezone.now()))


@pytest.fixture
def api(api_as: Any, attendant: Person) -> Any:
    return api_as(attendant)


def post(api: Any, path: str, **body: Any) -> Any:
    return api.post(f"/api/v1/counts/{path}", body, format="json")


def marks(api: Any, number: int, *scans: dict[str, Any]) -> list[dict[str, Any]]:
    now = timezone.now().isoformat()
    batch = [{"id": str(uuid.uuid4()), "happened_at": now, **scan} for scan in scans]
    answer = post(api, f"{number}/entries/", device="gate", device_now=now, scans=batch)
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_a_whole_count(api: Any, rack: Rack) -> None:
    opened = post(api, "", place=rack.rack.code, note="before the audit")
    assert opened.status_code == 201
    body = opened.json()
    assert (body["number"], body["kind"], body["subject"], body["state"]) == (
        1, "place", "Rack A", "open",
    )  # fmt: skip
    assert body["figures"] == {"expected": 6, "found": 0, "missing": 6, "extra": 0}
    stray = rack.world.piece(rack.drawing, rack.other)
    results = marks(
        api, 1,
        {"code": rack.pieces[0].code, "to": rack.shelf.code},
        {"code": stray.code, "to": rack.shelf.code},
        {"code": rack.bin.code, "quantity": 0},
        {"code": "no such code"},
    )  # fmt: skip
    assert [(each["status"], each["code"]) for each in results] == [
        ("taken", ""), ("taken", "extra"), ("taken", ""), ("refused", "unknown_code"),
    ]  # fmt: skip
    assert post(api, "1/row/", place=rack.row.code).json()["figures"]["found"] == 3
    undone = marks(api, 1, {"code": "", "corrects": results[1]["id"]})
    assert undone[0]["status"] == "taken"
    missing = api.get("/api/v1/counts/1/missing/").json()
    assert {row["code"] for row in missing} == {
        rack.pieces[1].code, rack.pieces[2].code, rack.pieces[5].code,
    }  # fmt: skip
    assert set(missing[0]) >= {"seen_at", "seen_by", "seen_place", "candidates"}
    refused = post(api, "1/close/", reasons={rack.pieces[1].code: "lent"})
    assert (refused.status_code, refused.json()["code"]) == (400, "reason_missing")
    grew = post(api, "1/close/", otherwise="still looking", listed=[rack.pieces[1].code])
    assert (grew.status_code, grew.json()["code"]) == (409, "list_changed")
    closed = post(api, "1/close/", otherwise="still looking").json()
    assert closed["figures"] == {"expected": 16, "found": 3, "missing": 13, "extra": 0}
    outcomes = {row["code"]: (row["outcome"], row["reason"]) for row in closed["pieces"]}
    assert outcomes[rack.pieces[1].code] == ("missing", "still looking")
    assert closed["bins"][0]["counted"] == 0
    late = marks(api, 1, {"code": rack.pieces[1].code})
    assert (late[0]["status"], late[0]["code"]) == ("refused", "count_closed")
    assert RefusedScan.objects.filter(error_code="count_closed").count() == 1
    again = post(api, "1/close/", otherwise="x")
    assert (again.status_code, again.json()["code"]) == (409, "count_closed")
    rows = api.get("/api/v1/counts/?state=closed").json()
    assert [(row["number"], row["accuracy"]) for row in rows] == [(1, 3 / 16)]
    record = api.get("/api/v1/counts/accuracy/").json()
    assert (record["accuracy"], record["subjects"][0]["subject"]) == (3 / 16, "Rack A")


def test_copies_and_owners_are_counted_by_name_and_dropped(api: Any, rack: Rack) -> None:
    acme = Owner.objects.create(code="ACME", name="Acme")
    tool_set = rack.world.tool_set("S1", {(1, "top", 1): rack.drawing})
    rack.world.copy(tool_set, "A", {(1, "top", 1): rack.pieces[0]})
    assert post(api, "", owner="acme").json()["subject"] == acme.name
    assert post(api, "", set="S1", copy="A").json()["subject"] == "S1-A"
    assert post(api, "2/drop/", note="wrong one").json()["state"] == "dropped"
    twice = post(api, "", owner="ACME")
    assert (twice.status_code, twice.json()["code"]) == (409, "already_counting")


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({}, 400, "one_subject"),
        ({"place": "PX", "owner": "SHOP"}, 404, "unknown_code"),
        ({"owner": "NOBODY"}, 404, "unknown_owner"),
        ({"set": "S9", "copy": "A"}, 404, "unknown_set"),
        ({"place": "P", "colour": "red"}, 400, "invalid"),
    ],
)
def test_bad_openings_open_nothing(
    api: Any, rack: Rack, body: dict[str, str], status: int, code: str
) -> None:
    answer = post(api, "", **body)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert not Count.objects.exists()


def test_bad_batches_count_nothing(api: Any, rack: Rack) -> None:
    post(api, "", place=rack.rack.code)
    now = timezone.now().isoformat()
    good = {"id": str(uuid.uuid4()), "happened_at": now, "code": "x"}
    for wrong in ({"id": "x"}, {"happened_at": "soon"}, {"quantity": -1}, {"how": "guess"}):
        scan = {**good, **wrong}
        answer = post(api, "1/entries/", device="gate", device_now=now, scans=[scan])
        assert (answer.status_code, answer.json()["code"]) == (400, "invalid")
    assert api.get("/api/v1/counts/99/").json()["code"] == "unknown_count"
    assert api.get("/api/v1/counts/99999999999/").json()["code"] == "unknown_count"
    assert Piece.objects.filter(place=rack.rack).count() == 1


def test_the_plan_says_what_is_due(api: Any, rack: Rack) -> None:
    plan = api.get("/api/v1/counts/plan/").json()
    assert plan["pressing"] == 1
    [row] = plan["places"]
    assert (row["place"], row["due"], row["how_often"], row["pieces"], row["bins"]) == (
        rack.rack.code, "never", "rest", 6, 1,
    )  # fmt: skip


def test_the_crew_counts_but_does_not_close(
    api_as: Any, crew: Person, api: Any, rack: Rack
) -> None:
    post(api, "", place=rack.rack.code)
    hands = api_as(crew)
    assert marks(hands, 1, {"code": rack.pieces[0].code})[0]["status"] == "taken"
    for path, body in (("", {"place": rack.other.code}), ("1/close/", {}), ("1/drop/", {})):
        assert post(hands, path, **body).json()["code"] == "not_allowed"
