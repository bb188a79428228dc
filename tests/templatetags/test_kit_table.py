"""A kit's list as its rows are written: whatever people typed stays text."""

from __future__ import annotations

import pytest
from django.template import Context
from django.utils import timezone

from tests.web.kit_shop import KitShop, small_shop
from tests.world import World
from tooling.models import Kit, Person
from tooling.queries.kits import kit_page
from tooling.services.kits import close
from tooling.templatetags.kit_table import kit_rows

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db: None) -> KitShop:
    return small_shop(World(at=timezone.now()))


@pytest.fixture
def kit(shop: KitShop, crew: Person) -> Kit:
    return shop.open(crew)


def rows(kit: Kit, *, may_gather: bool = True) -> str:
    return kit_rows(Context(), kit_page(kit.number, at=timezone.now()), may_gather)


def test_a_mark_and_a_place_are_text_and_never_markup(kit: Kit, shop: KitShop) -> None:
    piece = shop.pieces[(1, "top", 1)]
    piece.mark = '"><script>x'
    piece.save()
    shop.shelf.path_name = "<b>Shelf"
    shop.shelf.save()
    said = rows(kit)
    assert "<strong>&quot;&gt;&lt;script&gt;x</strong>" in said
    assert "<script" not in said
    assert "<b>" not in said


def test_stations_stand_in_the_order_of_the_ribbon(kit: Kit) -> None:
    said = rows(kit)
    assert said.index('id="list-2"') < said.index('id="list-3"') < said.index('id="list-4"')
    assert 'id="list-1"' not in said  # idle


def test_only_who_may_gather_is_offered_to_tick(kit: Kit) -> None:
    assert rows(kit).count('name="position"') == 12
    assert 'name="position"' not in rows(kit, may_gather=False)


def test_nothing_is_ticked_into_a_kit_without_a_place(shop: KitShop, crew: Person) -> None:
    kit = shop.open(crew, gathered=False)
    assert 'name="position"' not in rows(kit)


def test_nothing_is_ticked_into_a_closed_kit(kit: Kit, shop: KitShop, crew: Person) -> None:
    close(by=crew, at=shop.world.at, kit=kit, reason="job is off")
    assert 'name="position"' not in rows(kit)


def test_sizes_are_in_the_drawings_unit(kit: Kit) -> None:
    assert '<td role="cell" class="number">150 mm</td>' in rows(kit)


def test_a_substitute_and_an_unseen_piece_say_so(kit: Kit, shop: KitShop) -> None:
    assert "substitute" not in rows(kit)
    assert "not yet seen" not in rows(kit)
    first = kit.positions.exclude(piece=None).select_related("piece")[0]
    kit.positions.filter(pk=first.pk).update(is_substitute=True)
    first.piece.seen_at = None
    first.piece.save()
    assert rows(kit).count("substitute") == 1
    assert rows(kit).count("not yet seen") == 1
