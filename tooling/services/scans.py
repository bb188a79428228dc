"""Scans become movements: a batch from a device, once, whatever the network did.

A batch is taken in the order it came. A scan that cannot be taken is kept with its reason; the
others stand. The same id sent again gives the same answer and changes nothing.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db import connection
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import Device, Movement, Person, RefusedScan
from tooling.permissions import Verb, check_can
from tooling.queries.prepared import Prepared, hot_cursor
from tooling.queries.scan_lookup import Lookup, look_up
from tooling.services import contradictions
from tooling.services.due_back import check_due
from tooling.services.movements import Stamp, lock_lookup
from tooling.services.one_commit import in_one_commit
from tooling.services.scan_acts import take_one
from tooling.services.scan_moves import ScanIn, Taken, take_pieces
from tooling.services.write import through_deadlocks, writing

TAKEN, REPEATED, REFUSED = "taken", "repeated", "refused"
LARGE_OFFSET = timedelta(minutes=2)
"""A device's clock further off than this is flagged on every row it sends."""

EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
DEVICES = uuid.UUID("0c1b7a54-58b0-5d1c-8a0e-7f1de9a0c2b4")
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

    def act() -> list[ScanResult]:
        return _record_batch(by=by, at=at, device=device, device_now=device_now, scans=scans)

    return through_deadlocks(lambda: in_one_commit(act, weight=len(scans)))


def _record_batch(
    *, by: Person, at: datetime, device: str, device_now: datetime, scans: Sequence[ScanIn]
) -> list[ScanResult]:
    """Inside a transaction that is open."""
    desk = known_device(device=device, at=at, device_now=device_now)
    first, later = _first_of_each_id(scans)
    answers = _earlier_answers(first.values())
    fresh = [scan for scan in first.values() if scan.id not in answers]
    answers |= _record(by=by, at=at, desk=desk, scans=fresh)
    _keep_reused(by=by, at=at, desk=desk, scans=later + list(first.values()), answers=answers)
    new = {scan.id for scan in fresh}
    return [_answer(scan, answers[scan.id], first[scan.id] is scan and scan.id in new)
            for scan in scans]  # fmt: skip


@dataclass(frozen=True)
class _Kept:
    """What stands for a scan's id: the hash of what was said, and the answer."""

    content_hash: str
    result: ScanResult


def known_device(*, device: str, at: datetime, device_now: datetime) -> Device:
    """The device, its row made on first sight, with how far its clock is off; the row is held from
    here on. Its name is not read."""
    try:
        key = uuid.UUID(device)
    except ValueError:
        key = uuid.uuid5(DEVICES, device)
    offset = round((device_now - at).total_seconds() * 1000)
    seen = {"last_offset_ms": offset, "last_seen_at": at}
    if not _saw_again(key, offset, at):
        name = "" if str(key) == device.lower() else device[:80]
        return Device.objects.get_or_create(pk=key, defaults={**seen, "name": name})[0]
    return Device(pk=key, **seen)


def _saw_again(key: uuid.UUID, offset_ms: int, at: datetime) -> bool:
    """Whether the device was known. The ORM would spend more on this than the database does."""
    native = connection.features.has_native_uuid_field
    with hot_cursor(connection) as cursor:
        cursor.execute(
            "UPDATE tooling_device SET last_offset_ms = %s, last_seen_at = %s WHERE id = %s",
            [
                offset_ms,
                connection.ops.adapt_datetimefield_value(at),
                key if native else key.hex,
            ],
        )
        return bool(cursor.rowcount)


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
    scans: Sequence[ScanIn],
) -> tuple[dict[uuid.UUID, ScanIn], list[ScanIn]]:
    first: dict[uuid.UUID, ScanIn] = {}
    later = []
    for scan in scans:
        if first.setdefault(scan.id, scan) is not scan:
            later.append(scan)
    return first, later


