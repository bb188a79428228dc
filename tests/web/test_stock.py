"""A bin by hand, as plain forms and as a script asks; the list of what to make or buy."""

from __future__ import annotations

import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM
from tooling.models import Kit, Movement, Place, Purchase, StockLine
from tooling.queries.put_away import put_away
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture
def spacer(world):
    return world.drawing("SP-10", kind="spacer", bore_nm=60 * MM, face_width_nm=10 * MM)


@pytest.fixture
def line(world, spacer):
    return world.stock(spacer, world.place("Drawer 5", kind="bin"), 20, least_count=4)


@pytest.fixture
def cart(world):
    return world.place("Cart 1", kind="cart")


@pytest.fixture
def kit(world, spacer, cart):
    """A kit on the cart that wants three of the spacer."""
    tool_set = world.tool_set("S", {(1, "top", n): spacer for n in (1, 2, 3)})
    job = world.job(tool_set, world.mill(), number="J-7")
    kit = Kit.objects.create(number=world.code("K"), job=job, place=cart, assembled_at=world.at)
    for position in tool_set.passes.get().positions.all():
        kit.positions.create(
            set_position=position, station_number=1, pass_number=1, shaft="top",
            order=position.order, drawing=spacer,
        )  # fmt: skip
    return kit


@pytest.fixture
def page(log_in, attendant):
    return log_in(attendant)


def url(line, act=""):
    return f"/pieces/stock/{line.code}/{act}"


def count_of(line):
    return StockLine.objects.get(pk=line.pk).count


def problem_of(answer):
    found = re.search(r'class="problem[^"]*" data-code="(\w+)"', answer.content.decode())
    return found.group(1) if found else ""


def test_the_bin_offers_the_kit_that_wants_some_with_the_number(page, line, kit) -> None:
    said = page.get(url(line)).content.decode()
    assert re.search(rf'name="n-{kit.number}" value="3"', said)
    assert "job J-7" in said
    assert "wants 3" in said


def test_one_tap_takes_what_the_kit_wants_and_undo_brings_it_back(page, line, kit, cart) -> None:
    form = {"to": kit.number, "quantity": "", f"n-{kit.number}": "3", "id": str(uuid.uuid4())}
    answer = page.post(url(line, "take/"), form, follow=True)
    assert "3 of SP-10: from Drawer 5 to Cart 1. 17 are in it now." in answer.content.decode()
    page.post(url(line, "take/"), form)
    assert (count_of(line), kit.positions.filter(is_staged=True).count()) == (17, 3)
    movement = Movement.objects.get(stock=line, what="move")
    page.post(url(line, "undo/"), {"movement": str(movement.uuid)})
    assert (count_of(line), kit.positions.filter(is_staged=True).count()) == (20, 0)
    assert differences() == []


def test_a_number_that_was_typed_goes_before_the_offered_one(page, line, kit) -> None:
    page.post(url(line, "take/"), {"to": kit.number, "quantity": "2", f"n-{kit.number}": "3"})
    assert count_of(line) == 18


@pytest.mark.parametrize("kind", ["person", "cart", "area"])
def test_some_go_to_a_person_a_cart_or_a_mill_and_come_back(page, world, line, kind) -> None:
    there = world.mill("M7").place if kind == "area" else world.place("There", kind=kind)
    page.post(url(line, "take/"), {"to": "", "other": there.code, "quantity": "6", "n": "1"})
    lies = StockLine.objects.get(place=there)
    assert (count_of(line), lies.count) == (14, 6)
    assert f'name="n-{lies.code}" value="6"' in page.get(url(line)).content.decode()
    page.post(url(line, "put-back/"), {"from": lies.code, "quantity": "", f"n-{lies.code}": "6"})
    assert count_of(line) == 20


@pytest.mark.parametrize(
    ("verb", "quantity", "left"),
    [("count", 7, 7), ("use_up", 2, 18), ("scrap", 5, 15), ("make", 10, 30), ("receive", 3, 23)],
)
def test_every_way_changes_the_count_and_has_its_undo(page, line, verb, quantity, left) -> None:
    page.post(url(line, "change/"), {"verb": verb, "quantity": quantity, "note": "n"})
    assert count_of(line) == left
    row = Movement.objects.get(stock=line, what=verb, by__isnull=False)
    answer = page.post(url(line, "undo/"), {"movement": str(row.uuid)}, follow=True)
    assert (count_of(line), "Put right." in answer.content.decode()) == (20, True)
    again = page.post(url(line, "undo/"), {"movement": str(row.uuid)})
    assert problem_of(again) == "already_corrected"


