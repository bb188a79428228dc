"""A kit whose shafts are to be filled: rolls with guide points, a mill that says how it closes,
bins of spacers by length. In mm or in inches, for any number of stations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.world import MM, World
from tooling.models import (
    Drawing,
    Kit,
    KitPosition,
    Mill,
    MillShaft,
    Person,
    Piece,
    Place,
    SetPosition,
    Setting,
    StockLine,
    ToolSet,
)
from tooling.queries.kits import find_kit
from tooling.services import fill_work, kits

IN = 25_400_000
LENGTHS = {10: 40, 20: 40, 50: 40, 100: 40}
"""By length in units, how many of each lie in their bins."""


class Filling:
    """One roll on each shaft, 60 units wide with its guide point 30 from the inboard face; the
    roll space is 300 and the guide plane at 150, so every fill is 120. ``unit``: a unit is 1 mm,
    or 1/16 in. The housing closes on a stack that is 0 to half a unit short."""

    def __init__(
        self, world: World, by: Person, *, stations: int = 2, unit: str = "mm", prefix: str = "",
        lengths: Mapping[float, int] | None = None, in_hours: float = 24, opened: bool = True,
    ) -> None:  # fmt: skip
        self.world, self.by, self.prefix, self.unit = world, by, prefix, unit
        self.one = MM if unit == "mm" else IN // 16
        self.rack: Place = world.place(f"{prefix}Rack")
        self.cart: Place = world.place(f"{prefix}Cart", kind="cart")
        self.mill: Mill = world.mill(
            f"{prefix}M", stations=max(stations, 1), unit=unit, guide_plane_nm=150 * self.one,
            closing="housing", closing_least_nm=-self.one // 2, closing_most_nm=0,
        )  # fmt: skip
        MillShaft.objects.filter(station__mill=self.mill).update(
            roll_space_nm=300 * self.one, diameter_nm=60 * self.one, key_height_nm=0,
            key_width_nm=18 * self.one, shoulder_measured_on="2026-01-05",
        )  # fmt: skip
        self.bins = {
            length: self.bin(length, count)
            for length, count in (LENGTHS if lengths is None else lengths).items()
        }
        self.set, self.pieces = self.rolls(stations)
        world.chart(self.set, self.mill)
        if opened:
            self.kit: Kit = self.open(in_hours=in_hours)

    def rolls(self, stations: int) -> tuple[ToolSet, dict[tuple[int, str, int], Piece]]:
        roll = self.world.drawing(
            f"{self.prefix}R", bore_nm=60 * self.one, face_width_nm=60 * self.one,
            guide_offset_nm=30 * self.one, outside_diameter_nm=180 * self.one, unit=self.unit,
        )  # fmt: skip
        spots = [(n, s, 1) for n in range(1, stations + 1) for s in ("top", "bottom")]
        made = self.world.tool_set(f"{self.prefix}S", dict.fromkeys(spots, roll))
        SetPosition.objects.filter(set_pass__tool_set=made).update(carries_guide_point=True)
        pieces = {
            spot: self.world.piece(roll, self.rack, mark=f"{self.prefix}{spot[0]}{spot[1][0]}")
            for spot in spots
        }
        self.world.copy(made, "A", pieces)
        return made, pieces

    def bin(self, length: float, count: int, *, kind: str = "spacer", **fields: Any) -> StockLine:
        return self.world.stock(self.spacer(length, kind=kind, **fields), self.rack, count)

    def spacer(self, length: float, *, kind: str = "spacer", **fields: Any) -> Drawing:
        fields = {
            "bore_nm": 60 * self.one, "keyway_width_nm": 18 * self.one,
            "keyway_depth_nm": 4 * self.one, "outside_diameter_nm": 90 * self.one, "mass_g": 300,
            "unit": self.unit, **fields,
        }  # fmt: skip
        return self.world.drawing(
            f"{self.prefix}SP-{length}", kind=kind, face_width_nm=round(length * self.one), **fields
        )

    def open(self, *, in_hours: float = 24, number: str = "J1") -> Kit:
        at = self.world.at
        job = self.world.job(
            self.set, self.mill, number=f"{self.prefix}{number}", in_hours=in_hours
        )
        kit = kits.open_kit(by=self.by, at=at, job=job, place=self.cart)
        return kits.assemble(by=self.by, at=at, kit=kit)

    def lost(self) -> Place:
        """Where no kit can reach."""
        return self.world.place(f"{self.prefix}Grinder", kind="grinder")

    def make_in_steps_of(self, length: int) -> None:
        """What the shop makes, so coarse that the shortest make-list is found at once."""
        for name, times in (("step", 1), ("least", 1), ("most", 6)):
            Setting.objects.create(name=f"make_grid_{name}", value=times * length * self.one)

    def fill(self, kit: Kit | None = None) -> Any:
        """As the worker does it."""
        there = find_kit((kit or self.kit).number)
        return fill_work.fill_shafts(by=self.by, at=self.world.at, kit=there)

    def rows(self, station: int, shaft: str, kit: Kit | None = None) -> list[KitPosition]:
        """From the shoulder."""
        rows = KitPosition.objects.filter(
            kit=kit or self.kit, station_number=station, shaft=shaft
        )  # fmt: skip
        return list(rows.select_related("drawing", "piece").order_by("order"))

    def stacks(self, kit: Kit | None = None) -> dict[tuple[int, str], list[tuple[str, int]]]:
        """By shaft what stands there from the shoulder: fill and width."""
        found: dict[tuple[int, str], list[tuple[str, int]]] = {}
        rows = KitPosition.objects.filter(kit=kit or self.kit).order_by("order")
        for row in rows:
            width = row.length_nm or 60 * self.one
            found.setdefault((row.station_number, row.shaft), []).append((row.fill, width))
        return found


def assert_inside_windows(shop: Filling, kit: Kit | None = None) -> int:
    """Every filled shaft recomputed from the rows alone; how many there are."""
    stacks = shop.stacks(kit)
    window, filled = 50_000 if shop.unit == "mm" else 50_800, 0
    errors: dict[int, list[int]] = {}
    for (station, _shaft), stack in stacks.items():
        fills = [fill for fill, _nm in stack]
        if not any(fills):
            continue
        at = fills.index("")
        error = sum(nm for _fill, nm in stack[:at]) + 30 * shop.one - 150 * shop.one
        assert -window <= error <= window
        assert -shop.one // 2 <= sum(nm for _fill, nm in stack) - 300 * shop.one <= 0
        errors.setdefault(station, []).append(error)
        filled += 1
    assert all(abs(e[0] - e[-1]) <= window // 2 for e in errors.values())
    return filled


def spacers_of(shop: Filling, kit: Kit | None = None) -> list[KitPosition]:
    rows = KitPosition.objects.filter(kit=kit or shop.kit).exclude(fill="")
    return list(
        rows.select_related("drawing", "piece").order_by("station_number", "shaft", "order")
    )
