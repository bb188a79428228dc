"""The demo's orders for work: one released before its set ran, one out at the grinder, one back
and waiting to be measured and released."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from tooling.management.demo_story import Story
from tooling.models import Allotment, DrawingKind, Kit, Piece, Place, RegrindOrder, WorkKind
from tooling.services import proving, regrind_order_moves, regrind_orders, regrind_release
from tooling.services.dimensions import known_size
from tooling.services.readings import record_reading
from tooling.services.regrind_targets import OrderLineIn

BOTTOM_OFF = {"mm": 750_000, "in": 762_000}
"""The usual stock per cut; tops lose as much more as their station's ratio asks."""
FIRST = 1
RECUT = ("1875", "B")
"""Its entry pass alone: a smaller first pass pulls the strip no less."""
WAITING = ("2705", "B")


class Orders(Story):
    """What the toolroom had done in the last two weeks."""

    def recut_entry_pass(self, at: datetime) -> RegrindOrder:
        """Asked for, sent, back two days later, measured, marked and released."""
        order = self.request(self.rolls(*RECUT), at, note="entry pass, light lines on the flange")
        self.send(order, at + timedelta(hours=3))
        back = at + timedelta(days=2)
        self.back(order, back, cost_cents=4_800)
        self.measure(order, back + timedelta(hours=2))
        codes = list(order.lines.values_list("piece__code", flat=True))
        regrind_order_moves.see_mark(
            by=self.people["attendant"], at=back + timedelta(hours=3), order=order, codes=codes
        )
        return regrind_release.release(
            by=self.people["engineer"], at=back + timedelta(hours=4), order=order
        )

    def ran_good(self, kit: Kit, at: datetime) -> None:
        """The first run after a recut was good: the numbers of its chart are proved again."""
        proving.prove_set(
            by=self.people["engineer"], at=at, kit=kit, note="first coil after the recut good"
        )

    def order_what_is_at_the_grinder(self, pieces: Sequence[Piece], at: datetime) -> RegrindOrder:
        """They were taken along; the order was written the same morning."""
        order = self.request(pieces, at, note="fins of pass 12", due_in=12)
        return self.send(order, at)

    def wait_for_release(self, at: datetime) -> RegrindOrder:
        """Back this morning; one of them is measured, no mark was looked for yet."""
        order = self.request(self.rolls(*WAITING), at, note="pick-up on the entry pass")
        self.send(order, at + timedelta(hours=2))
        self.back(order, self.now - timedelta(hours=5), cost_cents=5_200)
        self.measure(order, self.now - timedelta(hours=2), most=1)
        return order

    def rolls(self, number: str, letter: str) -> list[Piece]:
        """The rolls of the first pass of a copy."""
        rows = Allotment.objects.filter(
            copy__tool_set__number=number, copy__letter=letter,
            position__set_pass__number=FIRST, piece__drawing__kind=DrawingKind.ROLL,
        )  # fmt: skip
        found = rows.select_related("piece__revision", "piece__drawing", "position")
        return [row.piece for row in found.order_by("position__shaft", "position__order")]

    def request(
        self, pieces: Iterable[Piece], at: datetime, *, note: str, due_in: int | None = None
    ) -> RegrindOrder:
        known = list(pieces)
        least = min(self._drive(piece) for piece in known)
        lines = [
            OrderLineIn(
                piece,
                kinds=(WorkKind.REGRIND, WorkKind.REMARK),
                take_off_nm=BOTTOM_OFF[piece.unit] * self._drive(piece) // least,
            )
            for piece in known
        ]
        due = (at + timedelta(days=due_in)).date() if due_in else None
        return regrind_orders.request_order(
            by=self.people["engineer"], at=at, lines=lines, note=note, due_on=due,
            vendor=Place.objects.get(kind="grinder"),
        )  # fmt: skip

    def send(self, order: RegrindOrder, at: datetime) -> RegrindOrder:
        return regrind_order_moves.send(by=self.people["attendant"], at=at, order=order)

    def back(self, order: RegrindOrder, at: datetime, *, cost_cents: int) -> None:
        """Each piece to the shelf that the import gave it."""
        for line in order.lines.select_related("piece"):
            first = line.piece.movements.order_by("id").select_related("to").first()
            regrind_order_moves.take_back(
                by=self.people["attendant"], at=at, order=order, codes=[line.piece.code],
                to=first.to if first else None, done_on=(at - timedelta(days=1)).date(),
                cost_cents=cost_cents,
            )  # fmt: skip

    def measure(self, order: RegrindOrder, at: datetime, *, most: int | None = None) -> None:
        for line in order.lines.select_related("piece")[:most]:
            for target in line.targets.all():
                record_reading(
                    by=self.people["attendant"], at=at, piece=line.piece,
                    dimension=target.dimension, value_nm=target.target_nm, unit=line.piece.unit,
                )  # fmt: skip

    def _drive(self, piece: Piece) -> int:
        return known_size(piece, "drive_diameter") or 1
