"""Today: what waits for each of the cast, and the first step in an empty shop."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.services.mounted import mounted
from tests.web.kit_shop import KitShop, small_shop
from tests.world import World
from tooling.models import Import, ImportState, Person, Setting
from tooling.queries.today import today_page
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
ROLES = ("viewer", "attendant", "crew", "engineer", "supervisor")


@pytest.fixture
def shop(db: None) -> KitShop:
    return small_shop(World(at=timezone.now()))


def today(client: Client) -> str:
    answer = client.get("/today/")
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_front_door_leads_to_today(log_in: LogIn, crew: Person) -> None:
    assert log_in(crew).get("/").url == "/today/"


@pytest.mark.parametrize("role", ROLES)
def test_an_empty_shop_teaches_the_first_step(
    log_in: LogIn, cast: dict[str, Person], role: str
) -> None:
    said = today(log_in(cast[role]))
    assert "Bring what you have" in said
    may_import = role in ("engineer", "supervisor")
    assert ('href="/shop/spreadsheets/"' in said) == may_import


def test_a_shop_with_sets_and_no_job_is_told_to_plan_one(
    log_in: LogIn, engineer: Person, shop: KitShop
) -> None:
    shop.job.delete()
    said = today(log_in(engineer))
    assert "Plan the first job" in said
    assert 'href="/kits/plan/"' in said


@pytest.mark.parametrize("role", ROLES)
def test_everybody_is_one_tap_from_the_next_kit(
    log_in: LogIn, cast: dict[str, Person], shop: KitShop, role: str
) -> None:
    kit = shop.open(cast["crew"])
    said = today(log_in(cast[role]))
    assert f'href="/kits/{kit.number}/"' in said
    assert "0 of 12 pieces here" in said
    assert "1 kit still needs hands." in said


def test_a_kit_that_is_whole_needs_no_hands(log_in: LogIn, crew: Person, shop: KitShop) -> None:
    kit = shop.open(crew)
    client = log_in(crew)
    rows = kit.positions.exclude(piece=None).select_related("piece")
    codes = [row.piece.code for row in rows]
    client.post(f"/kits/{kit.number}/fetch/", {"code": [*codes, shop.spacers.code]})
    assert "Every kit that is planned lies ready." in today(client)


@pytest.mark.parametrize("role", ROLES)
def test_what_is_out_too_long_is_shown_to_who_can_act(
    log_in: LogIn, cast: dict[str, Person], shop: KitShop, role: str
) -> None:
    piece = shop.pieces[(1, "top", 1)]
    piece.place = shop.world.place("Grinding shop", kind="grinder")
    piece.placed_effective_at = shop.world.at - timedelta(days=15)
    piece.save()
    said = today(log_in(cast[role]))
    shown = "out too long, no day" in said
    assert shown == (role in ("attendant", "engineer", "supervisor"))
    assert ('href="/pieces/out/"' in said) == shown


def test_how_long_is_too_long_is_the_shops_own(
    log_in: LogIn, attendant: Person, shop: KitShop
) -> None:
    piece = shop.pieces[(1, "top", 1)]
    piece.place = shop.world.place("Grinding shop", kind="grinder")
    piece.placed_effective_at = shop.world.at - timedelta(days=15)
    piece.save()
    Setting.objects.create(name="out_too_long", value=30)
    said = today(log_in(attendant))
    assert "out too long" not in said
    assert "All that is out" in said


def test_a_piece_on_its_shelf_is_never_out(log_in: LogIn, attendant: Person, shop: KitShop) -> None:
    piece = shop.pieces[(1, "top", 1)]
    piece.placed_effective_at = shop.world.at - timedelta(days=400)
    piece.save()
    assert "All that is out" not in today(log_in(attendant))


def test_what_is_overdue_is_told_plainly(log_in: LogIn, attendant: Person, shop: KitShop) -> None:
    piece, pat = shop.pieces[(1, "top", 1)], shop.world.place("Pat", kind="person")
    due = timezone.localdate() - timedelta(days=3)
    move_pieces(by=attendant, at=shop.world.at, pieces=[piece], to=pat, due_on=due)
    assert "3 days overdue" in today(log_in(attendant))


def test_stock_below_its_least_count_is_told(
    log_in: LogIn, attendant: Person, shop: KitShop
) -> None:
    assert "running short" not in today(log_in(attendant))
    shop.spacers.least_count = 7
    shop.spacers.save()
    said = today(log_in(attendant))
    assert "have 6, keep 7" in said
    assert "make or buy 1" in said


def test_spreadsheets_that_wait_are_told_to_who_may_apply_them(
    log_in: LogIn, engineer: Person, attendant: Person, shop: KitShop
) -> None:
    waiting = Import.objects.create(state=ImportState.READY, created_at=shop.world.at)
    Import.objects.create(state=ImportState.APPLIED, created_at=shop.world.at)
    assert today(log_in(engineer)).count('href="/shop/spreadsheets/') == 1
    assert f'href="/shop/spreadsheets/{waiting.pk}/"' in today(log_in(engineer))
    assert 'href="/shop/spreadsheets/' not in today(log_in(attendant))


def test_pieces_from_paper_are_told(log_in: LogIn, attendant: Person, shop: KitShop) -> None:
    assert "not yet seen" not in today(log_in(attendant))
    shop.world.piece(shop.world.drawing("P1"), shop.shelf, seen=False)
    said = today(log_in(attendant))
    assert 'href="/pieces/?unseen=1"' in said
    assert "1 piece</strong>" in said


def test_two_jobs_with_the_same_pieces_this_week(
    log_in: LogIn, engineer: Person, crew: Person, shop: KitShop
) -> None:
    first = shop.open(crew)
    shop.job = shop.world.job(shop.tool_set, shop.mill, number="24-1190", in_hours=26)
    shop.cart = shop.world.place("Cart 2", kind="cart")
    second = shop.open(crew, assembled=False)
    for mine in first.positions.exclude(piece=None):
        second.positions.filter(set_position=mine.set_position).update(piece=mine.piece)
    assert "Two jobs want the same piece this week" in today(log_in(engineer))


def test_the_search_asks_where_it_is(log_in: LogIn, crew: Person, shop: KitShop) -> None:
    said = today(log_in(crew))
    assert '<form class="filters" method="get" action="/pieces/" role="search">' in said


def test_what_is_on_its_mill_already_is_not_to_be_gathered(world: World, crew: Person) -> None:
    stood = mounted(world, crew)
    assert stood.kit.number not in [row.number for row in today_page(crew, at=stood.at).kits]
