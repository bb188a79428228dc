"""Shared tablets: a badge names the person, a PIN proves it, and walking away ends it."""

from __future__ import annotations

import io
import json
import uuid
from time import time

import pypdfium2
import pytest
import zxingcpp
from django.test import Client
from django.utils import timezone

from tooling.models import Approval, Device, Kit, Owner, Person, Setup
from tooling.queries.badges import person_of_badge
from tooling.services import badges, pins
from tooling.web.shared import SESSION

pytestmark = pytest.mark.django_db
IDLE_S = 300


@pytest.fixture
def tablet(supervisor) -> Client:
    """A browser that a supervisor made a shared tablet, nobody logged in on it."""
    client = Client()
    client.force_login(supervisor, backend="tooling.web.zone.ShopBackend")
    key = str(uuid.uuid4())
    sent = {"device": key, "name": "Gate tablet", "is_shared": "on"}
    assert client.post("/shop/devices/this/", sent).status_code == 302
    client.post("/logout/")
    return client


@pytest.fixture
def fob(supervisor, engineer) -> str:
    """The engineer's badge, as a scanner reads it. The PIN is 4071."""
    at = timezone.now()
    pins.set_pin(by=engineer, at=at, person=engineer, pin="4071")
    badges.issue_badge(by=supervisor, at=at, person=engineer, read="FOB-4711")
    return "fob-4711"


def who(client: Client) -> Person | None:
    return client.get("/today/").wsgi_request.user if client.session.get("_auth_user_id") else None


def leave_alone(client: Client, seconds: float) -> None:
    """As if nobody had touched it for so long."""
    session = client.session
    session[SESSION] = {**session[SESSION], "at": time() - seconds}
    session.save()


def test_a_badge_names_the_person(tablet, fob, engineer) -> None:
    answer = tablet.post("/login/badge/", {"code": fob, "next": "/scan/"})
    assert answer["Location"] == "/scan/"
    assert who(tablet) == engineer


def test_the_next_badge_takes_over_with_nothing_of_the_first(tablet, fob, supervisor, crew) -> None:
    tablet.post("/login/badge/", {"code": fob})
    session = tablet.session
    session["scan_context"] = {"to": "P0000001"}
    session.save()
    badges.issue_badge(by=supervisor, at=timezone.now(), person=crew, read="FOB-2")
    tablet.post("/login/badge/", {"code": "FOB-2"})
    assert who(tablet) == crew
    assert "scan_context" not in tablet.session


def test_a_script_is_told_who_it_is(tablet, fob, engineer) -> None:
    asks = {"HTTP_ACCEPT": "application/json"}
    told = tablet.post("/login/badge/", {"code": fob}, **asks).json()
    assert told == {"name": engineer.name, "username": engineer.username, "next": "/today/"}
    assert tablet.post("/login/badge/", {"code": "other"}, **asks).json()["code"] == "unknown_badge"


def test_nobody_is_led_to_another_site(tablet, fob) -> None:
    answer = tablet.post("/login/badge/", {"code": fob, "next": "https://elsewhere.example/"})
    assert answer["Location"] == "/today/"


def test_a_badge_opens_nothing_on_a_phone_of_ones_own(client, fob) -> None:
    answer = client.post("/login/badge/", {"code": fob})
    assert answer.status_code == 409
    assert 'data-code="not_a_shared_tablet"' in answer.content.decode()


def test_nor_where_a_supervisor_took_the_tablet_back(tablet, fob) -> None:
    Device.objects.update(is_shared=False)
    assert tablet.post("/login/badge/", {"code": fob}).status_code == 409


def test_a_forged_cookie_makes_no_tablet(client, fob) -> None:
    client.cookies["rollroom-tablet"] = f"{uuid.uuid4()}:forged"
    assert client.post("/login/badge/", {"code": fob}).status_code == 409


