"""A small shop with a setup that stands on its mill, for the tests of what comes after."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tests.web.kit_shop import KitShop, small_shop
from tests.world import World
from tooling.models import Kit, Person, Setup, StockLine
from tooling.services import mounting, setups, stock
from tooling.services.movements import move_pieces


@dataclass
class Mounted:
    """The shop, its kit on the mill, and the clock after the last shaft was mounted."""

    shop: KitShop
    kit: Kit
    setup: Setup
    at: datetime

    @property
    def stations(self) -> list[int]:
        rows = self.kit.positions.order_by("station_number")
        return sorted(set(rows.values_list("station_number", flat=True)))


def stage(shop: KitShop, kit: Kit, by: Person, at: datetime) -> None:
    """All of the kit is on its cart."""
    move_pieces(by=by, at=at, pieces=list(shop.pieces.values()), to=shop.cart, kit_id=kit.pk)
    count = kit.positions.filter(piece=None).count()
    stock.move(by=by, at=at, line=shop.spacers, quantity=count, to=shop.cart, kit=kit)


def mounted(world: World, by: Person, *, passes: int = 3, shop: KitShop | None = None) -> Mounted:
    """Everything is staged and on its shafts."""
    shop = shop or small_shop(world, passes=passes)
    at = world.at
    kit = shop.open(by)
    stage(shop, kit, by, at)
    setup = setups.start_setup(by=by, at=at + timedelta(minutes=1), kit=kit)
    at += timedelta(minutes=2)
    shafts = kit.positions.order_by("station_number", "shaft")
    for station, shaft in shafts.values_list("station_number", "shaft").distinct():
        mounting.mount(by=by, at=at, setup=setup, station=station, shaft=shaft)
    kit.refresh_from_db()
    setup.refresh_from_db()
    return Mounted(shop, kit, setup, at)


def line_at(shop: KitShop, place_id: int) -> int:
    """How many spacers lie in a place."""
    rows = StockLine.objects.filter(drawing=shop.spacers.drawing, place=place_id)
    return sum(rows.values_list("count", flat=True))
