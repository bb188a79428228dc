"""Stops, conditions, lifts and incidents through the API, with the same codes as the pages."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from tests.world import World
from tooling.models import Incident, Piece

pytestmark = pytest.mark.django_db


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("R-1"), world.place("Rack"), mark="1-T1")


def post(client: Any, address: str, **sent: Any) -> tuple[int, dict[str, Any]]:
    answer = client.post(f"/api/v1/{address}", sent, format="json")
    return answer.status_code, answer.json()


def test_a_stop_holds_at_once_and_twice_is_once(piece: Piece, api_as: Any, crew: Any) -> None:
    client, key = api_as(crew), str(uuid.uuid4())
    status, told = post(client, f"pieces/{piece.code}/stop/", what="chipped", uuid=key)
    assert (status, told["kind"], told["uuid"]) == (201, "chip", key)
    assert told["touched"] == [
        {"code": piece.code, "mark": "1-T1", "drawing": "R-1", "before": "sound",
         "after": "hold", "now": "hold"}
    ]  # fmt: skip
    assert post(client, f"pieces/{piece.code}/stop/", what="chipped", uuid=key)[1] == told
    status, again = post(client, f"pieces/{piece.code}/stop/", what="cracked")
    assert (status, again["code"]) == (409, "held_already")
    shown = client.get(f"/api/v1/pieces/{piece.code}/").json()
    assert (shown["state"], shown["hold_reason"]) == ("held", "chipped")
    status, undone = post(client, f"incidents/{told['id']}/undo-stop/")
    assert (status, undone["corrects"], undone["touched"]) == (200, told["id"], [])
    assert client.get(f"/api/v1/pieces/{piece.code}/").json()["state"] == "here"


def test_a_lift_needs_the_role_a_find_and_a_reason(
    piece: Piece, api_as: Any, crew: Any, engineer: Any
) -> None:
    post(api_as(crew), f"pieces/{piece.code}/stop/", what="cracked")
    address = f"pieces/{piece.code}/lift/"
    status, told = post(api_as(crew), address, condition="sound", reason="x")
    assert (status, told["code"]) == (403, "not_allowed")
    assert post(api_as(engineer), address, condition="sound")[1]["code"] == "invalid"
    assert post(api_as(engineer), address, condition="hold", reason="x")[1]["code"] == "invalid"
    status, told = post(api_as(engineer), address, condition="sound", reason="dye tested")
    assert (status, told["condition"], told["state"]) == (200, "sound", "here")
    assert post(api_as(engineer), address, condition="sound", reason="x")[1]["code"] == "not_held"


def test_conditions_are_said_and_taken_back(
    piece: Piece, api_as: Any, crew: Any, engineer: Any
) -> None:
    client, address = api_as(crew), f"pieces/{piece.code}/condition/"
    _status, told = post(client, address, condition="dirty", reason="oil")
    assert told["condition"] == "dirty"
    assert post(client, address, condition="dirty")[1]["change"] is None
    assert post(client, f"{address}undo/", change=told["change"])[1]["condition"] == "sound"
    status, refused = post(client, f"{address}undo/", change=told["change"])
    assert (status, refused["code"]) == (409, "condition_changed")
    assert post(client, f"{address}undo/", change=987654)[1]["code"] == "unknown_code"
    post(client, address, condition="cracked")
    assert post(client, address, condition="sound", reason="x")[0] == 403
    assert post(api_as(engineer), address, condition="sound")[1]["code"] == "empty_text"
    assert post(client, address, condition="hold")[1]["code"] == "invalid"


def test_an_incident_is_written_listed_and_put_right(
    world: World, piece: Piece, api_as: Any, crew: Any
) -> None:
    client = api_as(crew)
    world.mill("M1", stations=2)
    other = world.piece(piece.drawing, piece.place)
    sent = {
        "kind": "double_feed", "mill": "M1", "station": 2, "set_pass": 4, "note": "two strips",
        "pieces": [{"piece": piece.code}, {"piece": other.code, "condition": "marked"}],
    }  # fmt: skip
    status, told = post(client, "incidents/", **sent)
    assert (status, [row["after"] for row in told["touched"]]) == (201, ["hold", "marked"])
    assert (told["mill"], told["station"], told["set_pass"]) == ("M1", 2, 4)
    status, right = post(client, "incidents/", **{**sent, "kind": "crash"}, corrects=told["id"])
    assert (status, right["corrects"]) == (201, told["id"])
    assert client.get(f"/api/v1/incidents/{told['id']}/").json()["corrected_by"] == right["id"]
    for narrow in ("", "?mill=M1", "?kind=crash", f"?piece={piece.code}"):
        listed = client.get(f"/api/v1/incidents/{narrow}").json()["results"]
        assert [row["id"] for row in listed] == [right["id"]]
    assert client.get("/api/v1/incidents/?kind=drop").json()["results"] == []
    history = client.get(f"/api/v1/pieces/{piece.code}/history/").json()["results"]
    assert {"incident", "change", "movement"} == {row["kind"] for row in history}


@pytest.mark.parametrize(
    ("sent", "status", "code"),
    [
        ({"kind": "fire"}, 400, "invalid"),
        ({}, 400, "incident_of_nothing"),
        ({"mill": "M9"}, 404, "unknown_mill"),
        ({"mill": "M1", "station": 7}, 400, "unknown_station"),
        ({"kit": "K0000000", "mill": "M1"}, 404, "unknown_kit"),
        ({"mill": "M1", "happened_at": "2099-01-01T00:00:00Z"}, 400, "in_the_future"),
        ({"pieces": [{"piece": "R0000000"}]}, 400, "bad_check_character"),
        ({"mill": "M1", "corrects": 99}, 404, "unknown_code"),
        ({"mill": "M1", "colour": "red"}, 400, "invalid"),
    ],
)
def test_what_cannot_be_has_a_code_and_writes_nothing(
    world: World, api_as: Any, crew: Any, sent: dict[str, Any], status: int, code: str
) -> None:
    world.mill("M1", stations=1)
    got, told = post(api_as(crew), "incidents/", **{"kind": "crash", **sent})
    assert (got, told["code"]) == (status, code)
    assert not Incident.objects.exists()