def test_the_crew_uses_up_shims_but_writes_no_counts(log_in, crew, attendant, world) -> None:
    shim = world.drawing("SH-1", kind="shim", face_width_nm=50_000)
    line = world.stock(shim, world.place("Drawer 1"), 9)
    page = log_in(crew)
    said = page.get(url(line)).content.decode()
    assert ("Thickness" in said, "So many are there" in said) == (True, False)
    page.post(url(line, "change/"), {"verb": "use_up", "quantity": 2})
    assert count_of(line) == 7
    assert page.post(url(line, "change/"), {"verb": "count", "quantity": 2}).status_code == 403
    received = Movement.objects.get(stock=line, what="receive")
    assert page.post(url(line, "undo/"), {"movement": str(received.uuid)}).status_code == 403
    assert count_of(line) == 7


@pytest.mark.parametrize(
    ("act", "form", "code"),
    [
        ("take/", {"to": "", "quantity": "1"}, "no_place"),
        ("take/", {"to": "{kit}", "quantity": "21"}, "stock_short"),
        ("take/", {"to": "{kit}", "quantity": "-1"}, "absurd_quantity"),
        ("take/", {"to": "{kit}", "quantity": "many"}, "absurd_quantity"),
        ("take/", {"to": "Nowhere", "quantity": "1"}, "unknown_code"),
        ("put-back/", {"from": "B000000", "quantity": "1"}, "unknown_code"),
        ("change/", {"verb": "scrap", "quantity": "99"}, "stock_short"),
        ("least/", {"least_count": "x"}, "absurd_quantity"),
        ("undo/", {"movement": "x"}, "unknown_scan"),
    ],
)
def test_what_cannot_be_is_refused_in_place_and_changes_nothing(
    page, line, kit, act, form, code
) -> None:
    form = {key: value.format(kit=kit.number) for key, value in form.items()}
    before = Movement.objects.count()
    answer = page.post(url(line, act), form)
    if answer.status_code == 404:
        assert code == "unknown_code"
    else:
        assert problem_of(answer) == code
    if form.get("quantity") and code == "stock_short":
        assert f'value="{form["quantity"]}"' in answer.content.decode()
    assert (count_of(line), Movement.objects.count()) == (20, before)
    told = page.post(url(line, act), form, headers={"accept": "application/json"})
    assert told.status_code >= 400


def test_other_stock_is_not_put_into_the_bin(page, world, line, spacer) -> None:
    cracked = world.stock(spacer, world.place("Cart 2", kind="cart"), 3, condition="cracked")
    answer = page.post(url(line, "put-back/"), {"from": cracked.code, "quantity": "1"})
    assert problem_of(answer) == "other_stock"


def test_a_script_is_answered_with_what_to_undo(page, line, kit) -> None:
    form = {"to": kit.number, "quantity": "3", "id": str(uuid.uuid4())}
    as_json = {"accept": "application/json"}
    told = page.post(url(line, "take/"), form, headers=as_json).json()
    assert (told["code"], told["subject"], told["count"]) == ("", line.code, 17)
    assert page.post(url(line, "take/"), form, headers=as_json).json()["code"] == ""
    assert count_of(line) == 17
    gone = page.post("/scan/undo/", {"scan": told["id"], "code": line.code}, follow=True)
    assert (gone.status_code, count_of(line)) == (200, 20)


def test_a_bin_that_is_scanned_shows_what_it_offers(page, log_in, viewer, line, kit, cart) -> None:
    said = page.get("/scan/bin/", {"code": line.code, "to": cart.code}).content.decode()
    assert ("data-hand" in said, f'value="{kit.number}"' in said) == (True, True)
    assert page.get("/scan/bin/", {"code": "B0000000"}).json()["code"] == "unknown_code"
    entered = page.post("/scan/enter/", {"code": line.code})
    assert entered.url == url(line)
    going = page.post("/scan/enter/", {"code": line.code, "to": cart.code})
    assert going.url == f"{url(line)}?to={cart.code}"
    page.post("/scan/enter/", {"code": line.code, "to": kit.number})
    assert count_of(line) == 17
    assert log_in(viewer).get("/scan/bin/", {"code": line.code}).status_code == 403


