"""Gauges, gauge points, readings and wear by the API."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.world import MM, World
from tooling.models import Person, Piece, Reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def piece(world: World) -> Piece:
    drawing = world.drawing("R-1", root_diameter_nm=150 * MM)
    return world.piece(drawing, world.place("Rack"))


@pytest.fixture
def api(api_as: Any, engineer: Person) -> APIClient:
    client: APIClient = api_as(engineer)
    return client


def post(api: APIClient, url: str, **body: Any) -> Any:
    return api.post(f"/api/v1/{url}", body, format="json")


def test_from_a_gauge_and_a_point_to_what_is_left(api: APIClient, piece: Piece) -> None:
    gauge = post(api, "gauges/", number="G-1", name="mic", resolution_mm="0.001",
                 uncertainty_mm="0.004", due_on="2020-01-01")  # fmt: skip
    assert (gauge.status_code, gauge.json()["is_overdue"]) == (201, True)
    points = post(
        api, "drawings/R-1/gauge-points/", name="root", dimension="root_diameter", limit_mm="149.5"
    )
    assert [(each["name"], each["limit_mm"]) for each in points.json()] == [("root", "149.5")]
    body = {"id": str(uuid.uuid4()), "piece": piece.code, "point": "root", "value_mm": "149.9",
            "gauge": "G-1", "soaked": True}  # fmt: skip
    kept = post(api, "readings/", **body)
    assert (kept.status_code, kept.json()["conformity"]) == (201, "gauge_overdue")
    assert post(api, "readings/", **body).json()["id"] == kept.json()["id"]
    api.patch("/api/v1/gauges/G-1/", {"due_on": "2999-01-01"}, format="json")
    later = {**body, "id": str(uuid.uuid4()), "value_mm": "149.89"}
    assert post(api, "readings/", **later).json()["conformity"] == "in"
    (row,) = api.get(f"/api/v1/readings/?piece={piece.code}").json()
    assert (row["last_mm"], row["point"]) == ("149.89", "root")
    (wear,) = api.get("/api/v1/wear/?class=galvanised").json()
    assert (wear["piece"], wear["strip_class"]) == (piece.code, "galvanised")
    told = api.get(f"/api/v1/wear/{piece.code}/").json()
    assert len(told["points"][0]["readings"]) == 2
    assert api.get("/api/v1/wear/pools/").json()["factors"][0]["name"] == "cold rolled"
    assert post(api, "wear/pools/").status_code == 202
    assert api.get("/api/v1/wear/life/").json() == []
    gone = api.delete("/api/v1/drawings/R-1/gauge-points/root/")
    assert gone.json()[0]["is_in_use"] is False
    assert api.get("/api/v1/wear/").json() == []


@pytest.mark.parametrize(
    ("code", "body"),
    [
        ("unknown_gauge_point", {"point": "rim", "value_mm": "149.9"}),
        ("no_value", {}),
        ("which_end", {"value_mm": "149.9", "end": "inboard"}),
        ("improbable_value", {"value_mm": "101"}),
        ("absurd_temperature", {"value_mm": "149.9", "temperature_c": 900}),
        ("ambiguous_length", {"value_mm": "149.9", "value_in": "5.9"}),
        ("unknown_gauge_number", {"value_mm": "149.9", "gauge": "none"}),
    ],
)
def test_refusals_carry_the_codes_of_the_pages(
    api: APIClient, piece: Piece, code: str, body: dict[str, Any]
) -> None:
    post(api, "drawings/R-1/gauge-points/", name="root", dimension="root_diameter", limit_mm="149")
    post(api, "readings/", piece=piece.code, point="root", value_mm="149.9")
    got = post(api, "readings/", **{"piece": piece.code, "point": "root", **body})
    assert got.json()["code"] == code
    assert Reading.objects.count() == 1
