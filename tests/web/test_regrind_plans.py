"""The pages of regrind plans and of when to send what."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.polled import assert_whole
from tests.regrind_shop import CUT, RegrindShop, regrind_shop, wear
from tests.world import World
from tooling.models import Person, RegrindOrder, RegrindPlan
from tooling.services import regrind_orders
from tooling.services.regrind_targets import OrderLineIn
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

LogIn = Callable[[Person], Client]


@pytest.fixture
def at() -> datetime:
    """The pages' own clock: what they show is of now."""
    return timezone.now()


@pytest.fixture
def shop(world: World) -> RegrindShop:
    return regrind_shop(world)


@pytest.fixture
def desk(shop: RegrindShop, log_in: LogIn, engineer: Person) -> Client:
    return log_in(engineer)


def text(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined, no-any-return]


def problems(body: str) -> set[str]:
    return set(re.findall(r'class="problem[^"]*" data-code="([a-z_]+)"', body))


def begun(desk: Client, shop: RegrindShop) -> str:
    got = desk.post("/regrinds/plans/new/", {"copies": [shop.copy.pk], "name": "winter"})
    assert got.status_code == 302, text(got)
    return str(got.headers["Location"])


def worked(desk: Client, shop: RegrindShop) -> str:
    address = begun(desk, shop)
    assert work_once(HANDLERS)
    return address


def test_empty_places_teach_the_first_step(world: World, log_in: LogIn, engineer: Person) -> None:
    desk = log_in(engineer)
    for address in ("/regrinds/", "/regrinds/when/", "/regrinds/plans/new/"):
        assert 'class="teach"' in text(desk.get(address)), address


def test_a_plan_is_begun_polled_and_shown(desk: Client, shop: RegrindShop) -> None:
    address = begun(desk, shop)
    body = text(desk.get(address))
    assert 'id="plan-running"' in body
    assert 'id="plan-running"' in text(desk.get(f"{address}part/"))
    assert work_once(HANDLERS)
    assert_whole(desk.get(f"{address}part/"), address)
    body = text(desk.get(address))
    shown = re.findall(r'data-piece="(\w+)" data-kind="(\w+)" data-amount-nm="(\d+)"', body)
    wanted = {shop.rolls[spot].code: nm for spot, nm in CUT.items()}
    assert {piece: int(nm) for piece, _kind, nm in shown} == wanted
    assert "Proven: no plan does with less." in body
    assert 'data-series="after bottom" data-nm="149300000"' in body
    assert problems(body) == set()
    assert "RP-0001" in text(desk.get("/regrinds/"))


def test_nothing_chosen_is_said_in_place(desk: Client) -> None:
    got = desk.post("/regrinds/plans/new/", {"name": "winter"})
    assert got.status_code == 400
    assert "Choose at least one." in text(got)
    assert 'value="winter"' in text(got)


def test_what_if_by_settling_a_piece(desk: Client, shop: RegrindShop) -> None:
    address, code = worked(desk, shop), shop.rolls[4, "top"].code
    got = desk.post(f"{address}pin/", {"piece": code, "kind": "cut_to", "nm": "150.2"})
    assert got.status_code == 302
    assert work_once(HANDLERS)
    assert f'data-piece="{code}" data-kind="cut" data-amount-nm="400000"' in text(desk.get(address))


@pytest.mark.parametrize(
    ("nm", "code"), [("150.215", "off_grinder_step"), ("151", "cut_adds"), ("", "pin_unclear")]
)
def test_what_no_grinder_does_is_refused_in_place(
    nm: str, code: str, desk: Client, shop: RegrindShop
) -> None:
    address = worked(desk, shop)
    piece = shop.rolls[4, "top"].code
    got = desk.post(f"{address}pin/", {"piece": piece, "kind": "cut_to", "nm": nm})
    assert got.status_code == 400
    body = text(got)
    assert problems(body) == {code}
    assert shop.rolls[4, "top"].mark in body.split('data-code="')[1]
    assert '<details class="pin" open>' in body
    assert f'value="{nm}" aria-invalid="true"' in body


def test_a_diameter_that_a_message_names_can_be_typed_as_it_stands(
    desk: Client, shop: RegrindShop, engineer: Person
) -> None:
    """A reader in inches of rolls in mm: steps of 0.02 mm are no whole ten-thousandths."""
    engineer.length_unit = "in"
    engineer.save()
    address, piece = worked(desk, shop), shop.rolls[4, "top"].code
    got = desk.post(f"{address}pin/", {"piece": piece, "kind": "cut_to", "nm": "5.901"})
    nearest = re.search(r"nearest are ([0-9.]+ \w+) and", text(got))
    assert nearest
    got = desk.post(f"{address}pin/", {"piece": piece, "kind": "cut_to", "nm": nearest[1]})
    assert got.status_code == 302
    assert f'data-settled="{piece}"' in text(desk.get(address))


