"""What somebody does in the demo's story: scans, stages, mounts, takes home, through the
services, so that everything came about as in a real shop."""

from __future__ import annotations

import contextlib
import uuid
from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.core.management.base import CommandError

from tooling.errors import Conflict
from tooling.models import (
    Job,
    Kit,
    KitPosition,
    Person,
    Piece,
    Place,
    SetCopy,
    Station,
    StockLine,
)
from tooling.queries.kits import page_of, read_kit
from tooling.services import kit_assembly, kits, scans, stock, stock_home
from tooling.services.scan_moves import ScanIn


class Story:
    """The shop's people and what they can do; ``now`` is when the demo is drawn up."""

    def __init__(self, people: dict[str, Person], at: datetime) -> None:
        self.people, self.now = people, at
        self.device = str(uuid.uuid5(uuid.NAMESPACE_URL, "rollroom demo, toolroom phone"))

    def kit(self, number: str, at: datetime, *, cart: str = "", copy: str = "") -> Kit:
        by = self.people["crew"]
        kit = kits.open_kit(by=self.people["engineer"], at=at, job=Job.objects.get(number=number))
        if cart:
            place = Place.objects.get(name=cart)
            kits.set_gathering_place(by=by, at=at, kit=kit, place=place)
        letter = SetCopy.objects.filter(tool_set=kit.job.tool_set, letter=copy).first()
        kit_assembly.assemble(by=by, at=at, kit=kit, copy=letter)
        return Kit.objects.get(pk=kit.pk)

    def stage(self, kit: Kit, at: datetime, *, passes: int | None = None) -> None:
        """Everything to the kit's cart: pieces by scan, pooled spacers by count."""
        rows = KitPosition.objects.filter(kit=kit).select_related("piece")
        if passes is not None:
            rows = rows.filter(pass_number__lte=passes)
        assert kit.place is not None
        codes = [row.piece.code for row in rows if row.piece is not None]
        self.scan([(code, kit.place.code) for code in codes], at)
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

    def mount(self, kit: Kit, at: datetime) -> None:
        stations = {
            station.number: station.code for station in Station.objects.filter(mill=kit.job.mill)
        }
        rows = KitPosition.objects.filter(kit=kit, piece__isnull=False).select_related("piece")
        self.scan(
            [(row.piece.code, stations[row.station_number]) for row in rows if row.piece],
            at,
            who="crew",
        )

    def homes(self, kit: Kit) -> list[tuple[str, str]]:
        """Each piece with the shelf that the import gave it."""
        rows = KitPosition.objects.filter(kit=kit, piece__isnull=False).select_related("piece")
        found = []
        for row in rows:
            assert row.piece is not None
            first = row.piece.movements.order_by("id").select_related("to").first()
            if first is not None and first.to is not None:
                found.append((row.piece.code, first.to.code))
        return found

    def put(self, pairs: Iterable[tuple[str, str]], at: datetime) -> list[ScanIn]:
        return self.scan(list(pairs), at)

    def undo(self, wrong: list[ScanIn], at: datetime) -> None:
        undone = [
            ScanIn(id=uuid.uuid4(), happened_at=at, to="", code=scan.code, how="tick",
                   corrects=scan.id)
            for scan in wrong
        ]  # fmt: skip
        self.record(undone, at, "attendant")

    def run(self, number: str, day: datetime, *, cart: str, copy: str, short: str = "") -> Kit:
        """A job from the racks to the mill and home again; ``day`` is when it is gathered, and
        ``short`` why it ran without all of its kit."""
        kit = self.kit(number, day, cart=cart, copy=copy)
        self.stage(kit, day + timedelta(hours=2))
        self.mount(kit, day + timedelta(days=1))
        home = day + timedelta(days=2)
        self.put(self.homes(kit), home)
        kits.close(by=self.people["crew"], at=home + timedelta(hours=1), kit=kit, reason=short)
        assert kit.place is not None
        with contextlib.suppress(Conflict):
            stock_home.put_counts_back(
                by=self.people["attendant"], at=home + timedelta(hours=2), source=kit.place
            )
        return kit

    def scan(
        self, pairs: list[tuple[str, str]], at: datetime, *, who: str = "attendant"
    ) -> list[ScanIn]:
        """One scan every few seconds, sent in batches as a phone would."""
        batch = self.scans_of(pairs, at)
        received = at + timedelta(seconds=4 * len(batch))
        self.record(batch, min(received, self.now), who)
        return batch

    def scans_of(self, pairs: list[tuple[str, str]], at: datetime) -> list[ScanIn]:
        return [
            ScanIn(id=uuid.uuid4(), happened_at=at + timedelta(seconds=4 * n), to=to, code=code)
            for n, (code, to) in enumerate(pairs)
        ]

    def record(self, batch: list[ScanIn], at: datetime, who: str) -> None:
        results = scans.record_batch(
            by=self.people[who], at=at, device=self.device, device_now=at, scans=batch
        )
        for result in results:
            if result.status == "refused":
                raise CommandError(f"the demo's history was refused: {result.message}")


def piece_named(mark: str, letter: str) -> Piece:
    found = Piece.objects.select_related("revision").filter(mark=mark, copy_letter=letter).first()
    if found is None:
        raise CommandError(f"the demo's sheets have no piece {mark} of copy {letter}")
    return found
