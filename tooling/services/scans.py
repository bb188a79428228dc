"""Scans become movements: a batch from a device, once, whatever the network did.

A batch is taken in the order it came. A scan that cannot be taken is kept with its reason; the
others stand. The same id sent again gives the same answer and changes nothing.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import Device, Movement, Person, RefusedScan
from tooling.permissions import Verb, check_can
from tooling.queries.prepared import Asked, Prepared, one_trip
from tooling.queries.scan_lookup import LabelsAsked, Lookup, ask_labels, look_up
from tooling.services import contradictions
from tooling.services.due_back import check_due
from tooling.services.movements import Stamp, lock_lookup
from tooling.services.one_commit import in_one_commit
from tooling.services.scan_acts import take_one
from tooling.services.scan_moves import ScanIn, Stamped, Taken, take_pieces
from tooling.services.seen_devices import DevicesAsked, ask_devices
from tooling.services.write import through_deadlocks, writing

TAKEN, REPEATED, REFUSED = "taken", "repeated", "refused"
LARGE_OFFSET = timedelta(minutes=2)
"""A device's clock further off than this is flagged on every row it sends."""

EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
REUSED = uuid.UUID("b7d1f7c0-0c4f-5b0e-9a56-2f6b0e1c9d11")


_TAKEN = Prepared(
    lambda ids: Movement.objects.filter(uuid__in=ids).values_list(
        "uuid", "content_hash", "to__code"
    )
)
_REFUSED = Prepared(
    lambda ids: RefusedScan.objects.filter(uuid__in=ids).values_list(
        "uuid", "content_hash", "error_code", "message"
    )
)


@dataclass(frozen=True)
class ScanResult:
    """The answer to one scan. ``code`` names the problem; ``place`` is the place's label code."""

    id: uuid.UUID
    status: str
    code: str = ""
    message: str = ""
    place: str | None = None


def record_batch(
    *, by: Person, at: datetime, device: str, device_now: datetime, scans: Sequence[ScanIn]
) -> list[ScanResult]:
    """Record a batch of scans in one transaction; one result per scan, in the same order.

    ``device`` is the device's own id; ``device_now`` its clock as it sent. Raises NotAllowed.
    """
    check_can(by, Verb.MOVE_PIECES)
    batch = _Batch(by, at, device, device_now, scans)
    return through_deadlocks(lambda: in_one_commit(_record_batches, batch, weight=len(scans)))


@dataclass(frozen=True)
class _Batch:
    by: Person
    at: datetime
    device: str
    device_now: datetime
    scans: Sequence[ScanIn]


class _Heard(NamedTuple):
    """A scan, who sent it, when it was heard and from which device."""

    scan: ScanIn
    by: Person
    at: datetime
    desk: Device


def _record_batches(batches: Sequence[_Batch]) -> list[list[ScanResult]]:
    """What several devices sent in the same moment, as if it had come in one batch: the same
    statements for one as for many. Inside a transaction that is open."""
    ids = {scan.id for batch in batches for scan in batch.scans}
    asked = _ask(batches, ids)
    desks = asked.devices.all()
    heard = [
        [_Heard(scan, batch.by, batch.at, desk) for scan in batch.scans]
        for batch, desk in zip(batches, desks, strict=True)
    ]
    first, later = _first_of_each_id([each for batch in heard for each in batch])
    answers = _earlier_answers(asked)
    fresh = [each for key, each in first.items() if key not in answers]
    answers |= _record(fresh, asked.labels)
    _keep_reused([*later, *first.values()], answers)
    new = {each.scan.id for each in fresh}
    return [
        [
            _answer(each.scan, answers[each.scan.id], first[each.scan.id] is each
                    and each.scan.id in new)
            for each in batch
        ]
        for batch in heard
    ]  # fmt: skip


@dataclass(frozen=True)
class _Asked:
    """What every batch wants to know first, under way."""

    devices: DevicesAsked
    taken: Asked
    refused: Asked
    labels: LabelsAsked


