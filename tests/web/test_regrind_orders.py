"""Pages of orders for work: what is refused stands in its place, what was typed is kept."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pytest
from django.utils import timezone
from pypdf import PdfReader

from tests.grinding import Grinding, a_kit, inches
from tooling.models import KitPosition, Owner, Piece, Reading, RegrindOrder
from tooling.queries.regrind_orders import order_lists
from tooling.services import kits, pins, regrind_orders
from tooling.services.movements import move_pieces
from tooling.services.regrind_targets import OrderLineIn
from tooling.web.pins import BY_BADGE

pytestmark = pytest.mark.django_db
THIRD = (3, "bottom", 1)
ORDERS = "/regrinds/orders/"
ORDER_API = "/regrind-orders/"


@pytest.fixture
def shop(world):
    return Grinding(world)


@pytest.fixture
def desk(log_in, engineer):
    return log_in(engineer)


def text(answer):
    return answer.content.decode()


def test_an_empty_shop_is_taught_the_first_step(world, desk):
    page = text(desk.get(ORDERS))
    assert "Nothing is out for work" in page
    assert f'href="{ORDERS}new/"' in page
    assert "No order is over yet" in text(desk.get(f"{ORDERS}?ended=1"))


def test_an_order_is_asked_for_by_marks_and_told(shop, desk):
    form = {"codes": "3B\n3T", "kinds": ["plate", "regrind", "strip"], "take_off": "0.030 in",
            "vendor": shop.grinder.code, "note": "before the winter"}  # fmt: skip
    answer = desk.post(f"{ORDERS}new/", form)
    order = RegrindOrder.objects.get()
    assert answer.headers["Location"] == f"{ORDERS}{order.number}/"
    assert order.lines.first().kinds == ["strip", "regrind", "plate"]
    page = text(desk.get(f"{ORDERS}{order.number}/"))
    assert 'data-code="speed_slack"' in page
    assert "Alder Grinding" in page
    assert order.number in text(desk.get(ORDERS))
    assert f'href="{ORDERS}"' in text(desk.get("/regrinds/"))


@pytest.mark.parametrize("is_sent", [False, True])
def test_overdue_is_said_only_of_what_is_out(shop, desk, api_as, viewer, engineer, is_sent):
    order, today = shop.request(engineer, THIRD), timezone.localdate()
    if is_sent:
        shop.send(engineer, order)
    RegrindOrder.objects.update(due_on=today - timedelta(days=7))
    own = f"{ORDERS}{order.number}/"
    told = {address: text(desk.get(address)) for address in ("/today/", ORDERS, own)}
    for address in ("/today/", ORDERS):
        assert ("7 days overdue" in told[address]) is is_sent, address
        assert ("not sent, was wanted back" in told[address]) is not is_sent, address
    assert ('data-code="overdue"' in told[own]) is is_sent
    assert ('data-code="still_to_send"' in told[own]) is not is_sent
    assert ("· due back" in told[own]) is is_sent
    api = api_as(viewer)
    for row in (api.get(f"/api/v1{ORDER_API}").json()[0],
                api.get(f"/api/v1{ORDER_API}{order.number}/").json()):  # fmt: skip
        assert (row["days_late"], row["days_unsent"]) == ((7, 0) if is_sent else (0, 7))


def test_work_in_the_shop_that_should_have_begun_is_not_called_unsent(shop, desk, engineer):
    order = shop.request(engineer, THIRD, vendor=None)
    RegrindOrder.objects.update(due_on=timezone.localdate() - timedelta(days=1))
    assert "not begun, was wanted by" in text(desk.get(ORDERS))
    page = text(desk.get(f"{ORDERS}{order.number}/"))
    assert "1 day ago, and is still to begin" in page
    assert "still to be sent" not in page


@pytest.mark.parametrize("is_sent", [False, True])
def test_on_its_day_an_order_is_neither_late_nor_forgotten(shop, engineer, is_sent):
    order, today = shop.request(engineer, THIRD), timezone.localdate()
    if is_sent:
        shop.send(engineer, order)
    RegrindOrder.objects.update(due_on=today)
    lists = order_lists(today=today)
    (row,) = lists.out if is_sent else lists.to_send
    assert (row.days_late, row.days_unsent) == (0, 0)


def test_what_cannot_be_ordered_keeps_what_was_typed(shop, desk):
    form = {"codes": "3B, nothing such", "kinds": "regrind", "take_off": "0.03 in"}
    answer = desk.post(f"{ORDERS}new/", form)
    assert answer.status_code == 400
    assert 'data-code="unknown_code"' in text(answer)
    assert "nothing such" in text(answer)
    answer = desk.post(f"{ORDERS}new/", {"codes": "3B", "kinds": "regrind"})
    assert 'data-code="no_target"' in text(answer)


def test_every_roll_of_a_set_goes_on_one_order(shop, desk):
    desk.post(f"{ORDERS}new/", {"copy": "S-A", "kinds": "regrind", "take_off": "0.03 in"})
    assert RegrindOrder.objects.get().lines.count() == 8


def test_of_a_set_what_is_lost_or_on_order_is_left_out_when_somebody_says_so(
    shop, desk, engineer, world
):
    shop.request(engineer, THIRD)
    lost = world.place("Lost", kind="lost")
    Piece.objects.filter(pk=shop.pieces[1, "top", 1].pk).update(place=lost)
    form = {"copy": "S-A", "kinds": "regrind", "take_off": "0.03 in"}
    answer = desk.post(f"{ORDERS}new/", form)
    assert 'data-code="on_open_order"' in text(answer)
    assert 'type="checkbox" name="leave_out"' in text(answer)
    answer = desk.post(f"{ORDERS}new/", {**form, "leave_out": "on"}, follow=True)
    assert "2 pieces were left out" in text(answer)
    assert RegrindOrder.objects.get(number="G-0002").lines.count() == 6
    again = desk.post(f"{ORDERS}new/", {**form, "leave_out": "on"})
    assert 'data-code="on_open_order"' in text(again)
    assert RegrindOrder.objects.count() == 2


def test_the_way_of_an_order_on_its_pages(shop, desk, engineer):
    order = shop.request(engineer)
    own = f"{ORDERS}{order.number}/"
    desk.post(f"{own}send/", {"due_on": (timezone.localdate() + timedelta(days=9)).isoformat()})
    order.refresh_from_db()
    assert order.state == "out"
    for line in order.lines.select_related("piece"):
        form = {"code": line.piece.code, "to": shop.rack.path_name, "cost_cents": "45.00"}
        answer = desk.post(f"{own}back/", form)
        assert answer.status_code == 302, text(answer)
    assert answer.headers["Location"] == own
    stranger = desk.post(f"{own}back/", {"code": "1T", "to": shop.rack.path_name})
    assert 'data-code="back_already"' in text(stranger)
    for line in order.lines.select_related("piece"):
        sizes = {t.dimension: f"{t.target_nm / 25_400_000:.4f}" for t in line.targets.all()}
        answer = desk.post(f"{own}pieces/{line.piece.code}/measure/", sizes)
        assert answer.status_code == 302, text(answer)
    assert Reading.objects.count() == 16
    refused = desk.post(f"{own}release/", {})
    assert 'data-code="mark_missing"' in text(refused)
    codes = list(order.lines.values_list("piece__code", flat=True))
    desk.post(f"{own}marks/", {"code": codes})
    assert "Everything holds" in text(desk.get(f"{own}judged/"))
    assert desk.post(f"{own}release/", {}).headers["Location"] == own
    assert "released" in text(desk.get(own))
    listed = text(desk.get(ORDERS))
    assert "1 order, 8 pieces" in listed
    assert "From sent to all back" in listed


def test_the_release_names_pieces_by_their_marks(shop, desk, engineer):
    order = shop.request(engineer, THIRD, (3, "top", 1))
    shop.send(engineer, order)
    shop.back(engineer, order)
    own = f"{ORDERS}{order.number}/judged/"
    assert "the mark is back: 3B, 3T." in text(desk.get(own)).replace("3T, 3B", "3B, 3T")
    bottom, top = shop.piece(THIRD), shop.piece((3, "top", 1))
    Piece.objects.filter(pk=top.pk).update(mark="3B")
    page = text(desk.get(own))
    assert f"3B ({bottom.code})" in page
    assert f"3B ({top.code})" in page
    Piece.objects.filter(pk=top.pk).update(mark="")
    assert re.search(rf"the mark is back: (3B, {top.code}|{top.code}, 3B)\.", text(desk.get(own)))


def test_a_faced_roll_is_named_by_its_mark_among_the_fills(shop, desk, engineer):
    sizes = {"face_width": inches("1.99"), "guide_offset": inches("0.996")}
    line = OrderLineIn(shop.piece(THIRD), kinds=("face",), targets=sizes)
    order = regrind_orders.request_order(by=engineer, at=shop.world.at, lines=[line])
    page = text(desk.get(f"{ORDERS}{order.number}/judged/"))
    told = page.split("what the spacers are to gain")[1].split("</li>")[0]
    assert "<strong>3B</strong>" in told
    assert shop.piece(THIRD).code in told


def test_slack_is_signed_for_on_the_same_screen(shop, desk, engineer):
    order = shop.ready(engineer, shop.request(engineer, THIRD, (3, "top", 1)))
    own = f"{ORDERS}{order.number}/"
    page = text(desk.get(f"{own}judged/"))
    assert 'data-code="speed_slack"' in page
    refused = desk.post(f"{own}release/", {"version": order.version})
    assert (refused.status_code, 'data-code="speed_slack"' in text(refused)) == (409, True)
    answer = desk.post(f"{own}release/", {"version": order.version, "reason": "last coil"})
    assert answer.status_code == 302


def test_targets_of_one_piece_are_changed(shop, desk, engineer):
    order = shop.request(engineer, THIRD)
    own = f"{ORDERS}{order.number}/pieces/{shop.pieces[THIRD].code}/"
    assert "6.01" in text(desk.get(own))
    form = {"kinds": "regrind", "target_drive_diameter": "6.005", "plus_drive_diameter": "0.0005",
            "minus_drive_diameter": "0", "target_outside_diameter": "6.5"}  # fmt: skip
    answer = desk.post(own, form)
    assert answer.status_code == 302, text(answer)
    target = order.lines.get().targets.get(dimension="drive_diameter")
    assert (target.target_nm, target.plus_nm, target.minus_nm) == (inches("6.005"), 12_700, 0)
    assert 'data-code="below_least_diameter"' in text(
        desk.post(own, {**form, "target_drive_diameter": "5.5"})
    )


def test_a_supervisor_releases_for_one_job(shop, log_in, supervisor, crew, engineer):
    job = shop.world.job(shop.set, shop.mill)
    order = shop.request(engineer, THIRD)
    shop.send(engineer, order)
    shop.back(engineer, order)
    desk = log_in(supervisor)
    own = f"{ORDERS}{order.number}/"
    assert "For one job alone" in text(desk.get(f"{own}judged/"))
    refused = desk.post(f"{own}for-job/", {"job": job.number})
    assert 'data-code="empty_text"' in text(refused)
    assert desk.post(f"{own}for-job/", {"job": job.number, "reason": "go"}).status_code == 302
    kit = kits.assemble(
        by=crew, at=shop.world.at, kit=kits.open_kit(by=crew, at=shop.world.at, job=job)
    )
    assert KitPosition.objects.filter(kit=kit, piece=shop.pieces[THIRD]).exists()


def test_an_order_is_dropped_with_a_reason(shop, desk, engineer):
    order = shop.request(engineer, THIRD)
    own = f"{ORDERS}{order.number}/"
    assert 'data-code="empty_text"' in text(desk.post(f"{own}drop/", {}))
    desk.post(f"{own}drop/", {"reason": "the profile is dead"})
    assert "the profile is dead" in text(desk.get(own))
    assert 'data-code="order_ended"' in text(desk.post(f"{own}send/", {}))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_packing_list_says_what_is_to_be_done(shop, desk, engineer, paper):
    order = shop.request(engineer)
    answer = desk.get(f"{ORDERS}{order.number}/packing-list.pdf?paper={paper}")
    pages = PdfReader(io.BytesIO(answer.content)).pages
    said = "\n".join(page.extract_text() for page in pages)
    assert shop.pieces[THIRD].code in said
    assert "6.010" in said.replace("6.0100", "6.010")
    assert f"page 1 of {len(pages)}" in said
    assert "Mind sharp edges" in said
    width = 595 if paper == "a4" else 612
    assert round(float(pages[0].mediabox.width)) == width


def test_the_code_on_the_packing_list_opens_the_order(shop, desk, engineer, world):
    order = shop.request(engineer)
    own = f"{ORDERS}{order.number}/"
    told = desk.get(f"/scan/read/?code={order.number.lower()}").json()
    assert (told["is_place"], told["go"]) == (True, own)
    typed = desk.post("/scan/enter/", {"code": order.number, "to": shop.rack.code})
    assert typed.headers["Location"] == own
    assert desk.get("/scan/read/?code=G-9999").json()["code"] == "unknown_code"
    marked = world.piece(shop.drawings[THIRD], shop.rack, mark=order.number)
    told = desk.get(f"/scan/read/?code={order.number}").json()
    assert told["code"] == marked.code, "a piece that bears that text is meant"


def test_what_waits_for_no_owner_leaves_without_the_rest(shop, desk, engineer):
    owner = Owner.objects.create(code="ORN", name="Orn & Sons")
    Piece.objects.filter(pk=shop.pieces[THIRD].pk).update(owner=owner)
    order = shop.request(engineer, THIRD, (3, "top", 1))
    own = f"{ORDERS}{order.number}/"
    page = text(desk.get(own))
    free = shop.pieces[3, "top", 1].code
    assert 'data-code="owner_approval_missing"' in page
    assert re.findall(r'name="code" value="(\w+)"', page) == [free]
    refused = desk.post(f"{own}send/", {"ticks": "1"})
    assert (refused.status_code, order.lines.filter(sent_at=None).count()) == (400, 2)
    desk.post(f"{own}send/", {"code": [free]})
    assert [line.piece.code for line in order.lines.exclude(sent_at=None)] == [free]
    assert "leave now" not in text(desk.get(own))


def test_a_pieces_page_names_the_order_that_holds_it(shop, desk, engineer):
    code = shop.pieces[THIRD].code
    assert f"{ORDERS}new/?codes={code}" in text(desk.get(f"/pieces/{code}/"))
    assert code in text(desk.get(f"{ORDERS}new/?codes={code}"))
    order = shop.request(engineer, THIRD)
    page = text(desk.get(f"/pieces/{code}/"))
    assert f"regrind order {order.number}" in page
    assert f"{ORDERS}{order.number}/" in page


def test_what_is_back_and_right_is_released_without_the_rest(shop, desk, engineer):
    """Pass 3 alone would be slack: the screen says so and lets it be signed for."""
    order = shop.request(engineer, THIRD, (3, "top", 1), (4, "top", 1))
    shop.send(engineer, order)
    ready = [shop.pieces[3, shaft, 1].code for shaft in ("top", "bottom")]
    shop.back(engineer, order, codes=ready)
    shop.read(engineer, order, only=ready)
    shop.marks(engineer, order, ready)
    own = f"{ORDERS}{order.number}/"
    page = text(desk.get(f"{own}judged/"))
    assert "2 pieces are back and right" in page
    assert "keep step only if somebody signs" in page
    refused = desk.post(f"{own}release/", {"code": ready})
    assert (refused.status_code, 'data-code="speed_slack"' in text(refused)) == (409, True)
    assert order.lines.filter(is_open=True).count() == 3
    answer = desk.post(f"{own}release/", {"code": ready, "reason": "the last follows"}, follow=True)
    assert "2 pieces are released; the rest stays on the order." in text(answer)
    assert order.lines.filter(is_open=True).count() == 1


def test_what_lies_with_a_kit_stays_while_the_rest_leaves(shop, desk, engineer, crew):
    kit = a_kit(shop, crew)
    staged = shop.piece(THIRD)
    move_pieces(by=crew, at=shop.world.at, pieces=[staged], to=kit.place)
    order = shop.request(engineer, THIRD, (3, "top", 1))
    own = f"{ORDERS}{order.number}/"
    page = text(desk.get(own))
    assert 'data-code="piece_taken"' in page
    assert kit.number in page
    [free] = re.findall(r'name="code" value="(\w+)"', page)
    assert free == shop.pieces[3, "top", 1].code
    desk.post(f"{own}send/", {"ticks": "1", "code": [free]})
    page = text(desk.get(own))
    assert re.findall(r'data-group="(\w+)"', page) == ["out", "to_send"]


def test_a_long_order_is_folded_on_the_screen_and_whole_on_paper(shop, desk, engineer):
    """Of forty-one pieces the first twenty are open; every one is on the page."""
    for n in range(33):
        shop.pieces[n + 9, "top", 1] = shop.world.piece(shop.drawings[4, "top", 1], shop.rack)
    order = shop.request(engineer)
    page = text(desk.get(f"{ORDERS}{order.number}/"))
    assert page.count('class="order-piece"') == 41
    assert re.findall(r"<details class=\"fold\" data-prints( open)?>", page) == [" open", "", ""]
    assert 'href="#to_send"' in page


def test_by_badge_nothing_is_released_without_the_pin(shop, log_in, supervisor, engineer):
    """Who came by badge has not proved yet who they are."""
    order = shop.ready(engineer, shop.request(engineer, THIRD, (3, "top", 1)))
    desk, own = log_in(supervisor), f"{ORDERS}{order.number}/"
    session = desk.session
    session[BY_BADGE] = True
    session.save()
    pins.set_pin(by=supervisor, at=timezone.now(), person=supervisor, pin="4071")
    job = shop.world.job(shop.set, shop.mill)
    sent = {"version": order.version, "reason": "last coil"}
    for door, said in (("release", sent), ("for-job", {"reason": "go", "job": job.number})):
        for pin, code in (("", "pin_needed"), ("9998", "pin_wrong")):
            refused = desk.post(f"{own}{door}/", {**said, "pin": pin})
            assert f'data-code="{code}"' in text(refused)
        url = f"/api/v1/regrind-orders/{order.number}/{door}/"
        refused = desk.post(url, said, content_type="application/json")
        assert (refused.status_code, refused.json()["code"]) == (403, "pin_needed")
    order.refresh_from_db()
    assert order.ended_at is None
    assert desk.post(f"{own}release/", {**sent, "pin": "4071"}).status_code == 302
    order.refresh_from_db()
    assert order.ended_at is not None
