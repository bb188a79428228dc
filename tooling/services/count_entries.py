"""What is counted: by scan, by tick, a whole row of pegs at once; each mark can be taken back.

A device sends entries as it sends scans: in batches, once by their ids, in the order they were
made. What cannot be taken is kept with its reason; the others stand.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from datetime import datetime

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext as _number

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Count, CountEntry, Device, How, Person, Piece, Place, RefusedScan
from tooling.permissions import Verb, check_can
from tooling.queries.count_groups import rows_of
from tooling.queries.count_state import state_of
from tooling.queries.count_views import Outcome
from tooling.queries.scan_lookup import Lookup, look_up
from tooling.services.corrections import undo
from tooling.services.count_acts import take
from tooling.services.count_marks import Mark, Said
from tooling.services.counts import bump, check_open, hold, see_anew
from tooling.services.movements import Stamp
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import (
    REFUSED,
    REPEATED,
    REUSED,
    TAKEN,
    ScanResult,
    id_reused,
    refused_row,
    stamp_of,
)
from tooling.services.seen_devices import known_device
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing


def record_batch(
    *,
    by: Person,
    at: datetime,
    count: Count,
    device: str,
    device_now: datetime,
    scans: Sequence[ScanIn],
) -> list[ScanResult]:
    """Count what a device saw, in one transaction; one result per scan, in the same order.

    ``to`` is where it was seen; empty or the count's own number: where the record has it.
    ``quantity`` is how many are in a bin, ``corrects`` takes an earlier entry back. A piece that
    was counted already is *repeated*: it counts once. Refusals: ``count_closed``,
    ``not_in_count``, ``how_many``, ``not_this_owner``, ``not_of_this_copy``, ``bin_elsewhere``,
    ``no_place``, ``not_a_piece``, and what ``Lookup`` and a move of the piece may raise.
    Raises NotAllowed.
    """
    check_can(by, Verb.TAKE_COUNTS)
    with writing():
        desk = known_device(device=device, at=at, device_now=device_now)
        lock(device=desk, counts=[count.pk])
        count = _fresh(count)
        batch = _Batch(by=by, at=at, desk=desk, count=count, scans=scans)
        results = [batch.answer(scan) for scan in scans]
        if batch.has_taken:
            bump(count)
    return results


def tick_row(*, by: Person, at: datetime, count: Count, place: Place) -> list[CountEntry]:
    """All pieces that are still missing at one place, as the count's page lists them, are here.

    Raises NotAllowed, ``count_closed``, Conflict ``nothing_to_count``.
    """
    check_can(by, Verb.TAKE_COUNTS)
    with writing():
        count = hold(count)
        state = state_of(count)
        here = [row for row in rows_of(state, place.pk) if row.outcome == Outcome.MISSING]
        if not here:
            raise Conflict(
                "nothing_to_count",
                _("Nothing is missing at {place}; somebody has counted it. Load the page again."),
                place=place.path_name or place.name,
            )  # fmt: skip
        made = CountEntry.objects.bulk_create(
            CountEntry(
                count=count, piece_id=row.piece_id, place_id=row.place_id, how=How.TICK,
                happened_at=at, at=at, by=by,
            )
            for row in here
        )  # fmt: skip
        ids = [row.piece_id for row in here]
        Piece.objects.filter(pk__in=ids).update(seen_at=at)
        touch_kits_of(pieces=ids)
        bump(count)
    return made


def take_back(*, by: Person, at: datetime, count: Count, entries: Iterable[uuid.UUID]) -> int:
    """Take marks back, with the movements they made; how many.

    Raises NotAllowed, ``count_closed``, Unknown ``unknown_entry``, Conflict ``already_corrected``.
    """
    check_can(by, Verb.TAKE_COUNTS)
    with writing():
        count = hold(count)
        wanted = list(entries)
        for key in wanted:
            _take_one_back(by=by, at=at, count=count, key=key, id=uuid.uuid4(), how=How.TICK,
                           happened_at=at)  # fmt: skip
        bump(count)
    return len(wanted)


def _fresh(count: Count) -> Count:
    return Count.objects.select_related("place", "set_copy__tool_set", "owner").get(pk=count.pk)


def _take_one_back(
    *,
    by: Person,
    at: datetime,
    count: Count,
    key: uuid.UUID,
    id: uuid.UUID,
    how: str,
    happened_at: datetime,
    device: Device | None = None,
) -> CountEntry:
    rows = CountEntry.objects.select_related("movement", "piece", "stock_line__drawing", "place")
    wrong = rows.filter(count=count, uuid=key, is_taken_back=False).first()
    if wrong is None:
        raise Unknown(
            "unknown_entry",
            _("Count {count} has no such mark. Look at the page again."),
            count=count.number,
        )
    if CountEntry.objects.filter(corrects=wrong).exists():
        raise Conflict(
            "already_corrected",
            _("That mark was taken back already. Count it again if it is here."),
        )
    CountEntry.objects.create(
        uuid=id, count=count, piece=wrong.piece, stock_line=wrong.stock_line, place=wrong.place,
        quantity=wrong.quantity, how=how, is_taken_back=True, corrects=wrong, device=device,
        happened_at=happened_at, at=at, by=by,
    )  # fmt: skip
    movement = wrong.movement
    if movement is not None and not hasattr(movement, "corrected_by"):
        undo(by=by, at=at, movement=movement, how=How.COUNT)
    see_anew([wrong.piece_id])
    return wrong


class _Batch:
    """The scans of one device, answered one after the other."""

    def __init__(
        self, *, by: Person, at: datetime, desk: Device, count: Count, scans: Sequence[ScanIn]
    ) -> None:
        self.by, self.at, self.desk, self.count = by, at, desk, count
        self.has_taken = False
        ids = [scan.id for scan in scans]
        made = CountEntry.objects.filter(uuid__in=ids).select_related("corrects")
        self.made = {entry.uuid: entry for entry in made}
        refused = RefusedScan.objects.filter(uuid__in=ids)
        self.refused = {row.uuid: row for row in refused}
        self.lookup: Lookup = look_up(
            [scan.code for scan in scans if not scan.corrects],
            [scan.to for scan in scans if not self.is_anywhere(scan.to)],
        )

    def is_anywhere(self, to: str) -> bool:
        """No place was said: where the record has it."""
        return to.strip() in ("", str(self.count.number))

    def answer(self, scan: ScanIn) -> ScanResult:
        if scan.id in self.made or scan.id in self.refused:
            return self._again(scan)
        try:
            with writing():
                said = self._take(scan)
        except ToolingError as error:
            return self._refuse(scan, error)
        return said

    def _take(self, scan: ScanIn) -> ScanResult:
        check_open(self.count)
        stamp = stamp_of(scan=scan, at=self.at, desk=self.desk)
        if scan.corrects is not None:
            return self._take_back(scan, stamp)
        place = None if self.is_anywhere(scan.to) else self.lookup.target(scan.to).place
        mark = Mark(self.count, scan, stamp, self.by, self.at, place)
        said: Said = take(mark, self.lookup)
        if said.entry is None:
            return ScanResult(scan.id, REPEATED, "", said.message, said.place)
        self.made[scan.id] = said.entry
        self.has_taken = True
        return ScanResult(scan.id, TAKEN, said.hint, said.message, said.place)

    def _take_back(self, scan: ScanIn, stamp: Stamp) -> ScanResult:
        assert scan.corrects is not None
        wrong = _take_one_back(
            by=self.by, at=self.at, count=self.count, key=scan.corrects, id=scan.id, how=scan.how,
            happened_at=stamp.effective_at, device=self.desk,
        )  # fmt: skip
        self.has_taken = True
        self.made[scan.id] = CountEntry.objects.select_related("corrects").get(uuid=scan.id)
        what = str(wrong.piece or (wrong.stock_line and wrong.stock_line.code))
        said = _now("Taken back: {what} does not count as seen.").format(what=what)
        return ScanResult(scan.id, TAKEN, "", said, wrong.place.code if wrong.place else None)

    def _again(self, scan: ScanIn) -> ScanResult:
        """The same id once more: the first answer stands, unless something else was said."""
        entry, row = self.made.get(scan.id), self.refused.get(scan.id)
        if row is not None:
            if row.content_hash == scan.content_hash:
                return ScanResult(scan.id, REFUSED, row.error_code, row.message)
            return self._refuse_reused(scan)
        if entry is None or not self._is_same(entry, scan):
            return self._refuse_reused(scan)
        said = _now("This was counted before; nothing was changed.")
        return ScanResult(scan.id, REPEATED, "", said, None)

    def _is_same(self, entry: CountEntry, scan: ScanIn) -> bool:
        if entry.count_id != self.count.pk:
            return False
        if scan.corrects is not None or entry.corrects is not None:
            return entry.corrects is not None and entry.corrects.uuid == scan.corrects
        if entry.stock_line_id is not None:
            line = self.lookup.stock.get(fold(scan.code))
            return line is not None and (line.pk, scan.quantity) == (
                entry.stock_line_id, entry.quantity,
            )  # fmt: skip
        named = {self.lookup.pieces.get(fold(scan.code))}
        named |= set(self.lookup.marks.get(scan.code.strip().upper(), []))
        return entry.piece_id in named

    def _refuse_reused(self, scan: ScanIn) -> ScanResult:
        key = uuid.uuid5(REUSED, f"{scan.id}{scan.content_hash}")
        if RefusedScan.objects.filter(uuid=key).exists():
            error = id_reused()
            return ScanResult(scan.id, REFUSED, error.code, error.message)
        return self._refuse(scan, id_reused(), key)

    def _refuse(
        self, scan: ScanIn, error: ToolingError, key: uuid.UUID | None = None
    ) -> ScanResult:
        row = refused_row(
            scan=scan, error=error, by=self.by, at=self.at, desk=self.desk, id=key,
            piece_id=self.lookup.pieces.get(fold(scan.code)),
        )  # fmt: skip
        row.save(force_insert=True)
        if key is None:
            self.refused[scan.id] = row
        return ScanResult(scan.id, REFUSED, error.code, row.message)


def said_of_row(entries: Sequence[CountEntry], place: Place) -> str:
    """What was just ticked, for the page."""
    n = len(entries)
    said = _number("{n} piece at {place} is counted.", "All {n} at {place} are counted.", n)
    return said.format(n=n, place=place.name)
