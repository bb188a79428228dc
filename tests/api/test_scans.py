"""The batch door for scans."""

from __future__ import annotations

import uuid

import pytest

from tooling.models import Movement, RefusedScan

pytestmark = pytest.mark.django_db
NOW = "2026-11-25T10:00:00Z"


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def piece(world, rack):
    return world.piece(world.drawing("D1"), rack, mark="12-T")


def batch(*scans, **fields):
    return {"device": str(uuid.uuid4()), "device_now": NOW, "scans": list(scans), **fields}


def scan(code, to, **fields):
    return {"id": str(uuid.uuid4()), "happened_at": NOW, "to": to, "code": code, "how": "scan",
            **fields}  # fmt: skip


def post(client, body):
    return client.post("/api/v1/scans/", body, format="json")


def test_a_scan_is_answered_by_its_id_with_the_place(world, piece, api_as, attendant) -> None:
    other = world.place("Rack B")
    sent = scan(piece.code, other.code)
    answer = post(api_as(attendant), batch(sent))
    assert answer.status_code == 200
    assert answer.json() == {
        "results": [
            {
                "id": sent["id"],
                "status": "taken",
                "code": "",
                "message": f"{piece.code} (12-T) is in Rack B.",
                "place": other.code,
            }
        ]
    }
    piece.refresh_from_db()
    assert piece.place == other


def test_a_repeated_batch_is_named_so(world, piece, api_as, attendant) -> None:
    body = batch(scan(piece.code, world.place("Rack B").code))
    client = api_as(attendant)
    post(client, body)
    rows = Movement.objects.count()
    assert post(client, body).json()["results"][0]["status"] == "repeated"
    assert Movement.objects.count() == rows


def test_refused_scans_are_answered_in_the_same_200(rack, piece, api_as, attendant) -> None:
    bad = piece.code[:-1] + ("0" if piece.code[-1] != "0" else "1")
    answer = post(api_as(attendant), batch(scan(bad, rack.code), scan(piece.code, rack.code)))
    assert answer.status_code == 200
    first, second = answer.json()["results"]
    assert (first["status"], first["code"], first["place"]) == (
        "refused",
        "bad_check_character",
        None,
    )
    assert second["status"] == "taken"


def test_a_correction_names_the_scan_it_puts_right(world, rack, piece, api_as, attendant) -> None:
    client = api_as(attendant)
    wrong = scan(piece.code, world.place("Rack B").code)
    post(client, batch(wrong))
    answer = post(client, batch(scan(piece.code, rack.code, corrects=wrong["id"])))
    assert answer.json()["results"][0]["place"] == rack.code
    piece.refresh_from_db()
    assert piece.place == rack


def test_without_a_login_nothing_is_taken(client, piece, rack) -> None:
    answer = client.post("/api/v1/scans/", batch(scan(piece.code, rack.code)),
                         content_type="application/json")  # fmt: skip
    assert answer.status_code == 401
    assert answer.json()["code"] == "not_logged_in"


def test_a_viewer_may_not_scan(piece, rack, api_as, viewer) -> None:
    answer = post(api_as(viewer), batch(scan(piece.code, rack.code)))
    assert answer.status_code == 403
    assert answer.json()["code"] == "not_allowed"
    assert "move pieces" in answer.json()["message"]


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"device": "d", "device_now": NOW},
        {"device": "d", "device_now": NOW, "scans": "none"},
        {"device": "d", "device_now": "soon", "scans": []},
        {"device": "d", "device_now": NOW, "scans": [{"id": "1", "code": "x"}]},
        {"device": "d", "device_now": NOW, "scans": [None]},
        [1, 2],
    ],
)
def test_a_malformed_body_is_one_error_and_nothing_is_kept(api_as, attendant, body) -> None:
    answer = post(api_as(attendant), body)
    assert answer.status_code == 400
    assert set(answer.json()) == {"code", "message", "detail"}
    assert answer.json()["code"] == "invalid"
    assert not RefusedScan.objects.exists()


def test_what_is_no_json_is_said(api_as, attendant) -> None:
    answer = api_as(attendant).post("/api/v1/scans/", "{", content_type="application/json")
    assert answer.status_code == 400
    assert set(answer.json()) == {"code", "message", "detail"}


def test_only_post(api_as, attendant) -> None:
    answer = api_as(attendant).get("/api/v1/scans/")
    assert (answer.status_code, answer.json()["code"]) == (405, "wrong_method")


@pytest.mark.parametrize("how", ["count", "import", "psychic"])
def test_a_device_scans_ticks_or_types(piece, rack, api_as, attendant, how) -> None:
    answer = post(api_as(attendant), batch(scan(piece.code, rack.code, how=how)))
    assert answer.status_code == 400
