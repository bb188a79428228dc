"""``jobs/`` and ``kits/`` from outside."""

from __future__ import annotations

import pytest

from tests.rolling import Rolling
from tests.world import MM
from tooling.models import Job, Kit, KitState

pytestmark = pytest.mark.django_db
STATES = {"here", "to_fetch", "missing", "worn", "may_not_last", "held", "out", "taken",
          "does_not_fit"}  # fmt: skip
TOP = {"station": 1, "shaft": "top", "order": 1}


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    return Rolling(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


@pytest.fixture
def kit(shop, crew):
    return shop.kit(crew)


@pytest.fixture
def client(api_as, crew):
    return api_as(crew)


def post(client, path, **body):
    return client.post(f"/api/v1/{path}", body, format="json")


def told(client, kit):
    answer = client.get(f"/api/v1/kits/{kit.number}/")
    assert answer.status_code == 200
    return answer.json()


def top(body):
    return next(p for p in body["positions"] if (p["station"], p["shaft"]) == (1, "top"))


def test_a_kit_has_exactly_the_shape_that_programs_rely_on(client, shop, kit):
    body = told(client, kit)
    assert set(body) == {"number", "version", "state", "job", "mill", "counts", "positions"}
    assert (body["number"], body["job"], body["mill"]) == (kit.number, "J1", "M")
    assert set(body["counts"]) == STATES
    assert body["counts"]["to_fetch"] == len(body["positions"]) == 4
    assert top(body) == {
        "station": 1,
        "pass": 1,
        "shaft": "top",
        "order": 1,
        "drawing": "D1t",
        "piece": shop.pieces[1, "top", 1].code,
        "state": "to_fetch",
        "place": shop.rack.code,
        "reason": "Fetch it from Rack.",
        "alternative": None,
        "due_back": None,
        "back_in_time": None,
        "revision_note": "",
        "is_new": False,
        "where": "",
    }


def test_a_whole_kit_by_program_from_the_plan_to_the_end(api_as, shop, engineer, crew):
    planner, client = api_as(engineer), api_as(crew)
    planned = post(
        planner, "jobs/", number="J-7", set="S", mill="M", starts_at="2027-01-10T06:00:00Z",
        thickness_mm="1.5", length_ft="3000", grade="DX51D",
    )  # fmt: skip
    assert planned.status_code == 201
    assert (planned.json()["thickness_mm"], planned.json()["length_m"]) == ("1.5", "914.4")
    made = post(client, "kits/", job="J-7", place=shop.cart.code)
    assert made.status_code == 201
    number = made.json()["number"]
    assert made.json()["counts"]["missing"] == 4
    assert post(client, f"kits/{number}/assemble/").json()["counts"]["to_fetch"] == 4
    scans = [
        {"id": f"00000000-0000-4000-8000-00000000000{n}", "happened_at": "2026-11-25T09:00:00Z",
         "to": number, "code": piece.code, "how": "scan"}
        for n, piece in enumerate(shop.pieces.values())
    ]  # fmt: skip
    sent = post(client, "scans/", device="d", device_now="2026-11-25T09:00:00Z", scans=scans)
    assert {r["status"] for r in sent.json()["results"]} == {"taken"}
    body = client.get(f"/api/v1/kits/{number}/").json()
    assert (body["state"], body["counts"]["here"]) == ("staged", 4)
    assert post(client, f"kits/{number}/close/").json()["state"] == "closed"
    assert Kit.objects.get(number=number).is_short is False


def test_a_position_is_chosen_cleared_and_filled_again(client, shop, kit):
    spare = shop.world.piece(shop.drawings[1, "top", 1], shop.rack)
    path = f"kits/{kit.number}/fill/"
    assert top(post(client, path, **TOP, code=spare.code).json())["piece"] == spare.code
    cleared = top(post(client, path, **TOP, code=None).json())
    assert (cleared["piece"], cleared["state"]) == (None, "missing")
    assert cleared["alternative"] in (spare.code, shop.pieces[1, "top", 1].code)
    own = shop.pieces[1, "top", 1].code
    assert top(post(client, path, **TOP).json())["piece"] == own


def test_a_choice_that_cannot_be_is_one_error_and_changes_nothing(client, shop, kit):
    before = told(client, kit)
    wrong = shop.pieces[2, "top", 1]
    answer = post(client, f"kits/{kit.number}/fill/", **TOP, code=wrong.code)
    assert (answer.status_code, answer.json()["code"]) == (409, "other_drawing")
    assert told(client, kit) == before


def test_losing_and_finding_shows(client, shop, kit):
    lost = shop.world.place("Lost", kind="lost")
    piece = shop.pieces[1, "top", 1]

    def scan(to, n):
        post(
            client, "scans/", device="d", device_now="2026-11-25T09:00:00Z",
            scans=[{"id": f"00000000-0000-4000-8000-00000000000{n}",
                    "happened_at": f"2026-11-25T09:00:0{n}Z", "to": to.code, "code": piece.code,
                    "how": "scan"}],
        )  # fmt: skip

    scan(lost, 1)
    assert top(told(client, kit))["state"] == "missing"
    scan(shop.rack, 2)
    assert top(told(client, kit))["state"] == "to_fetch"


def test_measuring_below_the_least_shows_and_back(api_as, engineer, client, shop, kit):
    path = f"pieces/{shop.pieces[1, 'top', 1].code}/readings/"
    sent = post(api_as(engineer), path, dimension="drive_diameter", value_mm="139.5", sure=True)
    assert sent.status_code == 201, sent.json()
    worn = top(told(client, kit))
    assert (worn["state"], "139.5" in worn["reason"]) == ("worn", True)
    post(api_as(engineer), path, dimension="drive_diameter", value_mm="150", sure=True)
    assert top(told(client, kit))["state"] == "to_fetch"


def test_closing_short_needs_a_reason(client, kit):
    refused = post(client, f"kits/{kit.number}/close/")
    assert (refused.status_code, refused.json()["code"]) == (400, "kit_short")
    done = post(client, f"kits/{kit.number}/close/", reason="the mill is down")
    assert done.json()["state"] == KitState.CLOSED
    kit.refresh_from_db()
    assert kit.short_reason == "the mill is down"


@pytest.mark.parametrize("action", ["assemble", "close", "fill"])
def test_a_closed_kit_answers_with_a_conflict(client, kit, action):
    post(client, f"kits/{kit.number}/close/", reason="done")
    body = dict(TOP) if action == "fill" else {}
    answer = post(client, f"kits/{kit.number}/{action}/", **body)
    assert (answer.status_code, answer.json()["code"]) == (409, "kit_closed")
    assert kit.number in answer.json()["message"]


def test_the_gathering_place_is_set_and_taken_away(client, shop, kit):
    for code in (shop.cart.code, None):
        answer = client.patch(f"/api/v1/kits/{kit.number}/", {"place": code}, format="json")
        assert answer.status_code == 200
        kit.refresh_from_db()
        assert (kit.place.code if kit.place else None) == code


def test_a_copy_is_named_by_its_letter(client, shop, kit):
    other = {spot: shop.world.piece(d, shop.rack) for spot, d in shop.drawings.items()}
    shop.world.copy(shop.set, "B", other)
    body = post(client, f"kits/{kit.number}/assemble/", copy="B").json()
    assert {p["piece"] for p in body["positions"]} == {piece.code for piece in other.values()}
    unknown = post(client, f"kits/{kit.number}/assemble/", copy="Z")
    assert (unknown.status_code, unknown.json()["code"]) == (404, "unknown_copy")


@pytest.mark.parametrize("path", ["kits/K0000000/", "jobs/NONE/"])
def test_an_unknown_number_is_not_found(client, kit, path):
    answer = client.get(f"/api/v1/{path}")
    assert answer.status_code == 404
    assert set(answer.json()) == {"code", "message", "detail"}


@pytest.mark.parametrize(
    "body",
    [
        {"station": 1},
        {"station": 1, "shaft": "left", "order": 1},
        {"station": -1, "shaft": "top", "order": 1},
        {**TOP, "code": "x" * 41},
        {**TOP, "colour": "red"},
        {"station": 9, "shaft": "top", "order": 1},
        {**TOP, "code": "R0000000"},
    ],
)
def test_a_wrong_body_changes_nothing(client, kit, body):
    before = told(client, kit)
    answer = post(client, f"kits/{kit.number}/fill/", **body)
    assert answer.status_code in (400, 404)
    assert set(answer.json()) == {"code", "message", "detail"}
    assert told(client, kit) == before


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew", "engineer", "supervisor"])
def test_who_may_gather_and_who_may_plan(api_as, cast, kit, shop, role):
    client = api_as(cast[role])
    gathers = 403 if role == "viewer" else 200
    plans = 201 if role in ("engineer", "supervisor") else 403
    assert client.get(f"/api/v1/kits/{kit.number}/").status_code == 200
    assert post(client, f"kits/{kit.number}/assemble/").status_code == gathers
    job = {"number": "J-8", "set": "S", "mill": "M", "starts_at": "2027-01-10T06:00:00Z"}
    assert post(client, "jobs/", **job).status_code == plans
    assert Job.objects.filter(number="J-8").exists() is (plans == 201)


def test_a_job_is_told_changed_and_called_off(api_as, engineer, kit):
    client = api_as(engineer)
    assert client.get("/api/v1/jobs/J1/").json()["kit"] == kit.number
    changed = client.patch("/api/v1/jobs/J1/", {"hours": 12, "width_in": "4"}, format="json")
    assert (changed.json()["hours"], changed.json()["width_mm"]) == (12.0, "101.6")
    off = post(client, "jobs/J1/cancel/", reason="no strip")
    assert (off.json()["state"], off.json()["kit"]) == ("cancelled", None)


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"thickness_mm": "0"}, "improbable_value"),
        ({"thickness_mm": "1", "thickness_in": "1"}, "ambiguous_length"),
        ({"length_m": "1", "length_ft": "1"}, "ambiguous_length"),
        ({"length_m": "-1"}, "negative_length"),
        ({"hours": 0}, "absurd_hours"),
        ({"mill": "M77"}, "unknown_mill"),
        ({"set": "S77"}, "unknown_set"),
        ({"variant": "wide"}, "unknown_variant"),
        ({"gathers_at": "2028-01-01T00:00:00Z"}, "gathers_after_start"),
    ],
)
def test_what_cannot_be_planned_is_said(api_as, engineer, kit, body, code):
    answer = client_patch(api_as(engineer), body)
    assert answer.status_code in (400, 404)
    assert answer.json()["code"] == code
    assert Job.objects.get(number="J1").hours == 8.0


def client_patch(client, body):
    return client.patch("/api/v1/jobs/J1/", body, format="json")


def test_lists_are_narrowed(api_as, viewer, shop, kit):
    shop.world.job(shop.set, shop.world.mill("M2"), number="J2", thickness_nm=2 * MM)
    client = api_as(viewer)
    rows = client.get("/api/v1/jobs/?mill=M2").json()["results"]
    assert [(row["number"], row["thickness_mm"]) for row in rows] == [("J2", "2")]
    kits_open = client.get("/api/v1/kits/").json()
    assert [(row["number"], row["counts"]["to_fetch"]) for row in kits_open] == [(kit.number, 4)]


def test_nobody_without_a_login(kit, client):
    client.credentials()
    assert client.get(f"/api/v1/kits/{kit.number}/").status_code == 401
