"""Orders for work by program: the same way, refused with the same codes."""

from __future__ import annotations

import pytest
from django.utils import timezone

from tests.grinding import Grinding, inches
from tooling.models import Owner, Piece, RegrindOrder

pytestmark = pytest.mark.django_db
ORDERS = "/api/v1/regrind-orders/"
THIRD = (3, "bottom", 1)


@pytest.fixture
def shop(world):
    return Grinding(world)


@pytest.fixture
def desk(api_as, engineer):
    return api_as(engineer)


def post(client, address, body, status=200):
    answer = client.post(address, body, format="json")
    assert answer.status_code == status, answer.content
    return answer.json()


def test_an_order_goes_its_way_by_program(shop, desk, api_as, viewer):
    asked = {"set": "S", "copy": "A", "take_off_in": "0.030", "vendor": shop.grinder.code,
             "price": "360.00"}  # fmt: skip
    made = post(desk, ORDERS, asked, 201)
    own = f"{ORDERS}{made['number']}/"
    assert (made["state"], made["price_cents"], len(made["lines"])) == ("requested", 36_000, 8)
    size = made["lines"][5]["sizes"][0]
    assert (size["dimension"], size["before_mm"], size["target_mm"]) == (
        "drive_diameter", "153.416", "152.654",
    )  # fmt: skip
    assert made["judged"]["sets"][0]["diameters"][2]["bottom_mm"] == "152.654"
    post(desk, f"{own}send/", {})
    codes = [line["piece"] for line in made["lines"]]
    back = {"codes": codes, "to": shop.rack.code, "cost": "45.00"}
    assert post(desk, f"{own}back/", back)["state"] == "back"
    for line in made["lines"]:
        for each in line["sizes"]:
            reading = {"dimension": each["dimension"], "value_mm": each["target_mm"]}
            post(desk, f"/api/v1/pieces/{line['piece']}/readings/", reading, 201)
    assert post(desk, f"{own}release/", {}, 409)["code"] == "mark_missing"
    post(desk, f"{own}marks/", {"codes": codes})
    assert desk.get(f"{own}release/").json()["refusals"] == []
    assert post(desk, f"{own}release/", {})["state"] == "released"
    assert [row["number"] for row in api_as(viewer).get(f"{ORDERS}?ended=1").json()] == ["G-0001"]
    assert api_as(viewer).get(ORDERS).json() == []


def test_lead_times_are_told(shop, desk, api_as, viewer, engineer):
    order = shop.request(engineer, THIRD)
    shop.send(engineer, order)
    shop.back(engineer, order)
    told = api_as(viewer).get("/api/v1/regrind-lead-times/").json()
    assert [(row["vendor_name"], row["orders"], row["median_days"]) for row in told] == [
        ("Alder Grinding", 1, 5.0)
    ]


def one(shop, **more):
    return {"lines": [{"piece": shop.pieces[THIRD].code, "take_off_in": "0.03", **more}]}


@pytest.mark.parametrize(
    ("more", "status", "code"),
    [
        ({"take_off_in": "0.31"}, 400, "below_least_diameter"),
        ({"target_drive_diameter_in": "6.1"}, 400, "cut_made_larger"),
        ({"kinds": []}, 400, "no_work"),
        ({"kinds": ["sandblast"]}, 400, "invalid"),
        ({"piece": "R0000000"}, 400, "bad_check_character"),
        ({"colour": "red"}, 400, "invalid"),
    ],
)
def test_bad_orders_have_their_own_codes(shop, desk, more, status, code):
    assert post(desk, ORDERS, one(shop, **more), status)["code"] == code