def _ask(batches: Sequence[_Batch], ids: Collection[uuid.UUID]) -> _Asked:
    """In one trip. The rows of the devices are held from here on; what was answered before is read
    behind that, so that the same batch sent at the same moment has been written by then."""
    scans = [scan for batch in batches for scan in batch.scans]
    with one_trip():
        return _Asked(
            ask_devices([(each.device, each.at, each.device_now) for each in batches]),
            _TAKEN.ask(ids),
            _REFUSED.ask(ids),
            ask_labels({scan.code for scan in scans}, {scan.to for scan in scans}),
        )


@dataclass(frozen=True)
class _Kept:
    """What stands for a scan's id: the hash of what was said, and the answer."""

    content_hash: str
    result: ScanResult


def stamp_of(*, scan: ScanIn, at: datetime, desk: Device) -> Stamp:
    """The scan's times: ``effective_at`` is corrected by the clock offset, never after ``at``.

    Raises ToolingError ``improbable_value`` for a time before the year 2000.
    """
    effective = _effective_at(scan, at, desk)
    if effective == EARLIEST:
        raise ToolingError(
            "improbable_value",
            _("The scan says it happened at {when}. Set the device's clock and scan again."),
            when=scan.happened_at.isoformat(timespec="minutes"),
        )
    return Stamp(
        happened_at=scan.happened_at,
        received_at=at,
        effective_at=effective,
        clock_offset_ms=desk.last_offset_ms,
        clock_is_off=abs(desk.last_offset_ms) > LARGE_OFFSET / timedelta(milliseconds=1),
        device=desk,
        device_sequence=scan.sequence,
    )


def _effective_at(scan: ScanIn, at: datetime, desk: Device) -> datetime:
    """Between EARLIEST and ``at``, whatever the device's clock says."""
    try:
        effective = scan.happened_at - timedelta(milliseconds=desk.last_offset_ms)
    except OverflowError:
        return EARLIEST
    return max(min(effective, at), EARLIEST)


def _first_of_each_id(
    heard: Iterable[_Heard],
) -> tuple[dict[uuid.UUID, _Heard], list[_Heard]]:
    first: dict[uuid.UUID, _Heard] = {}
    later = []
    for each in heard:
        if first.setdefault(each.scan.id, each) is not each:
            later.append(each)
    return first, later


def _earlier_answers(asked: _Asked) -> dict[uuid.UUID, _Kept]:
    answers = {}
    for key, content_hash, place in asked.taken.rows():
        answers[key] = _Kept(content_hash, ScanResult(key, TAKEN, place=place))
    for key, content_hash, code, message in asked.refused.rows():
        answers[key] = _Kept(content_hash, ScanResult(key, REFUSED, code, message))
    return answers


def _record(heard: Sequence[_Heard], asked: LabelsAsked) -> dict[uuid.UUID, _Kept]:
    """Take what can be taken, keep what cannot; the answers by id."""
    if not heard:
        return {}
    lookup = look_up([each.scan.code for each in heard], [each.scan.to for each in heard], asked)
    answers: dict[uuid.UUID, _Kept] = {}
    refused: list[RefusedScan] = []
    runs = _runs(heard, lookup)
    if len(runs) > 1:
        lock_lookup(lookup)
    for each, outcome in (pair for run in runs for pair in _outcomes(run, lookup)):
        scan = each.scan
        if isinstance(outcome, ToolingError):
            row = _refused(each, outcome, piece_id=lookup.pieces.get(fold(scan.code)))
            refused.append(row)
            result = ScanResult(scan.id, REFUSED, outcome.code, row.message)
        else:
            result = ScanResult(scan.id, TAKEN, "", outcome.message, outcome.place.code)
        answers[scan.id] = _Kept(scan.content_hash, result)
    if refused:
        kept = RefusedScan.objects.bulk_create(refused)
        contradictions.find_in_refused(
            at=max(each.at for each in heard), refused=kept, stock=lookup.stock
        )
    return answers


def _is_plain(scan: ScanIn, lookup: Lookup) -> bool:
    """One piece by its label: these go in bulk; all else one by one."""
    return scan.corrects is None and fold(scan.code) in lookup.pieces


