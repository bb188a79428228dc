"""Changeovers, orders, times, checks, rules and striking down, as programs ask for them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.services.mounted import Mounted, mounted
from tests.standing import Standing
from tests.world import World
from tooling.models import Person, SetupState, Station

pytestmark = pytest.mark.django_db

As = Callable[[Person], APIClient]


@pytest.fixture(scope="module")
def standing_stood(standing_world: World, standing_cast: dict[str, Person]) -> Mounted:
    return mounted(standing_world, standing_cast["crew"])


@pytest.fixture
def stood(standing: Standing, standing_stood: Mounted) -> Mounted:
    return standing.copy(standing_stood)


def post(client: APIClient, address: str, **body: Any) -> Any:
    return client.post(f"/api/v1/{address}", body, format="json")


def test_what_stands_and_what_comes_next(stood: Mounted, world: World, api_as: As,
                                         viewer: Person) -> None:  # fmt: skip
    client = api_as(viewer)
    on = client.get("/api/v1/mills/M1/on-it/").json()
    assert on["setup"]["number"] == stood.kit.number
    stack = [each["order"] for each in on["stations"][1]["stood"] if each["shaft"] == "top"]
    assert stack == [1, 2]
    assert client.get("/api/v1/changeovers/?mill=M1").json()["next"] is None
    world.job(stood.shop.tool_set, stood.shop.mill, number="N", in_hours=90)
    page = client.get("/api/v1/changeovers/?mill=M1").json()
    assert (page["next"]["job"], page["staying"], page["opened"]) == ("N", 12, [])
    assert page["forecast"] == {"minutes": 0.0, "least": 0.0, "most": 0.0, "timed": 0}
    assert page["order"] is None
    gone = client.get("/api/v1/changeovers/?mill=M9")
    assert gone.status_code == 404


def test_times(stood: Mounted, api_as: As, crew: Person, viewer: Person) -> None:
    client, base = api_as(crew), f"setups/{stood.kit.number}"
    said = post(client, f"{base}/steps/", what="stopped")
    assert said.status_code == 201
    step = said.json()["steps"][0]["id"]
    said = post(client, f"{base}/delays/", cause="waiting", minutes=7.5, station=2)
    assert said.json()["delay_minutes"] == 7.5
    delay = said.json()["delays"][0]["id"]
    refused = post(client, f"{base}/delays/", cause="waiting", minutes=-1)
    assert (refused.status_code, refused.json()["code"]) == (400, "improbable_value")
    assert post(client, f"{base}/steps/", what="stopped").json()["code"] == "step_said"
    assert client.delete(f"/api/v1/{base}/delays/{delay}/").json()["delays"] == []
    assert client.delete(f"/api/v1/{base}/steps/{step}/").json()["steps"] == []
    again = client.delete(f"/api/v1/{base}/steps/{step}/")
    assert (again.status_code, again.json()["code"]) == (409, "already_corrected")
    assert client.delete(f"/api/v1/{base}/steps/999999/").status_code == 404
    assert post(api_as(viewer), f"{base}/steps/", what="mounted").status_code == 403


def test_a_whole_strip_down(stood: Mounted, api_as: As, crew: Person) -> None:
    client, base = api_as(crew), f"setups/{stood.kit.number}/strip-down"
    gap = stood.shop.pieces[1, "top", 1].code
    assert post(client, f"{base}/strike/").json()["code"] == "shafts_still_on"
    page = post(client, f"{base}/off/", stations=stood.stations, gaps=[gap]).json()
    assert [each["code"] for each in page["not_home"]] == [gap]
    page = post(client, f"{base}/undo/", act=page["undo"]).json()
    assert all(row["is_open"] for row in page["rows"])
    post(client, f"{base}/off/", stations=stood.stations)
    assert post(client, f"{base}/spacers/").json()["spacers"] == []
    assert post(client, f"{base}/clean/").json()["looked_over_by"]
    assert client.delete(f"/api/v1/{base}/clean/").json()["looked_over_by"] == ""
    assert post(client, f"{base}/flag/", code=gap, what="odd").json()["code"] == "unknown_stop"
    page = post(client, f"{base}/flag/", code=gap, what="chipped")
    assert page.status_code == 200
    assert post(client, f"{base}/strike/").json()["is_over"]
    stood.setup.refresh_from_db()
    assert stood.setup.state == SetupState.STRUCK
    assert post(client, f"{base}/off/", stations=[2]).json()["code"] == "setup_struck"


def test_orders_are_asked_for_and_settled(stood: Mounted, api_as: As, engineer: Person) -> None:
    client = api_as(engineer)
    asked = post(client, "changeovers/order/", mill="M1")
    assert asked.status_code == 202
    task = client.get("/api/v1/changeovers/?mill=M1").json()["order"]["task"]
    for address in ("accept", "keep"):
        refused = post(client, f"changeovers/{address}/", mill="M1", task=task)
        assert (refused.status_code, refused.json()["code"]) == (409, "no_such_order")
    assert post(client, "changeovers/order/", mill="M9").status_code == 404


def test_checks_and_rules(world: World, api_as: As, engineer: Person) -> None:
    world.mill("M9", stations=2)
    client = api_as(engineer)
    done = post(client, "mills/M9/checks/", what="aligned", on="2026-11-01", stations=[2])
    assert done.json() == {"changed": 1}
    assert Station.objects.get(mill__number="M9", number=2).aligned_on is not None
    changed = client.patch(
        "/api/v1/mills/M9/stations/1/top/",
        {"end_play_mm": "0.04", "end_play_measured_on": "2026-11-01"},
        format="json",
    ).json()
    shaft = next(each for each in changed["stations"][0]["shafts"] if each["which"] == "top")
    assert (shaft["end_play_mm"], shaft["end_play_measured_on"]) == ("0.04", "2026-11-01")
    refused = post(client, "mills/M9/checks/", what="aligned", on="2099-01-01")
    assert refused.json()["code"] == "not_yet"
    made = post(client, "mills/M9/rules/", kind="apart", first="oiled", then="painted")
    assert made.status_code == 201
    assert post(client, "mills/M9/rules/", kind="apart", first="oiled").json()["code"] == (
        "empty_text"
    )
    assert len(client.get("/api/v1/mills/M9/rules/").json()) == 1
    address = f"/api/v1/mills/M9/rules/{made.json()['id']}/"
    assert client.delete(address).status_code == 204
    assert client.delete(address).status_code == 404
