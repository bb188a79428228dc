"""What a kit's page offers where something stands in the way: never a button that is refused,
never nothing to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.web.kit_shop import KitShop, small_shop
from tests.world import World
from tooling.models import Kit, Person, PlaceKind
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
SPOT = (1, "top", 1)


@pytest.fixture
def shop(db: None) -> KitShop:
    return small_shop(World(at=timezone.now()))


@pytest.fixture
def kit(shop: KitShop, crew: Person) -> Kit:
    return shop.open(crew)


def offered(log_in: LogIn, crew: Person, kit: Kit, state: str) -> list[str]:
    """The words on the buttons of the one problem in this state."""
    text = log_in(crew).get(f"/kits/{kit.number}/").content.decode()
    problems = text.partition('id="kit-problems"')[2].partition('id="kit-list"')[0]
    _first, *cards = problems.split('<div class="problem')
    (card,) = [each for each in cards if f'data-code="{state}"' in each.partition(">")[0]]
    return re.findall(r"<(?:button|a class=.button.)[^>]*>([^<]+)<", card)


def test_a_lost_piece_may_be_found_where_the_kit_is(
    shop: KitShop, kit: Kit, crew: Person, log_in: LogIn
) -> None:
    lost = shop.world.place("Lost", kind=PlaceKind.LOST)
    move_pieces(by=crew, at=timezone.now(), pieces=[shop.pieces[SPOT]], to=lost)
    assert {"It is here", "Look for another"} <= set(offered(log_in, crew, kit, "missing"))


@pytest.mark.parametrize(
    ("fields", "state"),
    [
        ({"condition": "hold", "hold_reason": "dropped"}, "held"),
        ({"condition": "cracked"}, "worn"),
    ],
)
def test_what_may_not_be_staged_is_not_offered_as_here(
    shop: KitShop, kit: Kit, crew: Person, log_in: LogIn, fields: dict[str, Any], state: str
) -> None:
    for name, value in fields.items():
        setattr(shop.pieces[SPOT], name, value)
    shop.pieces[SPOT].save()
    words = offered(log_in, crew, kit, state)
    assert "It is here" not in words
    assert "Look for another" in words


def test_where_a_spare_exists_it_is_offered_instead(
    shop: KitShop, kit: Kit, crew: Person, log_in: LogIn
) -> None:
    piece = shop.pieces[SPOT]
    spare = shop.world.piece(piece.drawing, shop.shelf, mark="spare")
    piece.condition = "cracked"
    piece.save()
    words = " ".join(offered(log_in, crew, kit, "worn"))
    assert re.search(rf"Take .*{spare.mark}.* instead|Take .*{spare.code}.* instead", words)
    assert "Look for another" not in words