def test_trying_badges_is_locked_for_a_while(tablet, fob) -> None:
    codes = [tablet.post("/login/badge/", {"code": f"guess {n}"}).status_code for n in range(9)]
    assert codes[0] == 404
    assert codes[-1] in (403, 429)
    assert who(tablet) is None


def test_the_log_in_page_asks_for_a_badge_on_shared_tablets_only(tablet, client) -> None:
    assert 'name="code"' in tablet.get("/login/").content.decode()
    assert 'name="code"' not in client.get("/login/").content.decode()


# ---- walking away


def test_a_person_who_walked_away_is_logged_out(tablet, fob, engineer) -> None:
    tablet.post("/login/badge/", {"code": fob})
    leave_alone(tablet, IDLE_S - 5)
    assert who(tablet) == engineer
    leave_alone(tablet, IDLE_S + 1)
    assert tablet.get("/today/")["Location"].startswith("/login/")


def test_a_password_does_not_keep_a_shared_tablet_open_either(tablet, crew) -> None:
    tablet.post("/login/", {"username": "crew", "password": "crew-pass-word"})
    assert who(tablet) == crew
    leave_alone(tablet, IDLE_S + 1)
    assert tablet.get("/today/").status_code == 302


def test_a_page_that_asks_by_itself_is_no_touch(tablet, fob) -> None:
    tablet.post("/login/badge/", {"code": fob})
    leave_alone(tablet, IDLE_S - 5)
    before = tablet.session[SESSION]["at"]
    tablet.get("/today/", headers={"HX-Request": "true"})
    assert tablet.session[SESSION]["at"] == before
    tablet.get("/today/")
    assert tablet.session[SESSION]["at"] > before


def test_a_phone_of_ones_own_stays_logged_in(client, crew) -> None:
    client.post("/login/", {"username": "crew", "password": "crew-pass-word"})
    assert SESSION not in client.session


@pytest.mark.parametrize(("state", "stays"), [("mounting", True), ("struck", False)])
def test_at_a_mill_it_stays_open_while_a_setup_is(tablet, fob, world, at, state, stays) -> None:
    mill = world.mill("M1", stations=1)
    job = world.job(world.tool_set("T-1", {}), mill)
    kit = Kit.objects.create(number=world.code("K"), job=job)
    kit_setup(kit, mill, at, state)
    Device.objects.update(mill=mill)
    tablet.post("/login/badge/", {"code": fob})
    leave_alone(tablet, 10 * IDLE_S)
    assert (who(tablet) is not None and tablet.get("/today/").status_code == 200) is stays


def kit_setup(kit, mill, at, state: str) -> None:
    struck = at if state == "struck" else None
    Setup.objects.create(kit=kit, mill=mill, started_at=at, state=state, struck_at=struck)


# ---- the PIN


ANSWERED = {
    "kind": "regrind", "answer": "given", "of_all": "on", "dated_on": "2026-11-20",
    "reference": "letter 7",
}  # fmt: skip


@pytest.fixture
def theirs(world) -> Owner:
    return Owner.objects.create(code="ORN", name="Orn")


def test_by_badge_an_owners_answer_asks_for_the_pin_in_place(tablet, fob, theirs) -> None:
    tablet.post("/login/badge/", {"code": fob})
    assert 'name="pin"' in tablet.get("/shop/owners/ORN/ask/").content.decode()
    for pin, code in (("", "pin_needed"), ("9998", "pin_wrong")):
        answer = tablet.post("/shop/owners/ORN/ask/", {**ANSWERED, "pin": pin})
        assert f'data-code="{code}"' in answer.content.decode()
    assert not Approval.objects.exists()
    assert tablet.post("/shop/owners/ORN/ask/", {**ANSWERED, "pin": "4071"}).status_code == 302
    assert Approval.objects.count() == 1
    assert 'name="pin"' not in tablet.get("/shop/owners/ORN/ask/").content.decode()