def test_a_whole_cart_of_counts_goes_back_with_one_tap(page, world, line, cart) -> None:
    page.post(url(line, "take/"), {"to": cart.code, "quantity": "6"})
    answer = page.post(f"/shop/places/{cart.code}/counts-back/", follow=True)
    assert ("6 went back" in answer.content.decode(), count_of(line)) == (True, 20)
    walked = world.stock(line.drawing, world.place("Rack 9"), 4)
    page.post(url(walked, "take/"), {"to": cart.code, "quantity": "1"})
    page.post(url(line, "take/"), {"to": cart.code, "quantity": "2"})
    stops = put_away(cart.code, at=world.at).stops
    assert {(stop.place, each.quantity) for stop in stops for each in stop.lines} == {
        ("Rack 9", 1),
        ("Drawer 5", 2),
    }


def test_the_pull_list_stages_a_bin_with_one_tap(page, line, kit) -> None:
    said = page.get(f"/kits/{kit.number}/pull-list/").content.decode()
    assert "take 3 of 20" in said
    page.post(f"/kits/{kit.number}/fetch/", {"code": line.code, f"take-{line.code}": "2"})
    assert kit.positions.filter(is_staged=True).count() == 2
    bad = page.post(f"/kits/{kit.number}/fetch/", {"code": line.code, f"take-{line.code}": "two"})
    assert problem_of(bad) == "absurd_quantity"
    position = kit.positions.get(is_staged=False)
    page.post(f"/kits/{kit.number}/tick/", {"position": position.pk})
    assert kit.positions.filter(is_staged=True).count() == 3
    assert count_of(line) == 17


def test_the_kits_page_tells_a_shortage_of_many_once(page, line, kit) -> None:
    page.post(url(line, "change/"), {"verb": "count", "quantity": 1})
    said = page.get(f"/kits/{kit.number}/").content.decode()
    assert said.count("Only 1 of the 3 SP-10 still wanted") == 2
    assert "and 1 position more" in said
    assert "/pieces/stock/make-or-buy/" in said


def test_what_lacks_is_listed_made_and_ordered(page, log_in, engineer, line) -> None:
    needs = "/pieces/stock/make-or-buy/"
    assert "Nothing lacks" in page.get(needs).content.decode()
    page.post(url(line, "least/"), {"least_count": "30"})
    assert "SP-10" in page.get(needs).content.decode()
    made = page.post(f"{needs}made/", {"bin": line.code, "quantity": "6"}, follow=True)
    assert (count_of(line), "6 of SP-10 made" in made.content.decode()) == (26, True)
    bad = page.post(f"{needs}made/", {"bin": line.code, "quantity": "0", "drawing": "SP-10"})
    assert problem_of(bad) == "absurd_quantity"
    form = {"drawing": "SP-10", "quantity": "4", "order": "PO-9", "vendor": "Turner & Co"}
    engineers = log_in(engineer)
    short = engineers.post(f"{needs}ordered/", {**form, "vendor": ""})
    assert (problem_of(short), 'value="PO-9"' in short.content.decode()) == ("empty_text", True)
    engineers.post(f"{needs}ordered/", form)
    assert Purchase.objects.get().lines.get().quantity == 4
    rows = engineers.get("/pieces/stock/make-or-buy.csv").content.decode("utf-8-sig").splitlines()
    assert rows[1].startswith("SP-10,,spacer,mm,10,60,26,0,30,0,")
    assert rows[1].endswith(",4,4,,0")


@pytest.mark.parametrize("count", [0, 250])
def test_pages_of_stock_hold_none_and_many(page, world, spacer, count) -> None:
    rack = world.place("Rack", kind="rack")
    places = Place.objects.bulk_create(
        Place(
            code=f"PX{n:06d}", kind="bin", name=f"{n}", path=f"{rack.path}PX{n:06d}/", parent=rack
        )
        for n in range(count)
    )
    StockLine.objects.bulk_create(
        StockLine(code=f"BX{n:06d}", drawing=spacer, place=place, owner=world.shop, least_count=1)
        for n, place in enumerate(places)
    )
    for address in ("/pieces/stock/", "/pieces/stock/make-or-buy/?all=1"):
        with CaptureQueriesContext(connection) as asked:
            assert page.get(address).status_code == 200
        assert len(asked) <= 12
