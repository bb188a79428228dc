"""The walk with a cart, and saying where things belong, as pages."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone

from tests.services.scanning import put
from tooling.models import Piece

pytestmark = pytest.mark.django_db


@pytest.fixture
def at():
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def shop(world, attendant, at):
    """A cart with two rolls, one for each rack, and a stray that nobody knows."""
    world.far = world.place("Rack Far", walking_order=9)
    world.near = world.place("Rack Near", walking_order=1)
    world.cart = world.place("Cart 1", kind="cart")
    drawing = world.drawing("D1")
    world.rolls = [
        world.piece(drawing, place, mark=place.name) for place in (world.far, world.near)
    ]
    world.stray = world.piece(world.drawing("D2"), world.cart, mark="stray")
    for roll in world.rolls:
        put(attendant, at, roll.code, world.cart.code)
    return world


@pytest.fixture
def page(log_in, attendant):
    return log_in(attendant)


def words(answer) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def test_the_cart_is_scanned_or_chosen(page, shop) -> None:
    said = words(page.get("/scan/put-away/"))
    assert f'href="/scan/put-away/{shop.cart.code}/"' in said
    assert "3 pieces" in said
    answer = page.get("/scan/put-away/", {"from": "cart 1"})
    assert answer.url == f"/scan/put-away/{shop.cart.code}/"
    wrong = page.get("/scan/put-away/", {"from": shop.stray.code})
    assert 'data-code="not_a_place"' in words(wrong)


def test_the_next_place_is_on_top_and_the_homeless_at_the_end(page, shop) -> None:
    said = words(page.get(f"/scan/put-away/{shop.cart.code}/"))
    near, far = said.index('walk-name">Rack Near'), said.index("<strong>Rack Far</strong>")
    assert near < far < said.index("Nobody said where these belong")


def test_all_of_a_place_is_one_tap_and_one_undo(page, shop) -> None:
    base = f"/scan/put-away/{shop.cart.code}/"
    said = words(page.post(f"{base}stop/", {"stop": shop.near.code}, follow=True))
    assert 'walk-name">Rack Far' in said
    act = re.search(r'action="[^"]*undo/">.*?name="act" value="([^"]+)"', said)
    assert act is not None
    assert Piece.objects.filter(place=shop.near).count() == 1
    back = words(page.post(f"{base}undo/", {"act": act.group(1)}, follow=True))
    assert 'walk-name">Rack Near' in back


def test_a_stop_that_is_done_is_refused_in_place(page, shop) -> None:
    base = f"/scan/put-away/{shop.cart.code}/"
    assert 'data-code="nothing_for_that_place"' in words(page.post(f"{base}stop/", {"stop": "X"}))
    assert 'data-code="unknown_scan"' in words(page.post(f"{base}undo/", {"act": "x"}))


def test_the_walk_alone_is_answered_after_a_scan(page, shop) -> None:
    said = words(page.get(f"/scan/put-away/{shop.cart.code}/walk/"))
    assert 'id="walk-next"' in said
    assert 'id="walk-rest" hx-swap-oob="true"' in said


def test_the_walk_is_not_sent_again_while_the_screen_has_it(page, shop, attendant, at) -> None:
    url = f"/scan/put-away/{shop.cart.code}/walk/"
    has = re.search(r'walk/\?v=(\w+)"', words(page.get(url))).group(1)
    assert page.get(url, {"v": has}).status_code == 204
    put(attendant, timezone.now(), shop.rolls[1].code, shop.near.code)
    assert 'walk-name">Rack Far' in words(page.get(url, {"v": has}))


def test_an_empty_cart_is_done(page, world) -> None:
    cart = world.place("Cart 9", kind="cart")
    assert "Nothing is left on Cart 9." in words(page.get(f"/scan/put-away/{cart.code}/"))


# ---- homes


def test_what_is_here_belongs_here_with_one_tap_and_one_undo(page, shop, attendant, at) -> None:
    put(attendant, at, shop.stray.code, shop.far.code)
    url = f"/shop/places/{shop.far.code}/"
    said = words(page.post(f"{url}belongs-here/", follow=True))
    assert "Said where 1 of 1 belong." in said
    shop.stray.refresh_from_db()
    assert shop.stray.home == shop.far
    act = re.search(r'name="act" value="(\d+)"', said)
    assert act is not None
    page.post("/pieces/homes/undo/", {"act": act.group(1), "back": url})
    shop.stray.refresh_from_db()
    assert shop.stray.home is None


def test_a_piece_and_a_cart_are_given_a_home_by_name(page, shop) -> None:
    page.post(f"/pieces/{shop.stray.code}/home/", {"home": "Rack Near"})
    page.post(f"/shop/places/{shop.cart.code}/home/", {"home": shop.far.code})
    shop.stray.refresh_from_db()
    shop.cart.refresh_from_db()
    assert (shop.stray.home, shop.cart.home) == (shop.near, shop.far)
    assert "Rack Far" in words(page.get(f"/shop/places/{shop.cart.code}/"))


@pytest.mark.parametrize("home", ["Lost", "nowhere at all"])
def test_where_nothing_belongs_is_said_and_kept(page, shop, home) -> None:
    shop.place("Lost", kind="lost")
    answer = page.post(f"/pieces/{shop.stray.code}/home/", {"home": home})
    assert answer.status_code == 400
    assert f'value="{home}"' in words(answer)
    assert not Piece.objects.filter(home__isnull=False).exists()


def test_each_piece_of_a_copy_belongs_where_it_lies(page, shop) -> None:
    spots = {(1, "top", 1): shop.rolls[0].drawing}
    tool_set = shop.tool_set("S1", spots)
    copy = shop.copy(tool_set, "A", dict(zip(spots, shop.rolls, strict=False)))
    said = words(page.post(f"/sets/S1/copies/{copy.pk}/belongs-here/", follow=True))
    assert "Said where 1 of 1 belong." in said


def test_taking_back_leads_to_no_other_site(page, shop) -> None:
    answer = page.post("/pieces/homes/undo/", {"act": "1", "back": "https://elsewhere.example/"})
    assert answer.url == "/shop/places/"