@pytest.mark.parametrize("address", ["/kits/{}/prove/", "/setups/{}/prove/"])
def test_by_badge_nothing_is_proved_without_the_pin(tablet, fob, world, at, address) -> None:
    mill = world.mill("M1", stations=1)
    kit = Kit.objects.create(number=world.code("K"), job=world.job(world.tool_set("T-1", {}), mill))
    kit_setup(kit, mill, at, "mounting")
    tablet.post("/login/badge/", {"code": fob})
    answer = tablet.post(address.format(kit.number))
    assert answer.status_code == 403
    assert 'data-code="pin_needed"' in answer.content.decode()
    answer = tablet.post(address.format(kit.number), {"pin": "4071"})
    assert "pin_needed" not in answer.content.decode()


def test_the_api_asks_the_same_of_a_session_that_began_by_badge(
    tablet, fob, theirs, api_as, engineer
) -> None:
    tablet.post("/login/badge/", {"code": fob})
    asked = {**ANSWERED, "of_all": True}
    url, kind = "/api/v1/owners/ORN/approvals/", "application/json"
    answer = tablet.post(url, json.dumps(asked), kind)
    assert (answer.status_code, answer.json()["code"]) == (403, "pin_needed")
    assert tablet.post(url, json.dumps(asked), kind, HTTP_X_PIN="4071").status_code == 201
    assert api_as(engineer).post(url, asked, format="json").status_code == 201


def test_a_borrowed_badge_sets_no_pin(tablet, supervisor, crew) -> None:
    badges.issue_badge(by=supervisor, at=timezone.now(), person=crew, read="FOB-2")
    tablet.post("/login/badge/", {"code": "FOB-2"})
    sent = {"length_unit": "mm", "strip_unit": "m", "new_pin": "4071"}
    answer = tablet.post("/shop/myself/", sent)
    assert 'data-code="pin_not_set"' in answer.content.decode()
    crew.refresh_from_db()
    assert not crew.pin


def test_everybody_sets_their_own_by_password(log_in, crew) -> None:
    sent = {"length_unit": "mm", "strip_unit": "m", "new_pin": "4071"}
    assert log_in(crew).post("/shop/myself/", sent).status_code == 302
    crew.refresh_from_db()
    assert crew.pin


# ---- the supervisor's pages


def test_a_new_badge_is_a_card_whose_code_names_the_person(log_in, supervisor, crew) -> None:
    answer = log_in(supervisor).post("/shop/people/crew/badges/issue/", {"label": "card"})
    assert answer["Content-Type"] == "application/pdf"
    page = pypdfium2.PdfDocument(io.BytesIO(answer.content))[0]
    [read] = zxingcpp.read_barcodes(page.render(scale=6).to_pil())
    assert person_of_badge(read.text) == crew


def test_a_badge_of_the_shops_own_is_taken_over_and_ended(log_in, supervisor, crew) -> None:
    client = log_in(supervisor)
    client.post("/shop/people/crew/badges/issue/", {"read": "FOB-9", "label": "blue fob"})
    assert "blue fob" in client.get("/shop/people/crew/badges/").content.decode()
    assert person_of_badge("FOB-9") == crew
    client.post(f"/shop/people/crew/badges/{crew.badges.get().pk}/end/")
    assert person_of_badge("FOB-9") is None


def test_devices_are_shown_with_a_clock_that_is_wrong(log_in, supervisor) -> None:
    client = log_in(supervisor)
    assert "No device has scanned yet" in client.get("/shop/devices/").content.decode()
    day = 24 * 3600 * 1000
    Device.objects.create(name="Gate", last_offset_ms=-day * 366, last_seen_at=timezone.now())
    Device.objects.create(name="Desk", last_offset_ms=60_000, last_seen_at=timezone.now())
    shown = client.get("/shop/devices/").content.decode()
    assert "clock 366 days slow" in shown
    assert "fast" not in shown


def test_a_browser_without_a_name_is_told_why(log_in, supervisor) -> None:
    answer = log_in(supervisor).post("/shop/devices/this/", {"device": ""})
    assert 'data-code="unknown_device"' in answer.content.decode()
