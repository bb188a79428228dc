"""Stopping in taps, saying conditions, lifting: on the pages, with their ways on."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests.photographs import a_png
from tests.services.test_holds import on_a_mill
from tests.world import World
from tooling.models import Change, Incident, Movement, Person, Picture, Piece
from tooling.services import holds

pytestmark = pytest.mark.django_db
PROBLEM = re.compile(r'class="problem[^"]*" data-code="([^"]*)"')


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("R-1"), world.place("Rack"), mark="1-T1")


def page(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def problems(body: str) -> list[str]:
    return [code for code in PROBLEM.findall(body) if code]


def test_the_second_tap_holds_and_the_picture_comes_after(
    crew: Person, piece: Piece, log_in: Any
) -> None:
    client = log_in(crew)
    assert f'href="/pieces/{piece.code}/stop/"' in page(client, f"/pieces/{piece.code}/")
    assert '<button name="what" value="chipped">' in page(client, f"/pieces/{piece.code}/stop/")
    answer = client.post(f"/pieces/{piece.code}/stop/", {"what": "chipped", "id": uuid.uuid4()})
    piece.refresh_from_db()
    assert piece.condition == "hold"
    incident = Incident.objects.get()
    assert answer.headers["Location"] == f"/pieces/{piece.code}/stop/{incident.pk}/"
    held = page(client, answer.headers["Location"])
    assert "No picture" in held
    photo = SimpleUploadedFile("a.png", a_png())
    sent = client.post(
        "/pictures/keep/", {"piece": piece.code, "incident": incident.pk, "files": photo}
    )
    assert sent.headers["Location"] == f"/pieces/{piece.code}/#pictures"
    assert (Picture.objects.get().piece, Picture.objects.get().incident) == (piece, incident)
    assert problems(page(client, f"/pieces/{piece.code}/")) == ["piece_held"]
    assert "/pictures/" in page(client, f"/incidents/{incident.pk}/")


def test_a_stop_that_is_refused_keeps_what_was_typed(
    crew: Person, piece: Piece, log_in: Any
) -> None:
    client = log_in(crew)
    address = f"/pieces/{piece.code}/stop/"
    answer = client.post(address, {"what": "exploded", "note": "at the rim"})
    assert (answer.status_code, problems(answer.content.decode())) == (400, ["unknown_stop"])
    assert 'value="at the rim"' in answer.content.decode()
    client.post(address, {"what": "chipped"})
    again = client.post(address, {"what": "cracked"})
    assert (again.status_code, problems(again.content.decode())) == (409, ["held_already"])


def test_build_up_is_said_to_be_no_wear_and_the_kits_that_lack_it_are_named(
    world: World, crew: Person, engineer: Person, piece: Piece, log_in: Any
) -> None:
    kit = on_a_mill(world, engineer, piece)
    client = log_in(crew)
    said = client.post(f"/pieces/{piece.code}/stop/", {"what": "build_up"}, follow=True)
    body = said.content.decode()
    assert problems(body) == ["build_up"]
    assert f'href="/kits/{kit.number}/"' in body
    assert "build-up on Mill M1, station 2" in page(client, f"/kits/{kit.number}/")
    shaft = page(client, f"/kits/{kit.number}/stations/2/top/")
    assert 'data-state="held"' in shaft
    assert f"/pieces/{piece.code}/#files" in shaft


def test_the_wrong_roll_is_undone(crew: Person, piece: Piece, log_in: Any) -> None:
    client = log_in(crew)
    client.post(f"/pieces/{piece.code}/stop/", {"what": "dropped"})
    address = f"/pieces/{piece.code}/stop/{Incident.objects.get().pk}/"
    assert client.post(f"{address}undo/").status_code == 302
    piece.refresh_from_db()
    assert piece.condition == "sound"
    assert problems(client.post(f"{address}undo/").content.decode()) == ["too_late_to_undo"]


def test_whoever_may_not_lift_is_told_who_may(
    crew: Person, engineer: Person, supervisor: Person, piece: Piece, at: Any, log_in: Any
) -> None:
    holds.stop(by=crew, at=at, piece=piece, what="cracked")
    body = page(log_in(crew), f"/pieces/{piece.code}/")
    assert "may lift the hold: Engineer, Supervisor." in body
    assert f'action="/pieces/{piece.code}/lift/"' not in body
    body = page(log_in(engineer), f"/pieces/{piece.code}/")
    assert f'action="/pieces/{piece.code}/lift/"' in body
    assert "Stopped pieces to look at" in page(log_in(engineer), "/today/")
    assert "Stopped pieces to look at" not in page(log_in(crew), "/today/")


def test_lifting_without_a_reason_or_a_find_is_refused_in_place(
    engineer: Person, piece: Piece, at: Any, log_in: Any
) -> None:
    holds.stop(by=engineer, at=at, piece=piece, what="cracked")
    client, address = log_in(engineer), f"/pieces/{piece.code}/lift/"
    refused = client.post(address, {"condition": "", "reason": "dye tested"})
    assert problems(refused.content.decode()) == ["required"]
    assert "dye tested" in refused.content.decode()
    assert client.post(address, {"condition": "sound", "reason": "dye tested"}).status_code == 302
    assert Change.objects.latest("pk").reason == "dye tested"


def test_a_condition_is_two_taps_and_one_back(crew: Person, piece: Piece, log_in: Any) -> None:
    client, address = log_in(crew), f"/pieces/{piece.code}/"
    assert f'href="{address}condition/"' in page(client, address)
    answer = client.post(f"{address}condition/", {"condition": "dirty", "reason": "oil"})
    body = page(client, answer.headers["Location"])
    assert "Dirty now; it was sound." in body
    change = Change.objects.get()
    assert client.post(f"{address}condition/undo/", {"change": change.pk}).status_code == 302
    piece.refresh_from_db()
    assert piece.condition == "sound"
    nothing = client.post(f"{address}condition/undo/", {"change": "9" * 30})
    assert problems(nothing.content.decode()) == ["unknown_code"]


def test_conditions_that_the_person_may_not_say_are_refused_in_place(
    crew: Person, piece: Piece, log_in: Any
) -> None:
    client, address = log_in(crew), f"/pieces/{piece.code}/condition/"
    client.post(address, {"condition": "cracked"})
    assert problems(page(client, address)) == ["not_fit"]
    refused = client.post(address, {"condition": "sound", "reason": "looks fine"})
    assert refused.status_code == 403
    assert "not_allowed" in problems(refused.content.decode())
    assert "looks fine" in refused.content.decode()


def test_from_a_scan_to_the_stop_by_its_id_or_its_code(
    world: World, crew: Person, piece: Piece, log_in: Any, at: Any
) -> None:
    client = log_in(crew)
    scan = uuid.uuid4()
    Movement.objects.create(
        scan=scan, happened_at=at, received_at=at, effective_at=at - timedelta(seconds=1),
        piece=piece, to=piece.place, how="scan", by=crew,
    )  # fmt: skip
    to = f"/pieces/{piece.code}/stop/"
    assert client.get(f"/scan/stop/?scan={scan}&code=whatever").headers["Location"] == to
    assert client.get("/scan/stop/?code=1-t1").headers["Location"] == to
    answer = client.get(f"/scan/condition/?scan=nonsense&code={piece.code}")
    assert answer.headers["Location"] == f"/pieces/{piece.code}/condition/"
    bin_ = world.stock(world.drawing("S-1", kind="spacer"), world.place("Bin", kind="bin"), 4)
    assert problems(page(client, f"/scan/stop/?code={bin_.code}")) == ["not_a_piece"]


def test_what_is_held_says_so_where_it_is_asked_for(
    crew: Person, piece: Piece, at: Any, log_in: Any
) -> None:
    holds.stop(by=crew, at=at, piece=piece, what="chipped")
    said = log_in(crew).get(f"/scan/read/?code={piece.code}").json()["said"]
    assert "held: chipped" in said