def test_what_if_by_settling_a_face(desk: Client, shop: RegrindShop) -> None:
    piece = shop.rolls[4, "top"]
    wear(shop, piece, depth_nm=100_000, angle=80.0)
    address = worked(desk, shop)
    assert desk.post(f"{address}pin/", {"piece": piece.code, "kind": "face"}).status_code == 302
    assert work_once(HANDLERS)
    body = text(desk.get(address))
    assert f'data-piece="{piece.code}" data-kind="face"' in body
    settled = body.split(f'data-settled="{piece.code}"')[1].split("</li>")[0]
    assert "face it and leave its diameters" in settled
    chosen = body.split(f'id="kind-{piece.code}"')[1].split("</select>")[0]
    assert re.findall(r'value="(\w+)" selected', chosen) == ["face"]


def settings(body: str) -> dict[str, str]:
    """The form as it stands."""
    fields = dict(re.findall(r'<input type="text" name="(\w+)"[^>]*value="([^"]*)"', body))
    return {**fields, "hold_others": "on", "counts_life": "on"}


def test_what_if_by_another_setting_keeps_the_rest_as_the_shop_has_it(
    desk: Client, shop: RegrindShop
) -> None:
    address = worked(desk, shop)
    form = {**settings(text(desk.get(address))), "allowance_nm": "0.10"}
    assert desk.post(f"{address}change/", form).status_code == 302
    assert RegrindPlan.objects.get().asks["own"] == {"allowance_nm": 100_000}
    assert work_once(HANDLERS)
    worn = shop.rolls[3, "bottom"].code
    assert f'data-piece="{worn}" data-kind="cut" data-amount-nm="1200000"' in text(
        desk.get(address)
    )


def test_prices_may_make_a_new_roll_the_cheaper_way(desk: Client, shop: RegrindShop) -> None:
    address = worked(desk, shop)
    prices = {"setup_cents": "600", "cents_per_mm": "10", "new_cents": "950.50"}
    form = {**settings(text(desk.get(address))), **prices, "counts_life": ""}
    assert desk.post(f"{address}change/", form).status_code == 302
    assert work_once(HANDLERS)
    body = text(desk.get(address))
    worn = shop.rolls[3, "bottom"].code
    assert f'data-piece="{worn}" data-kind="replace"' in body
    assert "900.00" in body, "the drawing's own price goes before"


def test_a_setting_that_cannot_be_keeps_what_was_typed(desk: Client, shop: RegrindShop) -> None:
    address = worked(desk, shop)
    form = {**settings(text(desk.get(address))), "step_nm": "400"}
    got = desk.post(f"{address}change/", form)
    assert got.status_code == 400
    assert "setting_out_of_range" in problems(text(got))
    assert 'value="400"' in text(got)


def test_conflicts_are_explained_with_what_frees_them(desk: Client, shop: RegrindShop) -> None:
    address = worked(desk, shop)
    desk.post(f"{address}pin/", {"piece": shop.rolls[3, "bottom"].code, "kind": "leave"})
    assert work_once(HANDLERS)
    body = text(desk.get(address))
    assert problems(body) == {"requirements_conflict"}
    assert re.findall(r'data-requirement="(\w+)"', body) == ["must_worn", "pinned_leave"]
    assert "Leave it open again" in body
    settled = body.split("data-settled=")[1]
    assert shop.rolls[3, "bottom"].mark in settled.split("</li>")[0]
    assert "Raise the wear limit of" in body


def test_a_plan_whose_inputs_moved_says_so(desk: Client, shop: RegrindShop) -> None:
    address = worked(desk, shop)
    wear(shop, shop.rolls[1, "top"], depth_nm=400_000)
    body = text(desk.get(address))
    assert problems(body) == {"stale_plan"}
    assert f'action="{address}solve/"' in body.split('data-code="stale_plan"')[1][:1200]
    assert "Proven" not in body
    assert "Order this work" not in body
    assert "inputs moved since" in text(desk.get("/regrinds/"))
    assert desk.post(f"{address}solve/").status_code == 302
    assert work_once(HANDLERS)
    assert problems(text(desk.get(address))) == set()


