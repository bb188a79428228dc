"""What waits for somebody in the demo shop today: an overdue loan, an order that came short, a
stopped roll, an owner who has not answered, one who was not told, a count half done."""

from __future__ import annotations

import io
from datetime import timedelta
from random import Random

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageDraw, ImageFilter

from tooling.management.demo_story import Story, piece_named
from tooling.models import (
    Answer,
    ApprovalKind,
    DrawingRevision,
    Owner,
    Piece,
    Place,
    Receipt,
    StockLine,
    Verdict,
)
from tooling.services import (
    approvals,
    count_entries,
    counts,
    holds,
    inspection,
    loans,
    pictures,
    purchases,
    receiving,
    stock,
)
from tooling.services.loans import Thing

CHIPPED = ("2262-07-T2", "A")
WORN_TOO = ("3318-05-T2", "3318-05-B2", "3318-06-T2", "3318-06-B2")
COUNTED_SHELVES = 3


class Messes(Story):
    """The last days' loose ends."""

    def replay(self) -> None:
        self.lend()
        self.order()
        self.ask_owner()
        self.stop()
        self.use_up()
        self.count_half()

    def lend(self) -> None:
        """Two spare rolls went to the sister plant and were due last week."""
        own = Piece.objects.filter(copy_letter="S", owner__is_shop=True).order_by("code")
        things = [Thing(piece.code) for piece in own[:2]]
        at = self.now - timedelta(days=30)
        loans.hand_out(
            by=self.people["attendant"], at=at, to=Place.objects.get(kind="sister"), things=things,
            due_on=(self.now - timedelta(days=6)).date(), reason="their own set is at the grinder",
        )  # fmt: skip

    def order(self) -> None:
        """Six new rolls were ordered; four came, one of them too large in the bore."""
        at, by = self.now - timedelta(days=45), self.people["engineer"]
        revision = DrawingRevision.objects.select_related("drawing").get(
            drawing__number="1875-02-T2", is_current=True
        )
        purchase = purchases.create_purchase(
            by=by, at=at, number="PO 8064", vendor="Hollinwell Grinding",
            owner=Owner.objects.get(code="SHOP"), ordered_on=at.date(),
            due_on=(self.now - timedelta(days=1)).date(),
            lines=[purchases.LineIn(revision, 6, mark="1875-02-T2", price_cents=38_500)],
        )  # fmt: skip
        line, bench = purchase.lines.get(), Place.objects.get(name="Inspection bench")
        came = self.now - timedelta(days=3)
        for number in range(4):
            receipt = receiving.receive_piece(
                by=self.people["attendant"], at=came + timedelta(minutes=number), line=line,
                place=bench, copy_letter=f"N{number + 1}",
                papers=receiving.Papers(heat_lot="H512"),
            )  # fmt: skip
            self.inspect(receipt, revision, is_large=number == 3)

    def inspect(self, receipt: Receipt, revision: DrawingRevision, *, is_large: bool) -> None:
        bore, drive = revision.bore_nm or 0, revision.drive_diameter_nm or 0
        measured = {
            "bore": inspection.Measured(bore + (90_000 if is_large else 12_000)),
            "drive_diameter": inspection.Measured(drive - 4_000),
        }
        inspection.inspect(
            by=self.people["engineer"], at=self.now - timedelta(days=2), receipt=receipt,
            measured=measured, unit="mm",
            verdict=Verdict.REJECTED if is_large else Verdict.ACCEPTED,
            reason="bore 0.09 mm over, goes back" if is_large else "", sure=True,
        )  # fmt: skip

    def ask_owner(self) -> None:
        """The panel's rolls need a recut; its owner was asked and has not answered."""
        at = self.now - timedelta(days=12)
        rolls = [piece_named(mark, "A") for mark in WORN_TOO]
        approvals.record_approval(
            by=self.people["engineer"], at=at, owner=rolls[0].owner, kind=ApprovalKind.REGRIND,
            answer=Answer.ASKED, pieces=rolls, dated_on=at.date(),
            note="asked by mail with the readings",
        )  # fmt: skip

    def stop(self) -> None:
        """A chipped roll was stopped this morning, with a photograph."""
        at, by = self.now - timedelta(hours=3), self.people["crew"]
        piece = piece_named(*CHIPPED)
        incident = holds.stop(by=by, at=at, piece=piece, what="chipped", note="edge of the flange")
        photo = SimpleUploadedFile("chip.jpg", photograph(), content_type="image/jpeg")
        pictures.keep(
            by=by, at=at + timedelta(minutes=1), upload=photo, piece=piece, incident=incident,
            caption="chip on the outboard edge",
        )  # fmt: skip

    def use_up(self) -> None:
        """One drawer has fallen below its least."""
        line = StockLine.objects.filter(
            drawing__number__startswith="SP 60 × 5", count__gt=6
        ).first()
        if line is not None:
            stock.scrap(
                by=self.people["attendant"], at=self.now - timedelta(days=1), line=line,
                quantity=line.count - 3, note="burred, no longer flat",
            )  # fmt: skip

    def count_half(self) -> None:
        """Somebody is counting rack B and went to lunch."""
        at, by = self.now - timedelta(minutes=50), self.people["attendant"]
        place = Place.objects.get(name="Rack B")
        count = counts.open_count(by=by, at=at, place=place)
        for number, shelf in enumerate(place.children.order_by("walking_order")[:COUNTED_SHELVES]):
            if shelf.pieces.exists():
                then = at + timedelta(minutes=5 * number)
                count_entries.tick_row(by=by, at=then, count=count, place=shelf)


def photograph() -> bytes:
    """A roll on a bench, drawn: nothing real is shown."""
    dice = Random(9)
    picture = Image.new("RGB", (1600, 1200), (96, 92, 86))
    draw = ImageDraw.Draw(picture)
    for radius, grey in ((520, 120), (500, 168), (360, 150), (350, 178), (150, 60)):
        draw.ellipse((800 - radius, 600 - radius, 800 + radius, 600 + radius), fill=(grey,) * 3)
    draw.polygon([(1248, 420), (1330, 470), (1290, 540), (1225, 500)], fill=(88, 84, 80))
    for _speck in range(900):
        x, y = dice.randrange(1600), dice.randrange(1200)
        draw.point((x, y), fill=(200, 198, 190))
    out = io.BytesIO()
    picture.filter(ImageFilter.GaussianBlur(2)).save(out, "JPEG", quality=80)
    return out.getvalue()
