"""``owners/``: the shop itself and its customers."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from tests.photographs import a_png
from tooling.models import Approval, Change, Owner, OwnerMarkCheck, OwnerReport, Piece
from tooling.services import pictures
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

pytestmark = pytest.mark.django_db


def test_owners_are_told(world, api_as, viewer) -> None:
    client = api_as(viewer)
    expected = {
        "code": "SHOP",
        "name": "The shop",
        "is_shop": True,
        "contact": "",
        "consent_reference": "",
        "insurance_reference": "",
    }
    assert client.get("/api/v1/owners/").json() == {"results": [expected], "next": None}
    assert client.get("/api/v1/owners/shop/").json() == expected


def test_a_supervisor_enters_a_customer_and_their_consent(world, api_as, supervisor) -> None:
    client = api_as(supervisor)
    made = client.post("/api/v1/owners/", {"code": "orn", "name": "Orn & Sons"}, format="json")
    assert (made.status_code, made.json()["code"]) == (201, "ORN")
    edited = client.patch("/api/v1/owners/ORN/", {"consent_reference": "letter 14"}, format="json")
    assert edited.json()["consent_reference"] == "letter 14"


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"code": "SHOP", "name": "X"}, "already_there"),
        ({"code": "X", "name": "X", "is_shop": True}, "one_shop"),
        ({"code": "  ", "name": "X"}, "invalid"),
        ({"code": "X"}, "invalid"),
    ],
)
def test_a_bad_owner_is_refused(world, api_as, supervisor, sent, code) -> None:
    answer = api_as(supervisor).post("/api/v1/owners/", sent, format="json")
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert Owner.objects.count() == 1


def test_an_unknown_owner_is_said(world, api_as, viewer) -> None:
    answer = api_as(viewer).get("/api/v1/owners/NOBODY/")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown_owner")


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew", "engineer"])
def test_only_a_supervisor_changes_owners(world, api_as, cast, role) -> None:
    client = api_as(cast[role])
    made = client.post("/api/v1/owners/", {"code": "X", "name": "X"}, format="json")
    edited = client.patch("/api/v1/owners/SHOP/", {"name": "X"}, format="json")
    assert (made.status_code, edited.status_code) == (403, 403)


# What passes with owners.


@pytest.fixture
def orn(world, settings, tmp_path):
    """A customer with two pieces of one set."""
    settings.FILES_DIR = tmp_path
    orn = Owner.objects.create(code="ORN", name="Orn & Sons")
    rack = world.place("Rack")
    orn.drawing = world.drawing("D-1")
    orn.ours = world.piece(orn.drawing, rack)
    orn.rolls = [world.piece(orn.drawing, rack, owner=orn, value_cents=5) for _n in range(2)]
    tool_set = world.tool_set("1472", {(n, "top", 1): orn.drawing for n in (1, 2, 3)})
    spots = {(n, "top", 1): piece for n, piece in enumerate([*orn.rolls, orn.ours], start=1)}
    world.copy(tool_set, "A", spots)
    return orn


def post(client, path, body, status=201):
    answer = client.post(f"/api/v1/{path}", body, format="json")
    assert answer.status_code == status, answer.content
    return answer.json()


def today() -> dict[str, str]:
    return {"dated_on": f"{timezone.localdate()}"}


def test_an_owner_is_asked_and_answers_about_pieces_a_copy_or_everything(orn, api_as, attendant):
    client = api_as(attendant)
    asked = post(
        client, "owners/ORN/approvals/",
        {"kind": "regrind", "answer": "asked", "set": "1472", "copy": "A", **today()},
    )  # fmt: skip
    assert (asked["pieces"], asked["answer"]) == (2, "asked")
    (question,) = client.get("/api/v1/owner-questions/?owner=orn").json()
    assert (question["days"], sorted(question["codes"])) == (0, [p.code for p in orn.rolls])
    given = {"kind": "regrind", "answer": "given", "of_all": True, "reference": "L 7", **today()}
    post(client, "owners/ORN/approvals/", given)
    assert client.get("/api/v1/owner-questions/").json() == []
    rows = client.get("/api/v1/owners/ORN/approvals/").json()["results"]
    assert [(row["answer"], row["pieces"]) for row in rows] == [("given", 0), ("asked", 2)]
    one = client.get(f"/api/v1/owners/ORN/approvals/?piece={orn.rolls[0].code}").json()
    assert [row["answer"] for row in one["results"]] == ["asked"]


def test_a_letter_comes_with_the_form_and_is_given_back(orn, api_as, attendant, viewer):
    letter = SimpleUploadedFile("letter.pdf", b"%PDF-1.7 yes")
    sent = {"kind": "scrap", "answer": "given", "reference": "L 7", "letter": letter,
            "pieces": [piece.code for piece in orn.rolls], **today()}  # fmt: skip
    made = api_as(attendant).post("/api/v1/owners/ORN/approvals/", sent, format="multipart")
    assert (made.status_code, made.json()["pieces"]) == (201, 2), made.content
    got = api_as(viewer).get(f"/api/v1/approvals/{made.json()['id']}/letter/")
    assert b"".join(got.streaming_content) == b"%PDF-1.7 yes"
    assert api_as(viewer).get("/api/v1/approvals/999/letter/").json()["code"] == "unknown_letter"


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({}, "no_pieces"),
        ({"pieces": ["ours"]}, "not_this_owner"),
        ({"pieces": ["roll"], "reference": ""}, "empty_text"),
        ({"pieces": ["roll"], "dated_on": "2999-01-01"}, "in_the_future"),
        ({"pieces": ["roll"], "until": "2000-01-01"}, "ends_before_it_begins"),
        ({"pieces": ["roll"], "answer": "withdrawn"}, "nothing_given"),
        ({"pieces": ["R0000000"]}, "bad_check_character"),
        ({"set": "1472", "copy": "Z"}, "unknown_copy"),
        ({"pieces": ["roll"], "answer": "yes"}, "invalid"),
        ({"pieces": ["roll"], "reason": "x"}, "invalid"),
    ],
)
def test_a_bad_answer_is_refused_and_nothing_is_kept(orn, api_as, attendant, sent, code):
    body = {"kind": "scrap", "answer": "given", "reference": "L 7", **today(), **sent}
    codes = {"ours": orn.ours.code, "roll": orn.rolls[0].code}
    if "pieces" in body:
        body["pieces"] = [codes.get(each, each) for each in body["pieces"]]
    answer = api_as(attendant).post("/api/v1/owners/ORN/approvals/", body, format="json")
    assert answer.json()["code"] == code
    assert not Approval.objects.exists()


def test_a_report_is_opened_and_stays_open_until_the_owner_was_told(orn, api_as, attendant):
    client = api_as(attendant)
    sent = {"piece": orn.rolls[0].code, "kind": "damage", "what_happened": "dropped"}
    made = post(client, "owner-reports/", sent)
    notes = f"owner-reports/{made['id']}/notes/"
    early = f"{timezone.now() - timedelta(days=1):%Y-%m-%dT%H:%MZ}"
    late = f"{timezone.now() + timedelta(hours=1):%Y-%m-%dT%H:%MZ}"
    told = {"what": "told", "whom": "J. Orn"}
    assert post(client, notes, {"what": "told"}, 400)["code"] == "empty_text"
    assert post(client, notes, {**told, "happened_at": early}, 400)["code"] == "before_it_happened"
    assert post(client, notes, {**told, "happened_at": late}, 400)["code"] == "in_the_future"
    assert post(client, notes, {"what": "settled"}, 409)["code"] == "owner_not_told"
    assert len(client.get("/api/v1/owner-reports/?open=1&owner=ORN").json()["results"]) == 1
    closed = post(client, notes, told)
    assert (closed["is_open"], closed["notes"][0]["whom"]) == (False, "J. Orn")
    assert client.get("/api/v1/owner-reports/?open=1").json()["results"] == []


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({}, "one_subject"),
        ({"piece": "ours"}, "own_tooling"),
        ({"piece": "roll", "quantity": 2}, "absurd_count"),
        ({"piece": "roll", "kind": "theft"}, "invalid"),
        ({"stock": "B0000000"}, "bad_check_character"),
    ],
)
def test_a_bad_report_is_refused(orn, api_as, crew, sent, code):
    body = {"kind": "loss", "what_happened": "gone", **sent}
    body["piece"] = {"ours": orn.ours.code, "roll": orn.rolls[0].code}.get(sent.get("piece"), "")
    answer = api_as(crew).post("/api/v1/owner-reports/", body, format="json")
    assert answer.json()["code"] == code
    assert not OwnerReport.objects.exists()


def test_marks_are_looked_for_one_by_one_and_many_at_once(orn, api_as, crew):
    client = api_as(crew)
    first, second = orn.rolls
    photo = SimpleUploadedFile("mark.png", a_png())
    kept = pictures.keep(by=crew, at=timezone.now(), upload=photo, piece=first)
    post(client, f"pieces/{first.code}/owner-mark/", {"is_there": True, "picture": kept.pk})
    assert OwnerMarkCheck.objects.get().picture == kept
    other = {"is_there": True, "picture": kept.pk}
    assert post(client, f"pieces/{second.code}/owner-mark/", other, 409)["code"] == "other_piece"
    checks = [{"piece": each.code, "is_there": False} for each in (second, orn.ours)]
    assert post(client, "owners/ORN/marks/", {"checks": checks}, 409)["code"] == "own_tooling"
    post(client, "owners/ORN/marks/", {"checks": checks[:1]})
    walk = client.get("/api/v1/owners/ORN/marks/").json()
    assert walk["counts"] == {"pieces": 2, "marked": 1, "unmarked": 1, "never": 0}
    assert [row["code"] for row in walk["rows"]] == [second.code]


def test_pieces_change_hands_with_a_reason(orn, api_as, engineer):
    client = api_as(engineer)
    assert (
        post(client, "owners/ORN/pieces/", {"set": "1472", "copy": "A"}, 400)["code"] == "invalid"
    )
    body = {"set": "1472", "copy": "A", "reason": "sold with the set"}
    assert post(client, "owners/ORN/pieces/", body, 200) == {"changed": 1}
    assert Change.objects.get(what="owner changed").reason == "sold with the set"
    edit = client.patch(f"/api/v1/pieces/{orn.ours.code}/", {"owner": "SHOP"}, format="json")
    assert edit.json()["code"] == "owner_change_needs_reason"


def test_the_register_is_read_by_pages_and_drawn_as_a_task(orn, api_as, viewer):
    client = api_as(viewer)
    rows = client.get("/api/v1/owners/ORN/register/").json()["results"]
    assert [row["code"] for row in rows] == [piece.code for piece in orn.rolls]
    assert (rows[0]["value_cents"], rows[0]["has_mark"]) == (5, None)
    task = post(client, "owners/ORN/register/", {"paper": "letter"}, 202)
    assert client.get(f"/api/v1/tasks/{task['id']}/file/").status_code == 404
    assert work_once(HANDLERS)
    got = client.get(f"/api/v1/tasks/{task['id']}/file/")
    assert b"".join(got.streaming_content).startswith(b"%PDF-")
    assert post(client, "owners/ORN/register/", {"paper": "a5"}, 400)["code"] == "invalid"


def test_values_and_what_lies_still_are_read(orn, api_as, engineer):
    client = api_as(engineer)
    code = orn.rolls[0].code
    edited = client.patch(f"/api/v1/pieces/{code}/", {"value_cents": 125_050}, format="json")
    assert edited.json()["value_cents"] == 125_050
    wrong = client.patch(f"/api/v1/pieces/{code}/", {"value_cents": 12.5}, format="json")
    assert wrong.json()["code"] == "invalid"
    told = client.get("/api/v1/insured/?owner=orn").json()
    assert (told["total"]["value_cents"], told["by_place"][0]["name"]) == (125_055, "Rack")
    assert client.get("/api/v1/dormant/").json() == {"results": [], "next": None}
    assert Piece.objects.get(code=code).value_cents == 125_050


def test_what_an_owner_has_not_allowed_is_refused_by_every_way_in(orn, api_as, engineer, world):
    scrap = world.place("Scrap", kind="scrap")
    grinder = world.place("Grinder", kind="grinder")
    client, code = api_as(engineer), orn.rolls[0].code
    now = timezone.now().isoformat()
    for place in (scrap, grinder):
        scan = {"id": "5f0c7c1e-6f2b-4a39-9d4e-0d7f0a3b9c1" + str(place.pk % 10), "to": place.code,
                "happened_at": now, "code": code, "how": "scan"}  # fmt: skip
        sent = {"device": "gate", "device_now": now, "scans": [scan]}
        (result,) = post(client, "scans/", sent, 200)["results"]
        assert (result["code"], "Orn & Sons" in result["message"]) == (
            "owner_approval_missing",
            True,
        )
    work = {"kind": "regrind", "done_on": today()["dated_on"], "drive_diameter_after_mm": "150"}
    answer = post(client, f"pieces/{code}/work/", work, 409)
    assert (answer["code"], answer["detail"]["needed"]) == ("owner_approval_missing", "regrind")
