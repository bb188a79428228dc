"""Fills an empty shop with the demo: its spreadsheets through the import, then a year of history
replayed through the services, so that everything in it came about as in a real shop."""

from __future__ import annotations

import csv
import io
import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from django.core.management.base import CommandError

from tooling.management.demo_messes import Messes
from tooling.management.demo_orders import Orders
from tooling.management.demo_panel import PANEL
from tooling.management.demo_story import piece_named
from tooling.management.demo_wear import Wear, footage
from tooling.management.demo_year import Year
from tooling.models import (
    Answer,
    ApprovalKind,
    GaugePoint,
    Person,
    PieceAlias,
    Place,
    Shop,
)
from tooling.services import approvals, imports, kits, readings, scans, settings
from tooling.services.importing.run import nobody_asks
from tooling.services.scan_moves import ScanIn

SHEETS = Path(__file__).resolve().parent.parent.parent / "fixtures" / "demo"
AHEAD = SHEETS / "ahead" / "jobs.csv"
WORN = ("2260-09-B3", "A")
LOST = ("2260-04-T2", "B")
AT_GRINDER = (("1472-12-T2", "B"), ("1472-12-B2", "B"))
HALF_STAGED_PASSES = 10
MOUNTED_SO_FAR = 8
PIECES_A_WEEK = 160
BEGAN = timedelta(days=365)
BROUGHT_LATER = ("length_run", "regrinds")
"""Sheets of what pieces had run and had done; the shop brought them two weeks ago."""


def fill(people: dict[str, Person], *, at: datetime) -> None:
    """Bring the sheets in as they were a year ago and replay what has happened since."""
    engineer = people["engineer"]
    Shop.objects.filter(pk=1).update(name="Brackenforge Roll Forming", currency="GBP")
    sheets = sorted(SHEETS.glob("*.csv"))
    later = [path for path in sheets if path.stem.startswith(BROUGHT_LATER)]
    _bring(engineer, at - BEGAN, [_file(path) for path in sheets if path not in later])
    _bring(engineer, at - BEGAN, [imports.Brought("jobs.csv", _jobs(at))])
    settings.set_setting(
        by=people["supervisor"], at=at - BEGAN, name="grinder_pieces_a_week", value=PIECES_A_WEEK
    )
    Year(people, at).replay()
    wear = Wear(people, at)
    codes = set(GaugePoint.objects.values_list("drawing__pieces__code", flat=True))
    aliases = PieceAlias.objects.filter(piece__code__in=codes).values_list("text", flat=True)
    brought = [_file(path) for path in later if not path.stem.startswith("length_run")]
    together = PieceAlias.objects.filter(piece__drawing__number__startswith=f"{PANEL}-")
    book = footage(
        (SHEETS / "length_run.csv").read_bytes(), set(aliases) | codes,
        set(together.values_list("text", flat=True)),
    )  # fmt: skip
    _bring(engineer, at - timedelta(days=14), [*brought, imports.Brought("length_run.csv", book)])
    _bring(engineer, at - timedelta(days=13), [imports.Brought("readings.csv", wear.book())])
    story = TwoWeeks(people, at)
    story.last_week()
    story.this_week()
    story.on_the_mills()
    wear.last_days()
    Messes(people, at).replay()


def _file(path: Path) -> imports.Brought:
    return imports.Brought(path.name, path.read_bytes())


def _bring(by: Person, at: datetime, brought: Sequence[imports.Brought]) -> None:
    made = imports.bring(by=by, at=at, brought=brought, at_once=nobody_asks)
    if made.problems:
        raise CommandError(f"the demo's sheets have a problem: {made.problems[0]}")
    imports.apply(by=by, at=at, made=made, at_once=nobody_asks)


def _jobs(at: datetime) -> bytes:
    """The jobs' sheet with its days counted from today."""
    rows = list(csv.DictReader(io.StringIO(AHEAD.read_text(encoding="utf-8"))))
    today = at.date()
    for row in rows:
        day = today + timedelta(days=int(row.pop("Days from today")))
        row["Date"] = day.isoformat()
        before = int(row.pop("Gather days before"))
        row["Gather date"] = (day - timedelta(days=before)).isoformat()
        row["Gather time"] = "06:00"
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


