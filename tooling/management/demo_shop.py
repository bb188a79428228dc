"""Fills an empty shop with the demo: its spreadsheets through the import, then two weeks of
history replayed through the services, so that everything in it came about as in a real shop."""

from __future__ import annotations

import csv
import io
import uuid
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from django.core.management.base import CommandError

from tooling.models import (
    Answer,
    ApprovalKind,
    Job,
    Kit,
    KitPosition,
    Person,
    Piece,
    Place,
    SetCopy,
    Shop,
    Station,
    StockLine,
)
from tooling.queries.kits import page_of, read_kit
from tooling.services import approvals, imports, kit_assembly, kits, readings, scans, stock
from tooling.services.importing.run import nobody_asks
from tooling.services.scan_moves import ScanIn

SHEETS = Path(__file__).resolve().parent.parent.parent / "fixtures" / "demo"
AHEAD = SHEETS / "ahead" / "jobs.csv"
WORN = ("2260-09-B3", "A")
LOST = ("2260-04-T2", "B")
AT_GRINDER = (("1472-12-T2", "B"), ("1472-12-B2", "B"))
HALF_STAGED_PASSES = 10


def fill(people: dict[str, Person], *, at: datetime) -> None:
    """Bring the sheets in as they were two weeks ago and replay what has happened since."""
    began = at - timedelta(days=14)
    engineer = people["engineer"]
    Shop.objects.filter(pk=1).update(name="Brackenforge Roll Forming")
    files = [imports.Brought(path.name, path.read_bytes()) for path in sorted(SHEETS.glob("*.csv"))]
    _bring(engineer, began, files)
    _bring(engineer, began, [imports.Brought("jobs.csv", _jobs(at))])
    story = _Story(people, at)
    story.first_round()
    story.last_week()
    story.this_week()


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


