"""Regrind plans by program: begun, read, changed, settled, worked out again, put aside."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.regrind_shop import CUT, RegrindShop, regrind_shop, wear
from tests.world import World
from tooling.models import Person
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

As = Callable[[Person], APIClient]
PLANS = "/api/v1/regrind-plans/"


@pytest.fixture
def shop(world: World) -> RegrindShop:
    return regrind_shop(world)


@pytest.fixture
def plan(shop: RegrindShop, api_as: As, engineer: Person) -> str:
    """Begun and worked out."""
    got = api_as(engineer).post(PLANS, {"copies": ["1472-A"], "name": "winter"}, format="json")
    assert got.status_code == 201, got.content
    assert got.json()["is_running"]
    assert work_once(HANDLERS)
    return str(got.json()["number"])


def test_a_plan_is_begun_worked_out_and_read(
    plan: str, shop: RegrindShop, api_as: As, viewer: Person
) -> None:
    client = api_as(viewer)
    assert [row["number"] for row in client.get(PLANS).json()] == [plan]
    told = client.get(f"{PLANS}{plan}/").json()
    assert (told["status"], told["is_proven"], told["is_stale"]) == ("ok", True, False)
    off = {each["piece"]: each["off_mm"] for each in told["decisions"]}
    wanted = {shop.rolls[spot].code: nm for spot, nm in CUT.items()}
    assert {code: round(float(mm) * 1e6) for code, mm in off.items()} == wanted
    assert told["by_the_worst_roll"]["worked"] == 8
    assert told["saves"]["worked"] == 2
    assert told["lines"][0]["passes"][2]["bottom"]["after_mm"] == "149.3"
    assert any(step["what"].startswith("stock on diameter") for step in told["how"])


def test_what_is_asked_is_changed_and_settled(
    plan: str, shop: RegrindShop, api_as: As, engineer: Person
) -> None:
    client, code = api_as(engineer), shop.rolls[4, "top"].code
    got = client.put(f"{PLANS}{plan}/pieces/{code}/", {"decision": "cut_to", "to_mm": "150"},
                     format="json")  # fmt: skip
    assert got.status_code == 200, got.content
    got = client.patch(f"{PLANS}{plan}/", {"step_mm": "0.05", "no_new": True}, format="json")
    assert got.status_code == 200, got.content
    while work_once(HANDLERS):
        pass
    told = client.get(f"{PLANS}{plan}/").json()
    piece = next(each for each in told["decisions"] if each["piece"] == code)
    assert (piece["off_mm"], piece["settled"]) == ("0.6", "cut_to")
    worn = next(e for e in told["decisions"] if e["piece"] == shop.rolls[3, "bottom"].code)
    assert worn["off_mm"] == "1.1"
    got = client.delete(f"{PLANS}{plan}/pieces/{code}/")
    assert got.status_code == 200
    assert client.post(f"{PLANS}{plan}/solve/").status_code == 202


def test_a_face_is_settled_and_one_that_cannot_be_is_explained(
    plan: str, shop: RegrindShop, api_as: As, engineer: Person
) -> None:
    client, worn, other = api_as(engineer), shop.rolls[4, "top"], shop.rolls[4, "bottom"]
    wear(shop, worn, depth_nm=100_000, angle=80.0)
    got = client.put(f"{PLANS}{plan}/pieces/{worn.code}/", {"decision": "face"}, format="json")
    assert got.status_code == 200, got.content
    assert work_once(HANDLERS)
    told = client.get(f"{PLANS}{plan}/").json()
    piece = next(each for each in told["decisions"] if each["piece"] == worn.code)
    assert (piece["decision"], piece["settled"], piece["off_mm"]) == ("face", "face", "0")
    assert piece["face_mm"] == "0.152314"
    client.put(f"{PLANS}{plan}/pieces/{other.code}/", {"decision": "face"}, format="json")
    assert work_once(HANDLERS)
    (conflict,) = client.get(f"{PLANS}{plan}/").json()["conflicts"]
    assert [each["code"] for each in conflict["requirements"]] == ["no_worn_face", "pinned_face"]


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({"copies": []}, 400, "nothing_planned"),
        ({"copies": ["9999-Z"]}, 404, "unknown_copy"),
        ({"copies": ["1472-A"], "step_mm": "0"}, 400, "setting_out_of_range"),
        ({"copies": ["1472-A"], "colour": "red"}, 400, "invalid"),
    ],
)
def test_what_cannot_be_planned_is_refused(
    body: dict[str, Any], status: int, code: str, shop: RegrindShop, api_as: As, engineer: Person
) -> None:
    got = api_as(engineer).post(PLANS, body, format="json")
    assert (got.status_code, got.json()["code"]) == (status, code)


def test_what_cannot_be_settled_is_refused(
    plan: str, shop: RegrindShop, api_as: As, engineer: Person, viewer: Person
) -> None:
    client, code = api_as(engineer), shop.rolls[4, "top"].code
    address = f"{PLANS}{plan}/pieces/{code}/"
    for body, wanted in (
        ({"decision": "cut_to", "to_mm": "150.015"}, "off_grinder_step"),
        ({"decision": "cut_to", "to_mm": "151"}, "cut_adds"),
        ({"decision": "cut_to"}, "pin_unclear"),
    ):
        got = client.put(address, body, format="json")
        assert (got.status_code, got.json()["code"]) == (400, wanted)
    assert client.get(f"{PLANS}RP-9999/").status_code == 404
    assert api_as(viewer).put(address, {"decision": "leave"}, format="json").status_code == 403
    assert client.post(f"{PLANS}{plan}/drop/").json()["state"] == "dropped"
    again = client.post(f"{PLANS}{plan}/drop/")
    assert (again.status_code, again.json()["code"]) == (409, "plan_settled")


def test_when_to_send_what(plan: str, shop: RegrindShop, api_as: As, viewer: Person) -> None:
    told = api_as(viewer).get("/api/v1/regrind-windows/").json()
    assert told["safe_lead_days"] == 14
    (window,) = told["windows"]
    assert (window["copy"], window["suggested"]) == ("1472-A", None)
    assert window["choice"]["missing"] == ["recut_cents"]
