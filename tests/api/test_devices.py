"""Devices, badges and PINs by program: the same acts, the same refusals as on the pages."""

from __future__ import annotations

import pytest
from django.utils import timezone

from tooling.models import Device
from tooling.queries.badges import person_of_badge

pytestmark = pytest.mark.django_db


def test_a_device_is_listed_with_its_clock_and_named(api_as, supervisor, world) -> None:
    world.mill("M1", stations=1)
    device = Device.objects.create(last_offset_ms=-120_001_000, last_seen_at=timezone.now())
    client = api_as(supervisor)
    [row] = client.get("/api/v1/devices/").json()
    assert (row["clock_ahead_s"], row["clock_is_off"], row["waiting"]) == (-120_001.0, True, None)
    sent = {"name": "Gate", "is_shared": True, "mill": "M1"}
    told = client.put(f"/api/v1/devices/{device.pk}/", sent, format="json").json()
    assert (told["name"], told["is_shared"], told["mill"]) == ("Gate", True, "M1")
    other = "00000000-0000-4000-8000-000000000000"
    gone = client.put(f"/api/v1/devices/{other}/", sent, format="json")
    assert (gone.status_code, gone.json()["code"]) == (404, "unknown_device")


def test_a_badge_is_issued_told_once_and_ended(api_as, supervisor, crew) -> None:
    client, url = api_as(supervisor), "/api/v1/people/crew/badges/"
    issued = client.post(url, {"called": "card"}, format="json").json()
    assert person_of_badge(issued["text"]) == crew
    [row] = client.get(url).json()
    assert (row["called"], row["ended_at"], "text" in row) == ("card", None, False)
    assert client.post(f"{url}{row['id']}/end/").status_code == 204
    assert person_of_badge(issued["text"]) is None


def test_the_shops_own_badge_is_taken_over_once(api_as, supervisor, crew, engineer) -> None:
    client = api_as(supervisor)
    sent = {"read": "FOB-1"}
    assert client.post("/api/v1/people/crew/badges/", sent, format="json").status_code == 201
    answer = client.post("/api/v1/people/engineer/badges/", sent, format="json")
    assert (answer.status_code, answer.json()["code"]) == (409, "badge_taken")


def test_everybody_sets_their_own_pin(api_as, crew, engineer) -> None:
    client = api_as(crew)
    url = "/api/v1/people/crew/pin/"
    assert client.put(url, {"pin": "1111"}, format="json").json()["code"] == "weak_pin"
    assert client.put(url, {"pin": "4071"}, format="json").status_code == 204
    crew.refresh_from_db()
    assert crew.pin
    other = client.put("/api/v1/people/engineer/pin/", {"pin": "4071"}, format="json")
    assert other.status_code == 403