def _runs(heard: Sequence[_Heard], lookup: Lookup) -> list[list[_Heard]]:
    """Stretches of plain scans as long as the batch allows; each other scan alone."""
    runs: list[list[_Heard]] = []
    last_plain = False
    for each in heard:
        plain = _is_plain(each.scan, lookup)
        if plain and last_plain:
            runs[-1].append(each)
        else:
            runs.append([each])
        last_plain = plain
    return runs


def _outcomes(run: Sequence[_Heard], lookup: Lookup) -> list[tuple[_Heard, Taken | ToolingError]]:
    outcomes: list[tuple[_Heard, Taken | ToolingError]] = []
    stamped: dict[uuid.UUID, tuple[_Heard, Stamp]] = {}
    for each in run:
        try:
            stamp = stamp_of(scan=each.scan, at=each.at, desk=each.desk)
            check_due(each.scan.due_on, at=stamp.effective_at)
            stamped[each.scan.id] = (each, stamp)
        except ToolingError as error:
            outcomes.append((each, error))
    if stamped and _is_plain(run[0].scan, lookup):
        plain = [Stamped(each.scan, stamp, each.by) for each, stamp in stamped.values()]
        taken = take_pieces(stamped=plain, lookup=lookup)
        return outcomes + [(stamped[scan.id][0], outcome) for scan, outcome in taken]
    for each, stamp in stamped.values():
        try:
            with writing():
                outcome = take_one(
                    by=each.by, at=each.at, scan=each.scan, stamp=stamp, lookup=lookup
                )
                outcomes.append((each, outcome))
        except ToolingError as error:
            outcomes.append((each, error))
    return outcomes


def refused_row(
    *, scan: ScanIn, error: ToolingError, by: Person, at: datetime, desk: Device,
    id: uuid.UUID | None = None, piece_id: int | None = None,
) -> RefusedScan:  # fmt: skip
    """A scan that could not be taken, kept with its reason; not yet saved."""
    piece, kit = error.values.get("piece_id"), error.values.get("kit_id")
    return RefusedScan(
        uuid=id or scan.id,
        scan=scan.id,
        device=desk,
        device_sequence=scan.sequence,
        happened_at=scan.happened_at,
        received_at=at,
        effective_at=_effective_at(scan, at, desk),
        code_read=scan.code[:60],
        to_read=scan.to[:60],
        how=scan.how,
        by=by,
        error_code=error.code,
        message=error.message[:600],
        content_hash=scan.content_hash,
        piece_id=piece if isinstance(piece, int) else piece_id,
        kit_id=kit if isinstance(kit, int) else None,
    )


def id_reused() -> Conflict:
    """The problem of an id that stood for something else before."""
    return Conflict(
        "id_reused",
        _("This scan's id was sent before with other content; the first stands. Nothing was "
          "changed. Scan again."),
    )  # fmt: skip


def _refused(
    each: _Heard, error: ToolingError, *, id: uuid.UUID | None = None, piece_id: int | None = None
) -> RefusedScan:
    return refused_row(
        scan=each.scan, error=error, by=each.by, at=each.at, desk=each.desk, id=id,
        piece_id=piece_id,
    )  # fmt: skip


def _keep_reused(heard: Iterable[_Heard], answers: Mapping[uuid.UUID, _Kept]) -> None:
    """Keep the scans whose id stood for something else, once each."""
    wrong = {}
    for each in heard:
        scan = each.scan
        if answers[scan.id].content_hash != scan.content_hash:
            key = uuid.uuid5(REUSED, f"{scan.id}{scan.content_hash}")
            wrong[key] = _refused(each, id_reused(), id=key)
    if not wrong:
        return
    there = set(RefusedScan.objects.filter(uuid__in=wrong).values_list("uuid", flat=True))
    RefusedScan.objects.bulk_create(row for key, row in wrong.items() if key not in there)


def _answer(scan: ScanIn, kept: _Kept, is_new: bool) -> ScanResult:
    if kept.content_hash != scan.content_hash:
        error = id_reused()
        return ScanResult(scan.id, REFUSED, error.code, error.message)
    if is_new or kept.result.status == REFUSED:
        return kept.result
    said = str(_("This scan was recorded before; nothing was changed."))
    return ScanResult(scan.id, REPEATED, "", said, kept.result.place)