def test_bad_acts_have_their_own_codes(shop, desk, api_as, supervisor):
    made = post(desk, ORDERS, one(shop), 201)
    own = f"{ORDERS}{made['number']}/"
    code, other = shop.pieces[THIRD].code, shop.pieces[1, "top", 1].code
    again = post(desk, ORDERS, one(shop), 409)
    assert again["code"] == "on_open_order"
    rest = {"set": "S", "copy": "A", "take_off_in": "0.03", "leave_out": True}
    assert len(post(desk, ORDERS, rest, 201)["lines"]) == 7
    assert post(desk, f"{own}release/", {}, 409)["code"] == "not_sent"
    assert post(desk, f"{own}back/", {"codes": [code]}, 409)["code"] == "not_sent"
    post(desk, f"{own}send/", {})
    assert post(desk, f"{own}back/", {"codes": [other]}, 409)["code"] == "not_on_order"
    assert post(desk, f"{own}release/", {}, 409)["code"] == "still_out"
    assert post(desk, f"{own}drop/", {"reason": "x"}, 409)["code"] == "still_out"
    job = shop.world.job(shop.set, shop.mill).number
    freed = api_as(supervisor).post(f"{own}for-job/", {"job": job, "reason": "x"}, format="json")
    assert freed.json()["code"] == "nothing_back"
    post(desk, f"{own}back/", {"codes": [code]})
    assert post(desk, f"{own}release/", {}, 409)["code"] == "unread_after_cut"
    gone = desk.get(f"{ORDERS}G-9999/")
    assert (gone.status_code, gone.json()["code"]) == (404, "unknown_order")


def test_an_owner_who_was_not_asked_is_named_by_program_too(shop, desk):
    orn = Owner.objects.create(code="ORN", name="Orn & Sons")
    Piece.objects.filter(pk=shop.pieces[THIRD].pk).update(owner=orn)
    made = post(desk, ORDERS, one(shop), 201)
    checks = made["lines"][0]["checks"]
    assert checks[0]["code"] == "owner_approval_missing"
    refused = post(desk, f"{ORDERS}{made['number']}/send/", {}, 409)
    assert refused["code"] == "owner_approval_missing"


def test_lines_are_added_changed_and_taken_off(shop, desk):
    made = post(desk, ORDERS, one(shop), 201)
    own = f"{ORDERS}{made['number']}/"
    other = shop.pieces[1, "top", 1].code
    added = post(desk, f"{own}lines/", {"piece": other, "kinds": ["polish"]}, 201)
    assert [line["kinds"] for line in added["lines"]] == [["regrind"], ["polish"]]
    changed = desk.put(
        f"{own}lines/{shop.pieces[THIRD].code}/", {"take_off_in": "0.02"}, format="json"
    ).json()
    assert changed["lines"][0]["sizes"][0]["target_mm"] == "152.908"
    assert desk.delete(f"{own}lines/{other}/").json()["lines"][0]["piece"] != other
    due = timezone.localdate().isoformat()
    edited = desk.patch(own, {"due_on": due, "vendor": "", "price": "12"}, format="json").json()
    assert (edited["due_on"], edited["price_cents"]) == (due, 1_200)
    assert RegrindOrder.objects.get().vendor is None


def test_sizes_are_exact(shop, desk):
    made = post(desk, ORDERS, one(shop, tolerance_in="0.0005"), 201)
    size = made["lines"][0]["sizes"][0]
    assert (size["minus_mm"], size["plus_mm"]) == ("0.0127", "0.0127")
    assert inches("0.0005") == 12_700


def test_some_pieces_are_released_alone_by_program(shop, desk, engineer):
    """Passes 3 and 4 of four, less 0.030; judged with the others as they are."""
    order = shop.request(engineer, *[(n, s, 1) for n in (3, 4) for s in ("top", "bottom")])
    own = f"{ORDERS}{order.number}/"
    codes = [shop.pieces[3, shaft, 1].code for shaft in ("top", "bottom")]
    shop.send(engineer, order)
    shop.back(engineer, order, codes=codes)
    shop.read(engineer, order, only=codes)
    shop.marks(engineer, order, codes)
    asked = desk.get(f"{own}release/?codes={','.join(codes)}").json()
    assert {each["code"] for each in asked["refusals"]} == {"speed_slack"}
    assert post(desk, f"{own}release/", {"codes": codes}, 409)["code"] == "speed_slack"
    assert post(desk, f"{own}release/", {"codes": ["R1"]}, 409)["code"] == "not_on_order"
    told = post(desk, f"{own}release/", {"codes": codes, "reason": "the rest follows"})
    assert [line["is_open"] for line in told["lines"]] == [False, False, True, True]
