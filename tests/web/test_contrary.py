"""Contrary scans on their page, on Today and by program: the same acts, the same refusals."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from tooling.models import Contradiction, Device
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import record_batch

pytestmark = pytest.mark.django_db
PAGE = "/pieces/contrary/"


@pytest.fixture
def racks(world):
    return [world.place(f"Rack {n}") for n in range(3)]


@pytest.fixture
def contrary(world, racks, attendant) -> Contradiction:
    """Put into rack 1 by a phone and, a minute later, into rack 2 by a tablet."""
    piece = world.piece(world.drawing("D1"), racks[0], mark="A-7")
    for name, rack, ago in (("phone", racks[1], 61), ("tablet", racks[2], 60)):
        at = timezone.now() - timedelta(minutes=ago)
        key = uuid.uuid4()
        scan = ScanIn(id=key, happened_at=at, to=rack.code, code=piece.code)
        record_batch(by=attendant, at=at, device=name, device_now=at, scans=[scan])
    return Contradiction.objects.get()


def test_an_empty_list_says_what_would_stand_here(log_in, crew) -> None:
    assert "until somebody has looked" in log_in(crew).get(PAGE).content.decode()


def test_it_shows_both_and_what_holds(log_in, crew, contrary) -> None:
    shown = log_in(crew).get(PAGE).content.decode()
    for words in (
        "A-7",
        "into Rack 1",
        "into Rack 2",
        "phone",
        "tablet",
        "<strong>Rack 2</strong>",
    ):
        assert words in shown


def test_a_viewer_sees_and_settles_nothing(log_in, viewer, contrary) -> None:
    client = log_in(viewer)
    assert "Settle it" not in client.get(PAGE).content.decode()
    assert client.post(f"{PAGE}{contrary.pk}/settle/", {"reason": "x"}).status_code == 403


def test_it_is_settled_by_choosing(log_in, crew, contrary, racks) -> None:
    client = log_in(crew)
    sent = {"to": racks[1].code, "reason": "it hangs there"}
    assert client.post(f"{PAGE}{contrary.pk}/settle/", sent).status_code == 302
    shown = client.get(PAGE).content.decode()
    assert "It is in Rack 1: it hangs there" in shown
    assert "No two scans contradict one another" in shown
    contrary.piece.refresh_from_db()
    assert contrary.piece.place == racks[1]


def test_a_refusal_stands_at_its_row_with_what_was_typed(log_in, crew, contrary, racks) -> None:
    racks[1].is_active = False
    racks[1].save()
    sent = {"to": racks[1].code, "reason": "it hangs there"}
    answer = log_in(crew).post(f"{PAGE}{contrary.pk}/settle/", sent)
    shown = answer.content.decode()
    assert answer.status_code == 409
    assert 'data-code="place_not_used"' in shown
    assert 'value="it hangs there"' in shown


def test_today_says_so_to_whoever_keeps_the_room(log_in, attendant, viewer, contrary) -> None:
    assert "1 contradiction" in log_in(attendant).get("/today/").content.decode()
    assert "1 contradiction" not in log_in(viewer).get("/today/").content.decode()


def test_today_names_a_clock_that_is_wrong(log_in, supervisor) -> None:
    Device.objects.create(name="Gate", last_offset_ms=-86_400_000, last_seen_at=timezone.now())
    assert "its clock is 24 hours slow" in log_in(supervisor).get("/today/").content.decode()


def test_programs_list_and_settle_the_same(api_as, crew, contrary, racks) -> None:
    client = api_as(crew)
    [row] = client.get("/api/v1/contradictions/").json()["results"]
    assert (row["kind"], row["mark"], row["here"]) == ("places", "A-7", racks[2].code)
    assert [each["place"] for each in row["said"]] == [racks[1].code, racks[2].code]
    url = f"/api/v1/contradictions/{row['id']}/settle/"
    assert client.post(url, {"reason": " "}, format="json").status_code == 400
    told = client.post(url, {"to": racks[1].code, "reason": "looked"}, format="json").json()
    assert told["settled_how"] == "It is in Rack 1: looked"
    assert client.post(url, {"reason": "looked"}, format="json").json()["code"] == "already_settled"
    assert client.get("/api/v1/contradictions/").json()["results"] == []
