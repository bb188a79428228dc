"""A grinder, a set of four passes with a drawn progression, and the way of an order through it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from tests.world import World
from tooling.models import (
    ChartPass,
    Gauge,
    Kit,
    Person,
    Piece,
    RegrindOrder,
    SetupChart,
    Station,
)
from tooling.services import kits, regrind_order_moves, regrind_orders, regrind_release
from tooling.services.readings import record_reading
from tooling.services.regrind_targets import OrderLineIn

IN = 25_400_000
STEPS = (6.000, 6.020, 6.040, 6.060)


def inches(text: float | str) -> int:
    return round(float(text) * IN)


class Grinding:
    """Pairs of inch rolls drawn 6.000, 6.020, 6.040, 6.060 on a mill of 1 to 1, as drawn now."""

    def __init__(self, world: World, *, tops: Sequence[float] = STEPS, ratio: str = "1") -> None:
        self.world = world
        self.rack = world.place("Rack", walking_order=1)
        self.out_tray = world.place("Tray for work")
        self.grinder = world.place("Alder Grinding", kind="grinder")
        self.mill = world.mill("M", unit="in")
        Station.objects.filter(mill=self.mill).update(gear_ratio=ratio)
        self.drawings = {}
        for n, size in enumerate(STEPS, start=1):
            for shaft, drawn in (("top", tops[n - 1]), ("bottom", size)):
                self.drawings[n, shaft, 1] = world.drawing(
                    f"D{n}{shaft[0]}", unit="in", bore_nm=inches("2.5"), face_width_nm=inches(2),
                    drive_diameter_nm=inches(drawn), outside_diameter_nm=inches(drawn + 0.5),
                    guide_offset_nm=inches(1),
                    least_drive_diameter_nm=inches(drawn - 0.3),
                )  # fmt: skip
        strip = {"thickness_least_nm": 2_000_000, "thickness_most_nm": 2_000_000}
        self.set = world.tool_set("S", self.drawings, unit="in", **strip)
        self.pieces = {
            spot: world.piece(drawing, self.rack, mark=f"{spot[0]}{spot[1][0].upper()}", unit="in")
            for spot, drawing in self.drawings.items()
        }
        self.copy = world.copy(self.set, "A", self.pieces)
        self.chart: SetupChart = world.chart(self.set, self.mill)
        SetupChart.objects.filter(pk=self.chart.pk).update(state="proved")
        self.gauge = Gauge.objects.create(
            number="MIC-1", name="Micrometer", unit="in", resolution_nm=2_540, uncertainty_nm=5_080
        )

    @property
    def passes(self) -> int:
        return ChartPass.objects.filter(chart=self.chart).count()

    def request(
        self, by: Person, *spots: tuple[int, str, int], off: float = 0.030, **more: Any
    ) -> RegrindOrder:
        """An order for these pieces, each to lose so much on diameter."""
        line = more.pop("line", {})
        lines = [
            OrderLineIn(self.piece(spot), take_off_nm=inches(off), **line)
            for spot in spots or self.pieces
        ]
        given = {"at": self.world.at, "vendor": self.grinder, **more}
        return regrind_orders.request_order(by=by, lines=lines, **given)

    def piece(self, spot: tuple[int, str, int]) -> Piece:
        return Piece.objects.select_related("revision", "drawing", "owner", "place").get(
            pk=self.pieces[spot].pk
        )

    def send(self, by: Person, order: RegrindOrder, **more: Any) -> RegrindOrder:
        return regrind_order_moves.send(by=by, at=self.world.at, order=order, **more)

    def back(self, by: Person, order: RegrindOrder, **more: Any) -> RegrindOrder:
        """Everything that is out, five days later."""
        codes = more.pop("codes", None) or [
            line.piece.code
            for line in order.lines.filter(back_at=None, is_open=True).select_related("piece")
        ]
        given = {"at": self.later(5), "to": self.rack, **more}
        return regrind_order_moves.take_back(by=by, order=order, codes=codes, **given)

    def read(
        self, by: Person, order: RegrindOrder, sizes: Mapping[str, int] | None = None,
        *, at: datetime | None = None, only: Sequence[str] = (), **more: Any,
    ) -> None:  # fmt: skip
        """Every target is read as it was ordered, but for pieces whose code says otherwise;
        ``only``: of these pieces."""
        rows = order.lines.filter(is_open=True).select_related("piece")
        for line in rows.filter(piece__code__in=only) if only else rows:
            for target in line.targets.all():
                nm = (sizes or {}).get(f"{line.piece.code} {target.dimension}", target.target_nm)
                record_reading(
                    by=by, at=at or self.later(6), piece=line.piece, dimension=target.dimension,
                    value_nm=nm, unit="in", gauge=self.gauge, sure=True, **more,
                )  # fmt: skip

    def marks(self, by: Person, order: RegrindOrder, only: Sequence[str] = ()) -> None:
        codes = only or list(order.lines.values_list("piece__code", flat=True))
        regrind_order_moves.see_mark(by=by, at=self.later(6), order=order, codes=codes)

    def ready(self, by: Person, order: RegrindOrder) -> RegrindOrder:
        """Out, back, read and marked: ready to be released."""
        self.send(by, order)
        self.back(by, order)
        self.read(by, order)
        self.marks(by, order)
        order.refresh_from_db()
        return order

    def later(self, days: float) -> datetime:
        return self.world.at + timedelta(days=days)


def let_go(shop: Grinding, by: Person, order: RegrindOrder, **more: Any) -> RegrindOrder:
    """Release it, a week after it was asked for."""
    return regrind_release.release(by=by, at=shop.later(7), order=order, **more)


def a_kit(shop: Grinding, crew: Person, **fields: Any) -> Kit:
    """A kit of the set, assembled, with a cart to gather it in."""
    job = shop.world.job(shop.set, shop.mill, **fields)
    kit = kits.open_kit(by=crew, at=shop.world.at, job=job)
    kit = kits.assemble(by=crew, at=shop.world.at, kit=kit)
    cart = shop.world.place(f"Cart {kit.number}", kind="cart")
    kits.set_gathering_place(by=crew, at=shop.world.at, kit=kit, place=cart)
    return Kit.objects.get(pk=kit.pk)