def test_what_is_settled_for_a_piece_on_an_open_order_waits(
    desk: Client, shop: RegrindShop, engineer: Person
) -> None:
    """It is named by its mark, is not offered to be settled, and what was settled says why not."""
    piece = shop.rolls[4, "top"]
    address = worked(desk, shop)
    desk.post(f"{address}pin/", {"piece": piece.code, "kind": "cut_to", "nm": "150.2"})
    line = OrderLineIn(piece, take_off_nm=200_000)
    regrind_orders.request_order(by=engineer, at=timezone.now(), lines=[line])
    assert work_once(HANDLERS)
    body = text(desk.get(address))
    assert f"so taken as they are: {piece.mark}." in body
    row = body.split(f'<tr role="row" data-piece="{piece.code}"')[1].split("</tr>")[0]
    assert 'data-kind="leave"' in row
    assert "Settle it" not in row
    assert "what is settled waits" in row
    settled = body.split(f'data-settled="{piece.code}"')[1].split("</li>")[0]
    assert "not while it is on an open order" in settled


def test_work_can_be_stopped_and_a_plan_put_aside(desk: Client, shop: RegrindShop) -> None:
    address = begun(desk, shop)
    assert desk.post(f"{address}stop/").status_code == 302
    assert "The work was stopped." in text(desk.get(address))
    assert problems(text(desk.post(f"{address}stop/"))) == {"task_over"}
    assert desk.post(f"{address}drop/").status_code == 302
    assert problems(text(desk.post(f"{address}drop/"))) == {"plan_settled"}
    assert "RP-0001" not in text(desk.get("/regrinds/"))


def test_a_viewer_sees_a_plan_and_changes_nothing(
    desk: Client, shop: RegrindShop, log_in: LogIn, viewer: Person
) -> None:
    address = worked(desk, shop)
    body = text(log_in(viewer).get(address))
    assert "<form method" not in body.split('class="sheet-body"')[1].split("title-block")[0]
    assert log_in(viewer).post(f"{address}solve/").status_code == 403


def test_an_inch_reader_reads_inches(desk: Client, shop: RegrindShop, engineer: Person) -> None:
    address = worked(desk, shop)
    engineer.length_unit = "in"
    engineer.save()
    body = text(desk.get(address))
    assert "5.878 in" in body, "149.3 mm"


def test_of_a_plan_of_mm_and_inches_each_piece_is_read_and_settled_in_its_own(
    desk: Client, shop: RegrindShop
) -> None:
    second = regrind_shop(shop.world, "1490", mill=shop.mill, unit="in")
    got = desk.post("/regrinds/plans/new/", {"copies": [shop.copy.pk, second.copy.pk]})
    assert work_once(HANDLERS)
    address = str(got.headers["Location"])
    metric, inch = (one.rolls[3, "bottom"].code for one in (shop, second))
    rows = dict(re.findall(r'<tr role="row" data-piece="(\w+)"(.*?)</tr>', text(desk.get(address)),
                           re.DOTALL))  # fmt: skip
    assert "149.3 mm" in rows[metric]
    assert "5.878 in" not in rows[metric]
    assert "5.878 in" in rows[inch]
    assert "mm" not in re.sub(r"<[^>]*>", "", rows[inch])
    for piece, typed in ((inch, "5.9"), (metric, "149.1")):
        form = {"piece": piece, "kind": "cut_to", "nm": typed}
        assert desk.post(f"{address}pin/", form).status_code == 302
    pins = RegrindPlan.objects.get().asks["pins"]
    assert {code: pin["nm"] for code, pin in pins.items()} == {
        inch: 149_860_000, metric: 149_100_000
    }  # fmt: skip


def test_when_to_send_what_shows_windows_and_what_slips(desk: Client, shop: RegrindShop) -> None:
    wear(shop, shop.rolls[2, "top"], depth_nm=100_000, left_m=50_000.0)
    for n, day in enumerate((10, 40)):
        shop.world.job(shop.tool_set, shop.mill, number=f"D{n}", in_hours=24 * day,
                       length_nm=40 * 10**12)  # fmt: skip
    body = text(desk.get("/regrinds/when/"))
    assert 'data-copy="1472-A" data-state="window"' in body
    assert 'data-bar="window"' in body
    assert "D0 slips by" in body
    assert "D1 runs worn" in body


def test_the_lead_time_says_from_when_to_when_it_runs(desk: Client, shop: RegrindShop) -> None:
    then = timezone.now()
    for n in range(5):
        RegrindOrder.objects.create(
            number=f"G-9{n}", state="released", requested_at=then, ended_at=then,
            sent_at=then - timedelta(days=8),
        )  # fmt: skip
    body = text(desk.get("/regrinds/when/"))
    assert "from sent to released, of 5 orders of your own: usually 8 days" in body
