"""The demo's orders for work: those of a year, released, from which the grinder's days are learned;
and of every state one that is open: asked for, approved, out, overdue, back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from tooling.management.demo_story import Story
from tooling.models import (
    Allotment,
    Answer,
    ApprovalKind,
    DrawingKind,
    Kit,
    Piece,
    Place,
    RegrindOrder,
    WorkKind,
)
from tooling.services import (
    approvals,
    proving,
    regrind_order_moves,
    regrind_orders,
    regrind_release,
)
from tooling.services.dimensions import known_size
from tooling.services.readings import record_reading
from tooling.services.regrind_targets import OrderLineIn

BOTTOM_OFF = {"mm": 750_000, "in": 762_000}
"""The usual stock per cut; tops lose as much more as their station's ratio asks."""
FIRST = 1
RECUT = ("1875", "B")
"""Its entry pass alone: a smaller first pass pulls the strip no less."""
WAITING = ("2705", "B")
EARLIER = (
    (312, ("3318", "A"), 9, 7_200, "strip edges cut in, entry pass"),
    (258, ("3318", "A"), 7, 7_200, "strip edges cut in again, entry pass"),
    (222, ("1875", "A"), 8, 4_600, "light lines on the flange"),
    (160, ("2260", "A"), 6, 5_100, "pick-up on the entry pass"),
    (84, ("2705", "A"), 10, 5_600, "entry pass, edges blunt"),
)
"""Days ago, copy, days at the grinder, what a piece cost, why."""
OVERDUE = ("2260", "B")
ASKED, ALLOWED = ("1472", "B", 2), ("1472", "B", 1)
"""Copies of a customer with the pass: one waits for the owner's answer, one for the van."""
DAYS_AWAY, DUE_AFTER = 23, 12


class Orders(Story):
    """What the toolroom had done."""

    def recut_entry_pass(self, at: datetime) -> RegrindOrder:
        """That of the set that ran after it."""
        note = "entry pass, light lines on the flange"
        return self.recut(self.rolls(*RECUT), at, days=2, cost_cents=4_800, note=note)

    def recut_earlier(
        self, days_ago: int, copy: tuple[str, str], days: int, cost_cents: int, note: str
    ) -> RegrindOrder:
        """The entry pass of a copy, with its owner's word where it is not the shop's."""
        at, pieces = self.now - timedelta(days=days_ago), self.rolls(*copy)
        self.ask_owner(pieces, at - timedelta(days=2), Answer.GIVEN)
        return self.recut(pieces, at, days=days, cost_cents=cost_cents, note=note)

    def ask_owner(self, pieces: Sequence[Piece], at: datetime, answer: str) -> None:
        """A customer is asked, or has answered, about pieces of theirs."""
        owner = pieces[0].owner
        if not owner.is_shop:
            approvals.record_approval(
                by=self.people["engineer"], at=at, owner=owner, kind=ApprovalKind.REGRIND,
                answer=answer, pieces=pieces, dated_on=at.date(),
                reference="mail of the tooling desk", answered_by="tooling desk",
            )  # fmt: skip

    def recut(
        self, pieces: Sequence[Piece], at: datetime, *, days: int, cost_cents: int, note: str
    ) -> RegrindOrder:
        """Asked for, sent, back so many days later, measured, marked and released."""
        order = self.request(pieces, at, note=note)
        self.send(order, at + timedelta(hours=3))
        back = at + timedelta(days=days)
        self.back(order, back, cost_cents=cost_cents)
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

    def open_orders(self, at: datetime) -> None:
        """One overdue, one for which a customer was asked, one that the customer allowed."""
        away = self.now - timedelta(days=DAYS_AWAY)
        late = self.request(self.rolls(*OVERDUE), away, note="entry pass", due_in=DUE_AFTER)
        self.send(late, away + timedelta(hours=4))
        for copy, answer, note in (
            (ASKED, Answer.ASKED, "second pass, zinc on the flange radius"),
            (ALLOWED, Answer.GIVEN, "entry pass, edges blunt"),
        ):
            pieces = self.rolls(*copy)
            self.ask_owner(pieces, at - timedelta(days=1), answer)
            self.request(pieces, at, note=note)

    def rolls(self, number: str, letter: str, at_pass: int = FIRST) -> list[Piece]:
        """The rolls of one pass of a copy."""
        rows = Allotment.objects.filter(
            copy__tool_set__number=number, copy__letter=letter,
            position__set_pass__number=at_pass, piece__drawing__kind=DrawingKind.ROLL,
        )  # fmt: skip
        found = rows.select_related("piece__revision", "piece__drawing", "piece__owner", "position")
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
