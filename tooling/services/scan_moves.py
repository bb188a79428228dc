"""Single pieces by their labels: the same few statements for one scan as for a thousand."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property
from typing import NamedTuple

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import (
    How,
    Person,
    Place,
)
from tooling.queries.homes import Home, homes_of_pieces
from tooling.queries.prepared import one_trip
from tooling.queries.scan_lookup import Lookup, Target
from tooling.services import contradictions, staging
from tooling.services.due_back import USUAL, Departure, DueOn, Usual, note_departures
from tooling.services.guided import home_target
from tooling.services.movements import (
    PieceNow,
    PieceRow,
    Stamp,
    add_piece_rows,
    ask_pieces,
    check_place_is_used,
    lock_pieces,
    piece_row,
    pieces_now,
)


@dataclass(frozen=True)
class ScanIn:
    """What a device says: this was put there, then. ``quantity`` is for stock bins only.

    ``due_on``: when it is due back from a place away, else as usual. ``only_home``: take it only
    where it belongs.
    """

    id: uuid.UUID
    happened_at: datetime
    to: str
    code: str
    how: str = How.SCAN
    corrects: uuid.UUID | None = None
    sequence: int | None = None
    quantity: int | None = None
    due_on: DueOn = USUAL
    only_home: bool = False

    @cached_property
    def content_hash(self) -> str:
        """Of all that was said, to tell a repeat from a change."""
        when = self.happened_at.astimezone(UTC).isoformat()
        said = [self.code, self.to, self.how, when, str(self.corrects), str(self.quantity)]
        if not isinstance(self.due_on, Usual):
            said.append(str(self.due_on))
        return hashlib.sha256("\x1f".join(said).encode()).hexdigest()


@dataclass(frozen=True)
class Taken:
    """What became of a scan: a sentence, and the place where the thing now is."""

    message: str
    place: Place


class Stamped(NamedTuple):
    """A scan with its times and device, and who scanned."""

    scan: ScanIn
    stamp: Stamp
    by: Person


Outcome = tuple[ScanIn, Taken | ToolingError]


def take_pieces(*, stamped: Sequence[Stamped], lookup: Lookup) -> list[Outcome]:
    """Move single pieces in the order scanned; those that may not are answered with the reason."""
    outcomes: list[Outcome] = []
    aimed: list[Aimed] = []
    for scan, stamp, by in stamped:
        try:
            target = aim(scan, lookup)
            aimed.append(Aimed(scan, stamp, by, target, lookup.piece_of(scan.code)))
        except ToolingError as error:
            outcomes.append((scan, error))
    aimed = _steered(aimed, outcomes)
    ids = {each.piece_id for each in aimed}
    if not ids:
        return outcomes
    places = {each.target.place.pk: each.target.place for each in aimed}.values()
    with one_trip():
        lock_pieces(piece_ids=ids, places=places)
        asked, before = ask_pieces(ids), staging.ask_before(places)
    now = asked.by_id()
    for wave in _waves(aimed):
        outcomes += take_wave(wave=wave, now=now, asked=before)
    return outcomes


@dataclass(frozen=True)
class Aimed:
    """A scan whose piece and place are known."""

    scan: ScanIn
    stamp: Stamp
    by: Person
    target: Target
    piece_id: int


def _steered(aimed: Sequence[Aimed], outcomes: list[Outcome]) -> list[Aimed]:
    """Of a guided put-away each piece to its home; what is at the wrong place is answered."""
    guided = {each.piece_id for each in aimed if each.scan.only_home}
    if not guided:
        return list(aimed)
    homes, names = homes_of_pieces(guided), names_of(guided)
    steered = []
    for each in aimed:
        try:
            steered.append(steer(each, homes.get(each.piece_id), names.get(each.piece_id, "")))
        except ToolingError as error:
            outcomes.append((each.scan, error))
    return steered


def steer(each: Aimed, home: Home | None, name: str) -> Aimed:
    """The same, to its home where the scan asks for that. Raises ``wrong_home``."""
    if not each.scan.only_home:
        return each
    target = home_target(target=each.target, home=home, what=name, piece_id=each.piece_id)
    return replace(each, target=target)


def names_of(ids: Collection[int]) -> dict[int, str]:
    """Piece id → its code and mark."""
    return {pk: piece.name for pk, piece in pieces_now(pk__in=ids).items()}


def aim(scan: ScanIn, lookup: Lookup) -> Target:
    """Where the scan puts things. Raises ``no_place``, ``place_not_used`` and what
    ``Lookup.target`` raises."""
    if not scan.to.strip():
        raise ToolingError(
            "no_place",
            _("No place was given for {label}. Scan the place first, then the piece."),
            label=scan.code,
        )
    target = lookup.target(scan.to)
    check_place_is_used(target.place)
    return target


def _waves(aimed: Sequence[Aimed]) -> list[list[Aimed]]:
    """The n-th scan of each piece goes into the n-th wave: no wave has a piece twice."""
    times: dict[int, int] = {}
    waves: list[list[Aimed]] = []
    for each in aimed:
        turn = times.get(each.piece_id, 0)
        times[each.piece_id] = turn + 1
        if turn == len(waves):
            waves.append([])
        waves[turn].append(each)
    return waves


def take_wave(
    *, wave: Sequence[Aimed], now: dict[int, PieceNow], asked: staging.BeforeAsked | None = None
) -> list[Outcome]:
    """Move pieces, each once, that are already locked; ``now`` is brought up to date. What comes
    of it is written as of the last that was heard. ``asked``: see ``staging.check_may_move``."""
    at, by = max(each.stamp.received_at for each in wave), wave[0].by
    hands = {each.piece_id: each.by for each in wave if each.by != by}
    moves = [
        staging.Moved(
            piece_id=each.piece_id,
            from_place_id=now[each.piece_id].place_id,
            to_place_id=each.target.place.pk,
            kit_id=each.target.kit.pk if each.target.kit else None,
            happened_at=each.stamp.effective_at,
        )
        for each in wave
    ]
    places = {each.target.place.pk: each.target.place for each in wave}
    known = {pk: (piece.place_path, piece.place_kind) for pk, piece in _placed(wave, now).items()}
    known |= {pk: (place.path, place.kind) for pk, place in places.items()}
    refused = staging.check_may_move(moves=moves, at=at, known=known, asked=asked)
    taken = [each for each in wave if each.piece_id not in refused]
    before = {each.piece_id: now[each.piece_id].place_id for each in taken}
    stood = {each.piece_id: contradictions.Stood.of(now[each.piece_id]) for each in taken}
    gone = [_departure(each, now[each.piece_id]) for each in taken]
    rows = [_row_of(each, piece=now[each.piece_id]) for each in taken]
    with one_trip():
        add_piece_rows(rows=rows, now=now)
        told = that_hold([move for move in moves if move.piece_id not in refused], now)
        after = staging.ask_after(told)
    for each in taken:
        if now[each.piece_id].place_id == each.target.place.pk:
            now[each.piece_id].place_path = each.target.place.path
    contradictions.find_in_pieces(at=at, rows=rows, stood=stood, places=places)
    note_departures(by=by, at=at, departures=gone)
    staging.after_moves(by=by, at=at, moves=told, hands=hands, asked=after)
    outcomes: list[Outcome] = [
        (each.scan, refused[each.piece_id]) for each in wave if each.piece_id in refused
    ]
    for each in taken:
        piece = now[each.piece_id]
        late = piece.place_id == before[each.piece_id] != each.target.place.pk
        outcomes.append(
            (each.scan, Taken(_said(piece, each.target.place, late), each.target.place))
        )
    return outcomes


def _placed(wave: Sequence[Aimed], now: dict[int, PieceNow]) -> dict[int, PieceNow]:
    """By the id of a place one of the pieces that lie there."""
    return {now[each.piece_id].place_id: now[each.piece_id] for each in wave}


def _departure(each: Aimed, piece: PieceNow) -> Departure:
    to = each.target.place
    return Departure(
        movement=each.scan.id,
        to=to,
        moved_at=each.stamp.effective_at,
        due_on=each.scan.due_on,
        by=each.by,
        before=piece.placed_by_id if piece.place_id == to.pk else None,
    )


def that_hold(moves: Sequence[staging.Moved], now: dict[int, PieceNow]) -> list[staging.Moved]:
    """The moves that became the present: not those of late scans, which changed history only."""
    return [move for move in moves if now[move.piece_id].place_id == move.to_place_id]


def _said(piece: PieceNow, place: Place, late: bool) -> str:
    if late:
        said = _now("{piece} was in {place} then; it has been moved since.")
    else:
        said = _now("{piece} is in {place}.")
    return said.format(piece=piece.name, place=place.path_name or place.name)


def _row_of(each: Aimed, *, piece: PieceNow) -> PieceRow:
    key, stamp = piece.key, each.stamp
    newest = key is None or (stamp.effective_at, stamp.received_at) >= key
    return piece_row(
        stamp=stamp,
        by=each.by,
        how=each.scan.how,
        id=each.scan.id,
        scan=each.scan.id,
        piece_id=piece.id,
        from_seen_id=piece.place_id if newest else None,
        to=each.target.place,
        kit_id=each.target.kit.pk if each.target.kit else None,
        code_read=each.scan.code[:60],
        content_hash=each.scan.content_hash,
    )
