"""The demo's year: a round in which everything is seen, jobs run, a count each quarter, and what
goes wrong in any year."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from functools import partial

from tooling.management.demo_orders import EARLIER, Orders
from tooling.management.demo_setups import WAITED
from tooling.management.demo_story import piece_named
from tooling.management.demo_wear import Wear
from tooling.models import (
    DrawingRevision,
    IncidentKind,
    Mill,
    OldPieces,
    Owner,
    OwnerReport,
    Piece,
    Place,
    PlaceKind,
)
from tooling.services import (
    count_close,
    count_entries,
    counts,
    drawings,
    holds,
    homes,
    incidents,
    labels,
    owner_marks,
    owner_reports,
    owners,
    pieces,
)
from tooling.services.incidents import Touched, Where

RUNS = (
    (332, "J-1911", "Cart 2", "A"),
    (291, "J-1926", "Cart 3", "A"),
    (243, "J-1944", "Cart 1", "A"),
    (188, "J-1963", "Cart 5", "B"),
    (141, "J-1978", "Cart 1", "A"),
    (90, "J-1999", "Cart 6", "A"),
    (48, "J-2017", "Cart 2", "A"),
)
"""Days ago, job, cart, copy."""
COUNTS = ((270, "Rack B"), (180, "Rack A"), (100, "Rack D"), (22, "Rack C"))
"""Days ago, what was counted."""
RAN_SHORT, SHORT = "J-1978", "one 25 mm spacer short on pass 24, made up with two shims"
DELAYED = "J-1999"
VALUE_CENTS = {"roll": 42_000, "side_roll": 18_500, "spacer": 3_800, "line_tooling": 96_000}
SWEPT_UP = ("3318-22-B3", "A")
RENAMED = ("1875-06-T2", "B")


class Year(Orders, Wear):
    """What happened from a year ago until three weeks ago."""

    def replay(self) -> None:
        """One after the other, as time went: what is there is judged by what came before."""
        events: list[tuple[int, Callable[[], object]]] = [
            (364, self.first_round),
            (350, self.know_values),
            (349, lambda: self.points(self.now - timedelta(days=349))),
            (138, self.crash),
            (120, self.new_revision),
            (75, self.new_label),
            (64, self.drop),
            (40, self.marks_of_owners),
        ]
        events += [(run[0], partial(self.ran, *run)) for run in RUNS]
        events += [(each[0], partial(self.count, *each)) for each in COUNTS]
        events += [(each[0], partial(self.recut_earlier, *each)) for each in EARLIER]
        for _days, happens in sorted(events, key=lambda event: -event[0]):
            happens()

    def ran(self, days: int, number: str, cart: str, copy: str) -> None:
        day = self.now - timedelta(days=days)
        if number == RAN_SHORT:
            self.run(number, day, cart=cart, copy=copy, short=SHORT)
            return
        kit = self.kit(number, day, cart=cart, copy=copy)
        self.stage(kit, day + timedelta(hours=2))
        lost = WAITED if number == DELAYED else ()
        setup = self.change_over(kit, day + timedelta(days=1), lost=lost)
        self.coils(setup)
        self.strike(setup, day + timedelta(days=2))

    def first_round(self) -> None:
        """Two attendants scan everything where it lies, so that all has been seen; from then on
        what lies in a rack belongs there."""
        found = Piece.objects.exclude(place__kind="unknown").select_related("place")
        pairs = [(piece.code, piece.place.code) for piece in found.order_by("place_id", "code")]
        for start in range(0, len(pairs), 100):
            self.scan(pairs[start : start + 100], self.now - timedelta(days=364))
        for rack in Place.objects.filter(kind=PlaceKind.SHELF).order_by("pk"):
            if rack.pieces.exists():
                homes.belongs_here(
                    by=self.people["attendant"], at=self.now - timedelta(days=363), place=rack
                )

    def know_values(self) -> None:
        """The insurers asked what customers' tooling is worth."""
        at, by = self.now - timedelta(days=350), self.people["engineer"]
        for owner in Owner.objects.filter(is_shop=False):
            owners.edit_owner(
                by=self.people["supervisor"], at=at, owner=owner,
                insurance_reference="insured by the owner, certificate on file",
            )  # fmt: skip
            for piece in owner.pieces.select_related("drawing").order_by("code"):
                value = VALUE_CENTS.get(piece.drawing.kind, 10_000)
                pieces.edit_piece(by=by, at=at, piece=piece, value_cents=value)

    def crash(self) -> None:
        """A double feed ended in a crash on pass 14; two rolls were marked and polished out."""
        at = self.now - timedelta(days=138)
        rolls = [piece_named(mark, "A") for mark in ("3318-14-T3", "3318-14-B3")]
        incidents.report(
            by=self.people["crew"], at=at, kind=IncidentKind.CRASH, happened_at=at,
            touched=[Touched(roll, "marked") for roll in rolls],
            where=Where(mill=Mill.objects.get(number="M2"), station=14, set_pass=14),
            note="strip end doubled at the entry guide, mill stopped within a metre",
        )  # fmt: skip
        for roll in rolls:
            fresh = Piece.objects.get(pk=roll.pk)
            holds.say_condition(
                by=self.people["engineer"], at=at + timedelta(days=2), piece=fresh,
                condition="sound", reason="polished by hand, template fits",
            )  # fmt: skip
        for report in OwnerReport.objects.filter(piece__in=[roll.pk for roll in rolls]):
            owner_reports.add_note(
                by=self.people["supervisor"], at=at + timedelta(days=1), report=report,
                what="told", happened_at=at + timedelta(hours=20), whom="purchasing, by mail",
            )  # fmt: skip

    def drop(self) -> None:
        at = self.now - timedelta(days=64)
        roll = piece_named("2705-03-T2", "B")
        incidents.report(
            by=self.people["attendant"], at=at, kind=IncidentKind.DROP, happened_at=at,
            touched=[Touched(roll, "dirty")], note="slid off the hook onto the mat, no mark found",
        )  # fmt: skip

    def new_label(self) -> None:
        """A label was ground off with the face; the piece got a new one."""
        at = self.now - timedelta(days=75)
        piece = piece_named(*RENAMED)
        labels.reissue(
            by=self.people["attendant"], at=at, code=piece.code, reason="ground off with the face"
        )

    def new_revision(self) -> None:
        """The corner radius of one roll was drawn larger; the old rolls go on with a note."""
        at = self.now - timedelta(days=120)
        old = DrawingRevision.objects.select_related("drawing").get(
            drawing__number="1875-05-B2", is_current=True
        )
        copied = ("unit", "material", "bore_nm", "keyway_width_nm", "keyway_depth_nm",
                  "face_width_nm", "guide_offset_nm", "drive_diameter_nm", "root_diameter_nm",
                  "outside_diameter_nm", "least_drive_diameter_nm", "least_root_diameter_nm",
                  "least_outside_diameter_nm", "bore_class")  # fmt: skip
        drawings.new_revision(
            by=self.people["engineer"], at=at, drawing=old.drawing, revision="B",
            old_pieces=OldPieces.NOTE, note="edge radius 1.5 mm; old rolls: watch the zinc",
            **{name: getattr(old, name) for name in copied},
        )  # fmt: skip

    def marks_of_owners(self) -> None:
        """Half of one owner's rolls were looked at; a few bear no mark."""
        at = self.now - timedelta(days=40)
        looked = list(Piece.objects.filter(owner__code="QUIL").order_by("code")[:120])
        seen = {piece.pk: place % 17 != 5 for place, piece in enumerate(looked)}
        owner_marks.check_marks(by=self.people["attendant"], at=at, pieces=looked, seen=seen)

    def count(self, days: int, rack: str) -> None:
        """A rack is counted shelf by shelf, full rows in one tap; what was swept up is missing."""
        at, by = self.now - timedelta(days=days), self.people["attendant"]
        place = Place.objects.get(name=rack)
        lacking = {piece_named(*SWEPT_UP).pk} if days == COUNTS[-1][0] else set()
        count = counts.open_count(by=by, at=at, place=place)
        for number, shelf in enumerate(place.children.order_by("walking_order"), 1):
            then = at + timedelta(minutes=4 * number)
            there = list(Piece.objects.filter(place=shelf).order_by("code"))
            if not there:
                continue
            if not lacking & {piece.pk for piece in there}:
                count_entries.tick_row(by=by, at=then, count=count, place=shelf)
                continue
            found = [(each.code, shelf.code) for each in there if each.pk not in lacking]
            count_entries.record_batch(
                by=by, at=then, count=count, device=self.device, device_now=then,
                scans=self.scans_of(found, then),
            )  # fmt: skip
        count_close.close(
            by=by, at=at + timedelta(hours=1), count=count, otherwise="not on any shelf of the rack"
        )
