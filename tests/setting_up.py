"""A kit beside its mill, ready to be mounted: rolls with labels, pooled spacers, a chart."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from tests.world import MM, World
from tooling.models import (
    ChartAxis,
    ChartPass,
    Kit,
    KitPosition,
    Mill,
    Person,
    Piece,
    Setup,
    SetupChart,
    StockLine,
)
from tooling.services import kits, setups, stock
from tooling.services.movements import move_pieces


class SettingUp:
    """``stations`` passes, each with a roll, a spacer, and a second roll on both shafts, from the
    shoulder; with ``plain`` only the first roll at those stations. Everything is staged on a cart.
    Gaps aim at 1.50 mm by feelers, unloaded."""

    def __init__(
        self, world: World, by: Person, *, stations: int = 2, prefix: str = "",
        staged: bool = True, plain: Collection[int] = (),
    ) -> None:  # fmt: skip
        self.world, self.by, self.stations, self.prefix = world, by, stations, prefix
        self.rack = world.place(f"{prefix}Rack")
        self.cart = world.place(f"{prefix}Cart", kind="cart")
        self.mill: Mill = world.mill(f"{prefix}M", stations=stations + 1)
        self.spacer = world.drawing(
            f"{prefix}SP", kind="spacer", bore_nm=60 * MM, face_width_nm=10 * MM, mass_g=400
        )
        self.rolls = {
            shaft: world.drawing(
                f"{prefix}R{shaft[0]}", bore_nm=60 * MM, face_width_nm=50 * MM,
                outside_diameter_nm=180 * MM, drive_diameter_nm=150 * MM, mass_g=9_000,
            )
            for shaft in ("top", "bottom")
        }  # fmt: skip
        spots = [(n, shaft) for n in range(1, stations + 1) for shaft in ("top", "bottom")]
        drawings = {
            (n, shaft, order): self.spacer if order == 2 else self.rolls[shaft]
            for n, shaft in spots
            for order in ((1,) if n in plain else (1, 2, 3))
        }
        self.set = world.tool_set(f"{prefix}S", drawings)
        self.pieces: dict[tuple[int, str, int], Piece] = {
            (n, shaft, order): world.piece(
                self.rolls[shaft], self.rack, mark=f"{prefix}{n}-{shaft[0]}{order}"
            )
            for n, shaft in spots
            for order in ((1,) if n in plain else (1, 3))
        }
        self.bin: StockLine = world.stock(self.spacer, self.rack, 2 * len(spots) + 3)
        world.copy(self.set, "A", self.pieces)
        self.chart: SetupChart = world.chart(self.set, self.mill)
        ChartPass.objects.filter(chart=self.chart).update(
            gap_nm=1_500_000, gap_method="feeler", gap_is_loaded=False
        )
        self.kit: Kit = self._kit(staged)

    def _kit(self, staged: bool) -> Kit:
        at, by = self.world.at, self.by
        job = self.world.job(self.set, self.mill, number=f"{self.prefix}J1")
        kit = kits.open_kit(by=by, at=at, job=job)
        kit = kits.assemble(by=by, at=at, kit=kit)
        kits.set_gathering_place(by=by, at=at, kit=kit, place=self.cart)
        if staged:
            move_pieces(by=by, at=at, pieces=self.pieces.values(), to=self.cart)
            called = self.kit_spacers(kit)
            stock.move(by=by, at=at, line=self.bin, quantity=called, to=self.cart)
        kit.refresh_from_db()
        return kit

    def kit_spacers(self, kit: Kit) -> int:
        """So many pooled spacers the kit calls for."""
        return kit.positions.filter(drawing=self.spacer).count()

    def start(self, **fields: Any) -> Setup:
        return setups.start_setup(by=self.by, at=self.world.at, kit=self.kit, **fields)

    def station(self, number: int) -> Any:
        return self.mill.stations.select_related("place").get(number=number)

    def code(self, n: int, shaft: str, order: int) -> str:
        return self.pieces[n, shaft, order].code

    def rows(self, n: int, shaft: str) -> list[KitPosition]:
        rows = self.kit.positions.filter(station_number=n, shaft=shaft)
        return list(rows.select_related("piece__place").order_by("order"))

    def in_cart(self) -> int:
        """Spacers left in the cart."""
        return sum(
            StockLine.objects.filter(place=self.cart, drawing=self.spacer).values_list(
                "count", flat=True
            )
        )

    def at_station(self, number: int) -> int:
        """Spacers at a station."""
        lines = StockLine.objects.filter(place=self.station(number).place, drawing=self.spacer)
        return sum(lines.values_list("count", flat=True))

    def axis(self, n: int, name: str, **fields: Any) -> ChartAxis:
        row = ChartPass.objects.get(chart=self.chart, set_pass__number=n)
        return ChartAxis.objects.create(chart_pass=row, name=name, **fields)