def _earlier_answers(scans: Iterable[ScanIn]) -> dict[uuid.UUID, _Kept]:
    ids = [scan.id for scan in scans]
    answers = {}
    for key, content_hash, place in _TAKEN(ids):
        answers[key] = _Kept(content_hash, ScanResult(key, TAKEN, place=place))
    if len(answers) == len(ids):
        return answers
    for key, content_hash, code, message in _REFUSED(ids):
        answers[key] = _Kept(content_hash, ScanResult(key, REFUSED, code, message))
    return answers


def _record(
    *, by: Person, at: datetime, desk: Device, scans: Sequence[ScanIn]
) -> dict[uuid.UUID, _Kept]:
    """Take what can be taken, keep what cannot; the answers by id."""
    if not scans:
        return {}
    lookup = look_up([scan.code for scan in scans], [scan.to for scan in scans])
    answers: dict[uuid.UUID, _Kept] = {}
    refused: list[RefusedScan] = []
    runs = _runs(scans, lookup)
    if len(runs) > 1:
        lock_lookup(lookup)
    for run in runs:
        for scan, outcome in _outcomes(by=by, at=at, desk=desk, run=run, lookup=lookup):
            if isinstance(outcome, ToolingError):
                piece_id = lookup.pieces.get(fold(scan.code))
                row = refused_row(
                    scan=scan, error=outcome, by=by, at=at, desk=desk, piece_id=piece_id
                )
                refused.append(row)
                result = ScanResult(scan.id, REFUSED, outcome.code, row.message)
            else:
                result = ScanResult(scan.id, TAKEN, "", outcome.message, outcome.place.code)
            answers[scan.id] = _Kept(scan.content_hash, result)
    if refused:
        kept = RefusedScan.objects.bulk_create(refused)
        contradictions.find_in_refused(at=at, refused=kept, stock=lookup.stock)
    return answers


def _is_plain(scan: ScanIn, lookup: Lookup) -> bool:
    """One piece by its label: these go in bulk; all else one by one."""
    return scan.corrects is None and fold(scan.code) in lookup.pieces


def _runs(scans: Sequence[ScanIn], lookup: Lookup) -> list[list[ScanIn]]:
    """Stretches of plain scans as long as the batch allows; each other scan alone."""
    runs: list[list[ScanIn]] = []
    last_plain = False
    for scan in scans:
        plain = _is_plain(scan, lookup)
        if plain and last_plain:
            runs[-1].append(scan)
        else:
            runs.append([scan])
        last_plain = plain
    return runs


def _outcomes(
    *, by: Person, at: datetime, desk: Device, run: Sequence[ScanIn], lookup: Lookup
) -> list[tuple[ScanIn, Taken | ToolingError]]:
    outcomes: list[tuple[ScanIn, Taken | ToolingError]] = []
    stamped = []
    for scan in run:
        try:
            stamp = stamp_of(scan=scan, at=at, desk=desk)
            check_due(scan.due_on, at=stamp.effective_at)
            stamped.append((scan, stamp))
        except ToolingError as error:
            outcomes.append((scan, error))
    if stamped and _is_plain(run[0], lookup):
        return outcomes + take_pieces(by=by, at=at, stamped=stamped, lookup=lookup)
    for scan, stamp in stamped:
        try:
            with writing():
                outcomes.append((scan, take_one(by=by, at=at, scan=scan, stamp=stamp,
                                                lookup=lookup)))  # fmt: skip
        except ToolingError as error:
            outcomes.append((scan, error))
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


def _keep_reused(
    *, by: Person, at: datetime, desk: Device, scans: Iterable[ScanIn],
    answers: dict[uuid.UUID, _Kept],
) -> None:  # fmt: skip
    """Keep the scans whose id stood for something else, once each."""
    wrong = {}
    for scan in scans:
        if answers[scan.id].content_hash != scan.content_hash:
            key = uuid.uuid5(REUSED, f"{scan.id}{scan.content_hash}")
            wrong[key] = refused_row(scan=scan, error=id_reused(), by=by, at=at, desk=desk, id=key)
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