class TwoWeeks(Orders, Wear):
    """The last two weeks in the life of the shop."""

    def last_week(self) -> None:
        """Set 1875 ran nine days ago with a recut entry pass: staged, on the mill, home again;
        one slip, undone."""
        self.recut_entry_pass(self.now - timedelta(days=13))
        day = self.now - timedelta(days=10)
        kit = self.kit("J-2038", day, cart="Cart 3", copy="B")
        self.stage(kit, day + timedelta(hours=2))
        on_mill = day + timedelta(days=1)
        self.mount(kit, on_mill)
        home = on_mill + timedelta(hours=12)
        slip = self.put(self.homes(kit)[:1], home)
        self.undo(slip, home + timedelta(minutes=1))
        self.put(self.homes(kit), home + timedelta(minutes=5))
        kits.close(by=self.people["crew"], at=home + timedelta(hours=1), kit=kit)
        self.ran_good(kit, home + timedelta(hours=2))
        self._refused_scan(home)

    def this_week(self) -> None:
        """One kit complete, one lacking a spacer, one with a worn pass, one in conflict."""
        day = self.now - timedelta(days=2)
        self._send_to_grinder(day)
        self._lose(day + timedelta(hours=1))
        self.stage(self.kit("J-2041", day, cart="Cart 2", copy="A"), day + timedelta(hours=3))
        self.kit("J-2042", day, cart="Cart 5", copy="A")
        self._measure_worn(day + timedelta(hours=4))
        self.kit("J-2043", day, cart="Cart 6", copy="A")
        panel = self.kit("J-2044", day, cart="Cart 1", copy="A")
        self.stage(panel, self.now - timedelta(hours=5), passes=HALF_STAGED_PASSES)
        for number in ("J-2045", "J-2047", "J-2048"):
            self.kit(number, day)

    def on_the_mills(self) -> None:
        """One set runs since yesterday; another is being mounted, a third of it is on."""
        day = self.now - timedelta(days=2)
        running = self.kit("J-2039", day, cart="Cart 3", copy="A")
        self.stage(running, day + timedelta(hours=2))
        self.coils(self.change_over(running, self.now - timedelta(hours=23)), ahead=2)
        coming = self.kit("J-2040", day, cart="Cart 4", copy="A")
        self.stage(coming, day + timedelta(hours=4))
        setup, then = self.begin(coming, self.now - timedelta(hours=3))
        self.mount_all(setup, then, stations=MOUNTED_SO_FAR)
        self.wait_for_release(self.now - timedelta(days=6))
        self.open_orders(self.now - timedelta(days=3))

    def _send_to_grinder(self, at: datetime) -> None:
        grinder = Place.objects.get(kind="grinder")
        pieces = [piece_named(*named) for named in AT_GRINDER]
        approvals.record_approval(
            by=self.people["engineer"], at=at - timedelta(days=1), owner=pieces[0].owner,
            kind=ApprovalKind.REGRIND, answer=Answer.GIVEN, pieces=pieces,
            dated_on=(at - timedelta(days=3)).date(), reference="mail of the tooling desk",
            answered_by="tooling desk",
        )  # fmt: skip
        self.scan([(piece.code, grinder.code) for piece in pieces], at)
        self.order_what_is_at_the_grinder(pieces, at + timedelta(minutes=30))

    def _lose(self, at: datetime) -> None:
        lost = Place.objects.get(kind="lost")
        self.scan([(piece_named(*LOST).code, lost.code)], at)

    def _measure_worn(self, at: datetime) -> None:
        """The engineer finds a root below its least allowed."""
        piece = piece_named(*WORN)
        least = piece.revision.least_root_diameter_nm or 0
        for dimension, value in (
            ("root_diameter", least - 50_800),
            ("outside_diameter", (piece.revision.outside_diameter_nm or 0) - 127_000),
        ):
            readings.record_reading(
                by=self.people["engineer"], at=at, piece=piece, dimension=dimension,
                value_nm=value, unit="in",
            )  # fmt: skip

    def _refused_scan(self, at: datetime) -> None:
        """A smudged label, read wrong and refused; it stays in the record of what happened."""
        place = Place.objects.get(name="Cart 3")
        wrong = ScanIn(id=uuid.uuid4(), happened_at=at, to=place.code, code="R00001AA")
        scans.record_batch(
            by=self.people["attendant"], at=at, device=self.device, device_now=at, scans=[wrong]
        )
