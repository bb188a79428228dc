"""A small shop with one job, for the tests of kits: six rolls, a pooled spacer, a cart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tests.world import MM, World
from tooling.models import Job, Kit, KitPosition, Mill, Person, Piece, Place, StockLine, ToolSet
from tooling.services import kits

ROLL: dict[str, Any] = {
    "bore_nm": 60 * MM,
    "face_width_nm": 40 * MM,
    "outside_diameter_nm": 150 * MM,
}
SPACER: dict[str, Any] = {
    "bore_nm": 60 * MM,
    "face_width_nm": 25 * MM,
    "outside_diameter_nm": 90 * MM,
}


@dataclass
class KitShop:
    """What the tests ask for by name."""

    world: World
    shelf: Place
    cart: Place
    mill: Mill
    tool_set: ToolSet
    pieces: dict[tuple[int, str, int], Piece]
    spacers: StockLine
    job: Job

    def open(self, by: Person, *, assembled: bool = True, gathered: bool = True) -> Kit:
        """A kit for the job, through the services."""
        at = self.world.at
        kit = kits.open_kit(by=by, at=at, job=self.job)
        if assembled:
            kits.assemble(by=by, at=at, kit=kit)
        if gathered:
            kits.set_gathering_place(by=by, at=at, kit=kit, place=self.cart)
        kit.refresh_from_db()
        return kit


def position(kit: Kit, station: int, shaft: str, order: int) -> KitPosition:
    return KitPosition.objects.get(kit=kit, station_number=station, shaft=shaft, order=order)


def small_shop(world: World, *, passes: int = 3) -> KitShop:
    """A roll and a spacer on every shaft of each pass; copy A on a shelf, spacers in a bin."""
    room = world.place("Tool room", kind="area")
    shelf = world.place("Shelf B3", kind="shelf", parent=room, walking_order=2)
    spacer = world.drawing("SP 25", kind="spacer", **SPACER)
    drawings = {}
    pieces = {}
    for number in range(1, passes + 1):
        for shaft in ("top", "bottom"):
            key = (number, shaft, 1)
            name = f"1472-{number:02d}-{shaft[0].upper()}1"
            drawings[key] = world.drawing(name, **ROLL)
            drawings[(number, shaft, 2)] = spacer
            pieces[key] = world.piece(drawings[key], shelf, mark=f"{number:02d}-{shaft[0].upper()}")
    tool_set = world.tool_set("1472", drawings)
    world.copy(tool_set, "A", pieces)
    mill = world.mill("M1", stations=passes + 1)
    world.chart(tool_set, mill, first_station=2)
    return KitShop(
        world=world,
        shelf=shelf,
        cart=world.place("Cart 7", kind="cart"),
        mill=mill,
        tool_set=tool_set,
        pieces=pieces,
        spacers=world.stock(spacer, shelf, 2 * passes),
        job=world.job(tool_set, mill, number="24-1187"),
    )
