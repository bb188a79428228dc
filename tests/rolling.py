"""A small rolling shop: a set of two passes with a pair of rolls each, ready for its kits."""

from __future__ import annotations

from typing import Any

from tests.world import MM, World
from tooling.models import Kit, Person
from tooling.services import kits
from tooling.services.movements import move_pieces


class Rolling:
    """A set of two passes on a mill of four stations."""

    def __init__(self, world: World, *, prefix: str = "") -> None:
        self.world = world
        self.rack = world.place(f"{prefix}Rack", walking_order=1)
        self.cart = world.place(f"{prefix}Cart", kind="cart", max_load_kg=500.0)
        self.mill = world.mill(f"{prefix}M")
        self.drawings = {
            (n, shaft, 1): world.drawing(
                f"{prefix}D{n}{shaft[0]}",
                bore_nm=60 * MM,
                keyway_width_nm=18 * MM,
                keyway_depth_nm=4_400_000,
                face_width_nm=50 * MM,
                drive_diameter_nm=(150 + n) * MM,
                outside_diameter_nm=180 * MM,
                least_drive_diameter_nm=140 * MM,
            )
            for n in (1, 2)
            for shaft in ("top", "bottom")
        }
        self.set = world.tool_set(f"{prefix}S", self.drawings)
        self.pieces = {
            spot: world.piece(drawing, self.rack, mark=f"{prefix}{spot[0]}{spot[1][0]}")
            for spot, drawing in self.drawings.items()
        }
        self.copy = world.copy(self.set, "A", self.pieces)
        world.chart(self.set, self.mill)

    def kit(self, by: Person, **fields: Any) -> Kit:
        """A kit assembled for a new job."""
        job = self.world.job(self.set, self.mill, **fields)
        kit = kits.open_kit(by=by, at=self.world.at, job=job)
        return kits.assemble(by=by, at=self.world.at, kit=kit)

    def stage(self, by: Person, kit: Kit) -> Kit:
        """A kit with everything in its cart."""
        kits.set_gathering_place(by=by, at=self.world.at, kit=kit, place=self.cart)
        pieces = [row.piece for row in kit.positions.select_related("piece") if row.piece]
        move_pieces(by=by, at=self.world.at, pieces=pieces, to=self.cart)
        kit.refresh_from_db()
        return kit
