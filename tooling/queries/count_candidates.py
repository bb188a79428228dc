"""What may have become of a piece that a count did not find: where and by whom it was last seen,
who had it in hand, where it was before, who waits for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import F, Window
from django.db.models.functions import RowNumber
from django.utils.translation import gettext as _

from tooling.models import KitPosition, Movement, Piece, RefusedScan
from tooling.models.movements import STANDS
from tooling.queries.count_groups import walk_of
from tooling.queries.count_sights import live_entries
from tooling.queries.count_views import Outcome, State
from tooling.queries.counts import PieceView, views

MOVES_READ = 5
MOST = 4


@dataclass(frozen=True)
class Candidate:
    """Somewhere to look or somebody to ask."""

    said: str
    by: str = ""
    at: datetime | None = None


@dataclass(frozen=True)
class Missing:
    """A piece that was not found, and what is known of it."""

    piece: PieceView
    seen_at: datetime | None = None
    seen_by: str = ""
    seen_place: str = ""
    candidates: tuple[Candidate, ...] = field(default_factory=tuple)


@dataclass
class _Known:
    """What the tables say of one piece."""

    moves: list[Any] = field(default_factory=list)
    sights: list[tuple[datetime, str, str]] = field(default_factory=list)
    claims: list[KitPosition] = field(default_factory=list)
    refused: list[RefusedScan] = field(default_factory=list)
    home: str = ""


def missing_pieces(state: State) -> tuple[Missing, ...]:
    """Every piece that is missing, place by place. Five queries more than the state."""
    lost = sorted(state.those(Outcome.MISSING), key=lambda piece: walk_of(state, piece))
    known = _known([piece.piece_id for piece in lost]) if lost else {}
    strays = _strays(state)
    return tuple(
        _tell(view, known[piece.piece_id], strays.get(piece.mark.upper(), []))
        for piece, view in zip(lost, views(state, lost), strict=True)
    )


def _strays(state: State) -> dict[str, list[str]]:
    """By mark, the pieces that were found without being expected: copies of a set get mixed."""
    found: dict[str, list[str]] = {}
    for piece in state.those(Outcome.EXTRA, Outcome.CAME):
        if piece.mark:
            found.setdefault(piece.mark.upper(), []).append(piece.code)
    return found


def _known(ids: Sequence[int]) -> Mapping[int, _Known]:
    known = {pk: _Known() for pk in ids}
    for move in _moves(ids):
        known[move.piece_id].moves.append(move)
    entries = live_entries().filter(piece__in=ids).select_related("by", "place")
    for entry in entries.order_by("-happened_at"):
        place = entry.place.path_name if entry.place else ""
        known[entry.piece_id or 0].sights.append((entry.happened_at, str(entry.by or ""), place))
    claims = KitPosition.objects.filter(piece__in=ids, is_open=True)
    for claim in claims.select_related("kit__job", "kit__place").order_by("kit__job__gathers_at"):
        known[claim.piece_id or 0].claims.append(claim)
    refused = RefusedScan.objects.filter(piece__in=ids).exclude(error_code="count_closed")
    for scan in refused.select_related("by").order_by("-effective_at"):
        known[scan.piece_id or 0].refused.append(scan)
    homes = Piece.objects.filter(pk__in=ids, home__isnull=False)
    for pk, home in homes.values_list("pk", "home__path_name"):
        known[pk].home = home
    return known


def _moves(ids: Sequence[int]) -> list[Any]:
    """The last few movements of each that stand, the newest first."""
    turn = Window(
        RowNumber(),
        partition_by=F("piece_id"),
        order_by=(F("effective_at").desc(), F("received_at").desc(), F("id").desc()),
    )
    rows = Movement.objects.filter(STANDS, piece__in=ids).annotate(turn=turn)
    rows = rows.filter(turn__lte=MOVES_READ).select_related("to", "from_seen", "by")
    return sorted(rows, key=lambda move: move.turn)


def _tell(piece: PieceView, known: _Known, strays: Sequence[str]) -> Missing:
    seen = [
        (move.effective_at, str(move.by or ""), _name(move.to)) for move in known.moves if move.sees
    ]
    at, by, place = max([*seen, *known.sights], default=(None, "", ""))
    candidates = [*_in_hand(known, at), *_mixed_up(strays), *_wanted(known), *_been(piece, known)]
    if known.home and known.home != piece.place:
        candidates.append(Candidate(_("It belongs in {place}.").format(place=known.home)))
    return Missing(piece, at, by, place, tuple(candidates[:MOST]))


def _in_hand(known: _Known, seen_at: datetime | None) -> list[Candidate]:
    """A scan that was refused since: somebody held it."""
    since = [s for s in known.refused if seen_at is None or s.effective_at > seen_at]
    return [
        Candidate(
            _("{who} scanned it, and it was refused: {why}").format(
                who=scan.by or "-", why=scan.message
            ),
            str(scan.by or ""),
            scan.effective_at,
        )
        for scan in since[:1]
    ]


def _mixed_up(strays: Sequence[str]) -> list[Candidate]:
    return [
        Candidate(_("{code} bears the same mark and was found: mixed up?").format(code=code))
        for code in strays[:2]
    ]


def _wanted(known: _Known) -> list[Candidate]:
    return [
        Candidate(
            _("Kit {kit} for job {job} wants it; look in {place}.").format(
                kit=claim.kit.number, job=claim.kit.job.number, place=_name(claim.kit.place)
            )
        )
        for claim in known.claims[:1]
        if claim.kit.place is not None
    ]


def _been(piece: PieceView, known: _Known) -> list[Candidate]:
    """Other places where it was, with who took it from there."""
    found: dict[str, Candidate] = {}
    for move in known.moves:
        place = _name(move.from_seen) if move.from_seen else ""
        if place and place != piece.place and place not in found:
            said = _("{who} took it from {place}.") if move.by else _("It was in {place} before.")
            found[place] = Candidate(
                said.format(who=move.by, place=place), str(move.by or ""), move.effective_at
            )
    return list(found.values())


def _name(place: Any) -> str:
    return (place.path_name or place.name) if place else ""
