"""A badge that is read where a label was meant: named, and nothing of it kept anywhere."""

from __future__ import annotations

import logging
import uuid

import pytest
from django.core.cache import cache
from django.core.serializers import serialize

from tooling.errors import ToolingError
from tooling.history import CURRENT, HISTORY
from tooling.models import Movement, RefusedScan
from tooling.services import badge_scans
from tooling.services.badge_scans import check_no_badge
from tooling.services.badges import end_badge, issue_badge

pytestmark = pytest.mark.django_db
NOW = "2026-11-25T10:00:00Z"
SECRET = "Fob 0047-11x"


@pytest.fixture(autouse=True)
def nobody_tried_before():
    cache.clear()


@pytest.fixture
def badge(supervisor, crew, at):
    """The crew's, of the shop's own; as a scanner reads it anywhere."""
    return issue_badge(by=supervisor, at=at, person=crew, read=SECRET).badge


@pytest.fixture
def rack(world):
    return world.place("Rack A")


def batch(*scans):
    return {"device": str(uuid.uuid4()), "device_now": NOW, "scans": list(scans)}


def scan(code, to):
    return {"id": str(uuid.uuid4()), "happened_at": NOW, "to": to, "code": code}


def everything_kept() -> str:
    return "".join(serialize("json", model.objects.all()) for model in (*HISTORY, *CURRENT)).upper()


@pytest.mark.parametrize("as_what", ["thing", "place"])
def test_a_batch_names_the_badge_keeps_nothing_of_it_and_takes_the_rest(
    world, rack, badge, crew, api_as, attendant, caplog, as_what
) -> None:
    piece, other = world.piece(world.drawing("D1"), rack), world.place("Rack B")
    wrong = scan(" fob 0047-11X", rack.code) if as_what == "thing" else scan(piece.code, SECRET)
    right = scan(piece.code, other.code)
    client = api_as(attendant)
    with caplog.at_level(logging.DEBUG):
        for _twice in range(2):
            answer = client.post("/api/v1/scans/", batch(wrong, right), format="json")
            first, second = answer.json()["results"]
            assert (first["id"], first["status"]) == (wrong["id"], "refused")
            assert (first["code"], crew.name in first["message"]) == ("badge_scanned", True)
            assert second["id"] == right["id"]
    assert Movement.objects.filter(scan__isnull=False).count() == 1
    assert not RefusedScan.objects.exists()
    for text in (everything_kept(), caplog.text.upper(), answer.content.decode().upper()):
        assert "0047-11" not in text


@pytest.mark.parametrize("address", ["/scan/enter/", "/scan/tick/"])
def test_the_page_names_it_and_shows_nothing_of_it(
    rack, badge, crew, log_in, attendant, address
) -> None:
    page = log_in(attendant)
    answer = page.post(address, {"code": SECRET, "to": rack.code, "id": str(uuid.uuid4())})
    assert 'data-code="badge_scanned"' in answer.content.decode()
    assert crew.name in answer.content.decode()
    told = page.get("/scan/read/", {"code": SECRET})
    assert (told.status_code, told.json()["code"]) == (400, "badge_scanned")
    assert "0047" not in answer.content.decode() + told.content.decode()
    assert "no-store" in told.headers["Cache-Control"]  # the address is in no browser's cache
    assert not RefusedScan.objects.exists()


def test_a_count_keeps_nothing_of_it_either(world, rack, badge, api_as, log_in, supervisor) -> None:
    world.piece(world.drawing("D1"), rack)
    opened = api_as(supervisor).post("/api/v1/counts/", {"place": rack.code}, format="json").json()
    url = f"/api/v1/counts/{opened['number']}/entries/"
    answer = api_as(supervisor).post(url, batch(scan(SECRET, rack.code)), format="json")
    assert answer.json()["results"][0]["code"] == "badge_scanned"
    url = f"/pieces/counts/{opened['number']}/enter/"
    answer = log_in(supervisor).post(url, {"code": SECRET, "to": rack.code})
    assert 'data-code="badge_scanned"' in answer.content.decode()
    assert "0047-11" not in everything_kept()


def test_a_badge_that_was_ended_is_known_still_and_names_nobody(
    supervisor, badge, crew, attendant, at
) -> None:
    end_badge(by=supervisor, at=at, badge=badge)
    with pytest.raises(ToolingError) as ended:
        check_no_badge(by=attendant, text=SECRET)
    assert ended.value.code == "badge_scanned"
    assert crew.name not in ended.value.message


def test_what_the_toolroom_calls_so_is_meant_before_a_badge(
    world, rack, badge, supervisor, crew, attendant, at
) -> None:
    for text in ("12-T", "Rack A"):
        issue_badge(by=supervisor, at=at, person=crew, read=text)
    for _copies in range(2):
        world.piece(world.drawing(f"D{_copies}"), rack, mark="12-T")
    check_no_badge(by=attendant, text="12-t")
    check_no_badge(by=attendant, text="rack a")
    check_no_badge(by=attendant, text="1472")
    check_no_badge(by=attendant, text="")


def test_whoever_tries_many_texts_is_no_longer_told_which_is_a_badge(
    badge, crew, attendant, engineer, monkeypatch
) -> None:
    monkeypatch.setattr(badge_scans, "MOST_NAMED", 3)
    for number in range(3):
        check_no_badge(by=attendant, text=f"FOB 000{number}")
    with pytest.raises(ToolingError) as told:
        check_no_badge(by=attendant, text=SECRET)
    assert told.value.code == "unknown_code"
    assert crew.name not in told.value.message
    with pytest.raises(ToolingError) as other:
        check_no_badge(by=engineer, text=SECRET)
    assert other.value.code == "badge_scanned"
