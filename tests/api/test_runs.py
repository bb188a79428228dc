"""Runs and counters by the API: the same services, the same codes."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from tests.services.mounted import Mounted, mounted
from tests.standing import Standing
from tests.world import World
from tooling.models import Person, Piece, Run

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_stood(standing_world: World, standing_cast: dict[str, Person]) -> Mounted:
    return mounted(standing_world, standing_cast["crew"])


@pytest.fixture
def stood(standing: Standing, standing_stood: Mounted) -> Mounted:
    return standing.copy(standing_stood)


@pytest.fixture
def api(api_as: Any, crew: Person) -> APIClient:
    client: APIClient = api_as(crew)
    return client


def post(api: APIClient, url: str, **body: Any) -> Any:
    return api.post(f"/api/v1/{url}", body, format="json")


def end_of(stood: Mounted, minutes: int = 30) -> str:
    return (stood.at + timedelta(minutes=minutes)).isoformat()


def test_a_run_is_posted_corrected_and_taken_back(api: APIClient, stood: Mounted) -> None:
    body = {"setup": stood.kit.number, "id": str(uuid.uuid4()), "length_ft": "1000",
            "parts": 99, "part_in": "120", "coil": "C-1", "happened_at": end_of(stood)}  # fmt: skip
    made = post(api, "runs/", **body)
    assert made.status_code == 201, made.json()
    assert Run.objects.get().unit == "ft", "as it was written"
    run = made.json()["run"]
    assert (run["length_m"], run["way"], run["state"]) == ("304.8", "counter", "stands")
    assert [(each["way"], each["length_m"], each["differs"]) for each in run["ways"]] == [
        ("parts", "301.752", False)
    ]
    assert len(made.json()["pieces"]) == 6
    assert post(api, "runs/", **body).json()["run"]["id"] == run["id"]
    changed = post(api, "runs/", **{**body, "coil": "C-2"})
    assert (changed.status_code, changed.json()["code"]) == (409, "id_reused")
    new = post(api, f"runs/{run['id']}/correct/", length_m="400").json()["run"]
    assert (new["corrects"], new["coil"], new["length_m"]) == (run["id"], "C-1", "400")
    assert api.get(f"/api/v1/runs/{run['id']}/").json()["run"]["state"] == "corrected"
    assert [each["id"] for each in api.get("/api/v1/runs/").json()["results"]] == [new["id"]]
    every = api.get("/api/v1/runs/?standing=0").json()["results"]
    assert [each["id"] for each in every] == [new["id"], run["id"]]
    assert post(api, f"runs/{new['id']}/take-back/").status_code == 201
    assert api.get("/api/v1/runs/").json() == {"results": [], "next": None}
    assert not Piece.objects.filter(length_run_nm__gt=0).exists()


@pytest.mark.parametrize(
    ("code", "body"),
    [
        ("counter_backwards", {"counter_start_m": "900", "counter_end_m": "100"}),
        ("ambiguous_length", {"length_m": "900", "length_ft": "3000"}),
        ("ambiguous_length", {"length_m": "900 ft"}),
        ("nothing_given", {}),
        ("no_counter", {"from_feed": True}),
        ("not_a_length", {"length_m": "much"}),
    ],
)
def test_refusals_carry_the_codes_of_the_pages(
    api: APIClient, stood: Mounted, code: str, body: dict[str, Any]
) -> None:
    got = post(api, "runs/", setup=stood.kit.number, happened_at=end_of(stood), **body)
    assert got.status_code in (400, 409)
    assert got.json()["code"] == code
    assert not Run.objects.exists()


def test_a_run_of_an_unknown_setup_and_a_stranger_field(api: APIClient, stood: Mounted) -> None:
    assert post(api, "runs/", setup="K0000000", length_m="1").json()["code"] == "unknown_setup"
    got = post(api, "runs/", setup=stood.kit.number, length_m="1", lenght="2")
    assert got.status_code == 400
    assert api.get("/api/v1/runs/999/").status_code == 404


def test_the_counter_feed_and_what_it_moved(api: APIClient, stood: Mounted) -> None:
    now = timezone.now()
    rows = [
        {"id": str(uuid.uuid4()), "happened_at": (now - timedelta(minutes=n)).isoformat(),
         "value_m": str(value)}
        for n, value in ((30, 100), (20, 250), (10, 40))
    ]  # fmt: skip
    first = post(api, "mills/M1/counter/", readings=rows)
    assert [each["status"] for each in first.json()["results"]] == ["taken"] * 3
    other = {**rows[0], "value_m": "101"}
    again = post(api, "mills/M1/counter/", readings=[rows[2], other])
    assert [each["code"] or each["status"] for each in again.json()["results"]] == [
        "repeated", "id_reused",
    ]  # fmt: skip
    moved = api.get("/api/v1/mills/M1/counter/").json()
    assert [(each["moved_m"], each["resets"]) for each in moved] == [("190", 1)]
    assert post(api, "mills/nowhere/counter/", readings=rows).status_code == 404