class _Story:
    """Two weeks in the life of the shop."""

    def __init__(self, people: dict[str, Person], at: datetime) -> None:
        self.people, self.now = people, at
        self.device = str(uuid.uuid5(uuid.NAMESPACE_URL, "rollroom demo, toolroom phone"))

    def first_round(self) -> None:
        """Two attendants scan everything where it lies, so that all has been seen."""
        pieces = Piece.objects.exclude(place__kind="unknown").select_related("place")
        pairs = [(piece.code, piece.place.code) for piece in pieces.order_by("place_id", "code")]
        for start in range(0, len(pairs), 100):
            self._scan(pairs[start : start + 100], self.now - timedelta(days=13))

    def last_week(self) -> None:
        """Set 1875 ran nine days ago: staged, on the mill, home again; one slip, undone."""
        day = self.now - timedelta(days=10)
        kit = self._kit("J-2038", day, cart="Cart 3", copy="B")
        self._stage(kit, day + timedelta(hours=2))
        on_mill = day + timedelta(days=1)
        self._mount(kit, on_mill)
        home = on_mill + timedelta(hours=12)
        slip = self._put(self._homes(kit)[:1], home)
        self._undo(slip, home + timedelta(minutes=1))
        self._put(self._homes(kit), home + timedelta(minutes=5))
        kits.close(by=self.people["crew"], at=home + timedelta(hours=1), kit=kit)
        self._refused_scan(home)

    def this_week(self) -> None:
        """One kit complete, one lacking a spacer, one with a worn pass, one in conflict."""
        day = self.now - timedelta(days=2)
        self._send_to_grinder(day)
        self._lose(day + timedelta(hours=1))
        self._stage(self._kit("J-2041", day, cart="Cart 2", copy="A"), day + timedelta(hours=3))
        self._kit("J-2042", day, cart="Cart 5", copy="A")
        self._measure_worn(day + timedelta(hours=4))
        self._kit("J-2043", day, cart="Cart 6", copy="A")
        panel = self._kit("J-2044", day, cart="Cart 1", copy="A")
        self._stage(panel, self.now - timedelta(hours=5), passes=HALF_STAGED_PASSES)
        for number in ("J-2045", "J-2047", "J-2048"):
            self._kit(number, day)

    def _kit(self, number: str, at: datetime, *, cart: str = "", copy: str = "") -> Kit:
        by = self.people["crew"]
        kit = kits.open_kit(by=self.people["engineer"], at=at, job=Job.objects.get(number=number))
        if cart:
            place = Place.objects.get(name=cart)
            kits.set_gathering_place(by=by, at=at, kit=kit, place=place)
        letter = SetCopy.objects.filter(tool_set=kit.job.tool_set, letter=copy).first()
        kit_assembly.assemble(by=by, at=at, kit=kit, copy=letter)
        return Kit.objects.get(pk=kit.pk)

    def _stage(self, kit: Kit, at: datetime, *, passes: int | None = None) -> None:
        """Everything to the kit's cart: pieces by scan, pooled spacers by count."""
        rows = KitPosition.objects.filter(kit=kit).select_related("piece")
        if passes is not None:
            rows = rows.filter(pass_number__lte=passes)
        assert kit.place is not None
        codes = [row.piece.code for row in rows if row.piece is not None]
        self._scan([(code, kit.place.code) for code in codes], at)
        page = page_of(read_kit(kit.number, at=at, is_fetching=True))
        counts = Counter(
            view.stock
            for view in page.positions
            if view.stock and not view.is_staged and (passes is None or view.pass_number <= passes)
        )
        for code, quantity in counts.items():
            stock.move(
                by=self.people["attendant"], at=at, line=StockLine.objects.get(code=code),
                quantity=quantity, to=kit.place, kit=kit,
            )  # fmt: skip

    def _mount(self, kit: Kit, at: datetime) -> None:
        stations = {
            station.number: station.code for station in Station.objects.filter(mill=kit.job.mill)
        }
        rows = KitPosition.objects.filter(kit=kit, piece__isnull=False).select_related("piece")
        self._scan(
            [(row.piece.code, stations[row.station_number]) for row in rows if row.piece],
            at,
            who="crew",
        )

    def _homes(self, kit: Kit) -> list[tuple[str, str]]:
        """Each piece with the shelf that the import gave it."""
        rows = KitPosition.objects.filter(kit=kit, piece__isnull=False).select_related("piece")
        found = []
        for row in rows:
            assert row.piece is not None
            first = row.piece.movements.order_by("id").select_related("to").first()
            if first is not None and first.to is not None:
                found.append((row.piece.code, first.to.code))
        return found

    def _put(self, pairs: Iterable[tuple[str, str]], at: datetime) -> list[ScanIn]:
        return self._scan(list(pairs), at)

    def _undo(self, wrong: list[ScanIn], at: datetime) -> None:
        undone = [
            ScanIn(id=uuid.uuid4(), happened_at=at, to="", code=scan.code, how="tick",
                   corrects=scan.id)
            for scan in wrong
        ]  # fmt: skip
        self._record(undone, at, "attendant")

    def _refused_scan(self, at: datetime) -> None:
        """A smudged label, read wrong and refused; it stays in the record of what happened."""
        place = Place.objects.get(name="Cart 3")
        wrong = ScanIn(id=uuid.uuid4(), happened_at=at, to=place.code, code="R00001AA")
        scans.record_batch(
            by=self.people["attendant"], at=at, device=self.device, device_now=at, scans=[wrong]
        )

    def _scan(
        self, pairs: list[tuple[str, str]], at: datetime, *, who: str = "attendant"
    ) -> list[ScanIn]:
        """One scan every few seconds, sent in batches as a phone would."""
        batch = [
            ScanIn(id=uuid.uuid4(), happened_at=at + timedelta(seconds=4 * n), to=to, code=code)
            for n, (code, to) in enumerate(pairs)
        ]
        received = at + timedelta(seconds=4 * len(batch))
        self._record(batch, min(received, self.now), who)
        return batch

    def _record(self, batch: list[ScanIn], at: datetime, who: str) -> None:
        results = scans.record_batch(
            by=self.people[who], at=at, device=self.device, device_now=at, scans=batch
        )
        for result in results:
            if result.status == "refused":
                raise CommandError(f"the demo's history was refused: {result.message}")

    def _send_to_grinder(self, at: datetime) -> None:
        grinder = Place.objects.get(kind="grinder")
        pieces = [_piece(*named) for named in AT_GRINDER]
        approvals.record_approval(
            by=self.people["engineer"], at=at - timedelta(days=1), owner=pieces[0].owner,
            kind=ApprovalKind.REGRIND, answer=Answer.GIVEN, pieces=pieces,
            dated_on=(at - timedelta(days=3)).date(), reference="mail of the tooling desk",
            answered_by="tooling desk",
        )  # fmt: skip
        self._scan([(piece.code, grinder.code) for piece in pieces], at)

    def _lose(self, at: datetime) -> None:
        lost = Place.objects.get(kind="lost")
        self._scan([(_piece(*LOST).code, lost.code)], at)

    def _measure_worn(self, at: datetime) -> None:
        """The engineer finds a root below its least allowed."""
        piece = _piece(*WORN)
        least = piece.revision.least_root_diameter_nm or 0
        for dimension, value in (
            ("root_diameter", least - 50_800),
            ("outside_diameter", (piece.revision.outside_diameter_nm or 0) - 127_000),
        ):
            readings.record_reading(
                by=self.people["engineer"], at=at, piece=piece, dimension=dimension,
                value_nm=value, unit="in",
            )  # fmt: skip


def _piece(mark: str, letter: str) -> Piece:
    found = Piece.objects.select_related("revision").filter(mark=mark, copy_letter=letter).first()
    if found is None:
        raise CommandError(f"the demo's sheets have no piece {mark} of copy {letter}")
    return found
