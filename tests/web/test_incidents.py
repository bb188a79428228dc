"""Incidents on pages: from the mill to its pieces, put right, listed where they belong."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
from django.test import Client

from tests.services.test_holds import on_a_mill
from tests.world import World
from tooling.models import Incident, Person, Piece

pytestmark = pytest.mark.django_db
PROBLEM = re.compile(r'class="problem[^"]*" data-code="([^"]+)"')


@pytest.fixture
def rolls(world: World) -> list[Piece]:
    rack = world.place("Rack")
    return [world.piece(world.drawing(f"R-{n}"), rack, mark=f"1-T{n}") for n in range(3)]


def page(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def test_from_the_mill_to_the_touched_pieces(
    world: World, crew: Person, engineer: Person, rolls: list[Piece], log_in: Any
) -> None:
    kit = on_a_mill(world, engineer, rolls[0])
    client = log_in(crew)
    assert 'href="/incidents/new/?mill=M1"' in page(client, "/mills/M1/")
    assert f"/incidents/new/?mill=M1&amp;kit={kit.number}" in page(client, f"/kits/{kit.number}/")
    assert "mill=M1" in page(client, "/incidents/new/")
    stations = page(client, "/incidents/new/?mill=M1")
    address = f"/incidents/new/?mill=M1&kit={kit.number}&station=2"
    assert address.replace("&", "&amp;") in stations
    form = page(client, address)
    assert f'name="pieces" value="{rolls[0].code}"' in form
    said = {
        "kind": "crash", "pieces": [rolls[0].code], "others": f" {rolls[1].code}, 1-t2 ",
        "condition": "hold", "note": "a doubled strip", "id": str(uuid.uuid4()),
    }  # fmt: skip
    answer = client.post(address, said)
    incident = Incident.objects.get()
    assert answer.headers["Location"] == f"/incidents/{incident.pk}/"
    assert client.post(address, said).headers["Location"] == f"/incidents/{incident.pk}/"
    assert (incident.kit, incident.station_number, incident.pass_number) == (kit, 2, 5)
    assert incident.pieces.count() == 3
    assert set(Piece.objects.values_list("condition", flat=True)) == {"hold"}
    assert "a doubled strip" in page(client, f"/incidents/{incident.pk}/")
    for where in ("/incidents/", "/mills/M1/", f"/kits/{kit.number}/", "/incidents/?mill=M1"):
        assert f'href="/incidents/{incident.pk}/"' in page(client, where)
    assert 'data-kind="incident"' in page(client, f"/pieces/{rolls[2].code}/")


def test_a_roll_dropped_in_the_toolroom(crew: Person, rolls: list[Piece], log_in: Any) -> None:
    client = log_in(crew)
    said = {"kind": "drop", "others": "1-T0", "condition": "marked"}
    client.post("/incidents/new/?toolroom=1", said)
    incident = Incident.objects.get()
    assert (incident.kind, incident.mill) == ("drop", None)
    assert incident.pieces.get().condition_after == "marked"
    ticked = page(client, f"/incidents/new/?piece={rolls[1].code}")
    assert re.search(rf'value="{rolls[1].code}"[^>]*checked', ticked)


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"others": ""}, "incident_of_nothing"),
        ({"others": "no such"}, "unknown_piece"),
        ({"kind": "fire"}, "invalid_choice"),
        ({"happened_at": "2099-01-01T10:00"}, "in_the_future"),
        ({"condition": "new"}, "invalid_choice"),
    ],
)
def test_what_cannot_be_is_said_in_place_with_all_that_was_typed(
    crew: Person, rolls: list[Piece], log_in: Any, more: dict[str, str], code: str
) -> None:
    said = {"kind": "drop", "others": "1-T0", "condition": "hold", "note": "off the cart", **more}
    answer = log_in(crew).post("/incidents/new/?toolroom=1", said).content.decode()
    assert PROBLEM.findall(answer) == [code]
    assert "off the cart" in answer
    assert not Incident.objects.exists()


def test_putting_right_begins_with_what_was_said(
    world: World, crew: Person, engineer: Person, rolls: list[Piece], log_in: Any
) -> None:
    kit = on_a_mill(world, engineer, rolls[0])
    client = log_in(crew)
    address = f"/incidents/new/?mill=M1&kit={kit.number}&station=2"
    client.post(address, {"kind": "crash", "others": "1-T1", "condition": "marked", "note": "x"})
    wrong = Incident.objects.get()
    form = page(client, f"/incidents/{wrong.pk}/correct/")
    assert re.search(rf'value="{rolls[1].code}"[^>]*checked', form)
    assert not re.search(rf'value="{rolls[0].code}"[^>]*checked', form)
    said = {"kind": "double_feed", "pieces": [rolls[0].code], "condition": "hold", "note": "y"}
    client.post(f"/incidents/{wrong.pk}/correct/", said)
    right = Incident.objects.get(corrects=wrong)
    assert (right.mill, right.kit, right.station_number) == (kit.job.mill, kit, 2)
    again = client.post(f"/incidents/{wrong.pk}/correct/", said).content.decode()
    assert PROBLEM.findall(again) == ["incident_changed"]
    assert "This was put right later." in page(client, f"/incidents/{wrong.pk}/")
    assert "What was written before" in page(client, f"/incidents/{right.pk}/")


@pytest.mark.parametrize("stations", [0, 1, 250])
def test_a_mill_of_any_size_can_be_chosen_on(
    world: World, crew: Person, log_in: Any, stations: int
) -> None:
    world.mill("M9", stations=stations)
    client = log_in(crew)
    body = page(client, "/incidents/new/?mill=M9")
    assert body.count("&amp;station=") == stations
    assert client.get("/incidents/new/?mill=M9&whole=1").status_code == 200


def test_nothing_written_down_teaches_the_first_step(crew: Person, log_in: Any) -> None:
    client = log_in(crew)
    assert "No incident is written down" in page(client, "/incidents/")
    assert client.get("/incidents/77/").status_code == 404
    assert client.get("/incidents/?after=nonsense~1&kind=nonsense").status_code == 200
