"""A set of four passes on a mill, worn at one pass, to plan a regrind for.

Millimetres. Drive diameters 150.00, 150.20, 150.40, 150.60, top and bottom alike, all measured,
all as drawn; least 140. The bottom roll of pass 3 lost 0.50 at its root, beyond its limit of 0.30:
by hand 2 · (0.50 + 0.05) = 1.10 on diameter, so 150.40 → 149.30. Pass 2 comes down to it by 0.90,
pass 1 by 0.70 (the speed may not drop, equal is not slack). Each top roll follows to within 0.10 %
of its bottom one: 149.30 · 1.001 = 149.4493, in steps of 0.02 so 150.40 − 0.96 = 149.44; the top
rolls of passes 2 and 1 then at most 149.44: 0.76 and 0.56 off.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tests.world import MM, World
from tooling.models import (
    Gauge,
    GaugePoint,
    Mill,
    Person,
    Piece,
    Reading,
    SetCopy,
    ToolSet,
    WearState,
)
from tooling.services import regrind_plan_work

DRAWN = {n: 150 * MM + (n - 1) * 200_000 for n in range(1, 5)}
CUT = {
    (1, "bottom"): 700_000, (2, "bottom"): 900_000, (3, "bottom"): 1_100_000, (4, "bottom"): 0,
    (1, "top"): 560_000, (2, "top"): 760_000, (3, "top"): 960_000, (4, "top"): 0,
}  # fmt: skip
"""What comes off, worked out by hand above."""


@dataclass
class RegrindShop:
    """The shop with one worn set."""

    world: World
    tool_set: ToolSet
    copy: SetCopy
    mill: Mill
    rolls: dict[tuple[int, str], Piece]
    gauge: Gauge


def regrind_shop(
    world: World, number: str = "1472", *, mill: Mill | None = None, unit: str = "mm"
) -> RegrindShop:
    """Built by hand. ``unit``: in which the set and its rolls are written."""
    rack = world.place(f"Rack of {number}")
    gauge, _made = Gauge.objects.get_or_create(
        number="MIC-1", defaults={"name": "Micrometer", "resolution_nm": 1_000}
    )
    drawings = {
        (n, shaft, 1): world.drawing(
            f"{number}-{n}{shaft[0].upper()}", bore_nm=60 * MM, keyway_width_nm=18 * MM,
            keyway_depth_nm=4_400_000, face_width_nm=90 * MM, guide_offset_nm=45 * MM,
            drive_diameter_nm=DRAWN[n], root_diameter_nm=DRAWN[n] - 20 * MM,
            least_drive_diameter_nm=140 * MM, new_cost_cents=90_000,
        )
        for n in DRAWN
        for shaft in ("top", "bottom")
    }  # fmt: skip
    tool_set = world.tool_set(number, drawings, unit=unit)
    rolls = {}
    for (n, shaft, _one), drawing in drawings.items():
        rolls[n, shaft] = world.piece(
            drawing, rack, mark=drawing.number, now_drive_diameter_nm=DRAWN[n],
            made_root_diameter_nm=DRAWN[n] - 20 * MM, unit=unit,
        )  # fmt: skip
        read(world.at, rolls[n, shaft], gauge, DRAWN[n])
    copy = world.copy(tool_set, "A", {(n, shaft, 1): piece for (n, shaft), piece in rolls.items()})
    on = mill or world.mill("M1", stations=4)
    world.chart(tool_set, on)
    shop = RegrindShop(world, tool_set, copy, on, rolls, gauge)
    wear(shop, rolls[3, "bottom"], depth_nm=500_000)
    return shop


def read(at: datetime, piece: Piece, gauge: Gauge, nm: int) -> None:
    """A drive diameter as it was measured."""
    Reading.objects.create(
        piece=piece, dimension="drive_diameter", value_nm=nm, unit="mm", gauge=gauge,
        happened_at=at, received_at=at,
    )  # fmt: skip


def wear(
    shop: RegrindShop, piece: Piece, *, depth_nm: int, limit_nm: int = 300_000,
    left_m: float | None = 1e9, angle: float = 0.0,
) -> WearState:  # fmt: skip
    """A gauge point of the piece, read, with what it lost."""
    point, _made = GaugePoint.objects.get_or_create(
        drawing=piece.drawing, name="root",
        defaults={"depth_limit_nm": limit_nm, "face_angle_deg": angle},
    )  # fmt: skip
    return WearState.objects.create(
        piece=piece, point=point, says="own", readings=2, depth_nm=float(depth_nm),
        left_sure_m=left_m, left_half_m=left_m, numbers={"limit": float(limit_nm)},
        computed_at=shop.world.at,
    )  # fmt: skip


def work_out(by: Person, at: datetime, number: str) -> None:
    """As the worker does."""
    regrind_plan_work.work_plan_out(by=by, at=at, number=number)


__all__ = ["CUT", "DRAWN", "RegrindShop", "read", "regrind_shop", "wear", "work_out"]
