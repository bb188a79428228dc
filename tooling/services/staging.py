"""Staging: which pieces may come into a kit, and what of the kit is here after they moved.

A piece is here for a kit when it lies inside the kit's gathering place or on its mill. When the
areas of several open kits hold it, it counts for one only: a gathering place before a mill, the
inner place before the outer, the earlier job before the later. The numbers of statements do not
grow with the pieces.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q, Sum
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    NOT_FIT,
    Condition,
    Kit,
    KitPosition,
    KitState,
    Person,
    Piece,
    Place,
    Station,
    StockLine,
)
from tooling.queries.old_pieces import Ruling, chains_of, ruling
from tooling.queries.spares import owner_lets
from tooling.services.touched import touch_kits_of
from tooling.services.write import bump


@dataclass(frozen=True)
class Moved:
    """A piece that goes, or went, from a place to a place; the kit when its label was scanned."""

    piece_id: int
    from_place_id: int | None
    to_place_id: int
    kit_id: int | None


@dataclass(frozen=True)
class StockMoved:
    """Some of a stock line that went to another line."""

    line_id: int
    to_line_id: int
    quantity: int
    kit_id: int | None


@dataclass(frozen=True)
class _Area:
    """Where pieces are here for one open kit."""

    kit: Kit
    gathering: str
    mill: str

    def rank(self, path: str) -> tuple[int, int, datetime, int] | None:
        """How strongly this kit has what lies at the path, smallest first; None: not at all."""
        if self.gathering and path.startswith(self.gathering):
            return (0, -len(self.gathering), self.kit.job.starts_at, self.kit.pk)
        if self.mill and path.startswith(self.mill):
            return (1, -len(self.mill), self.kit.job.starts_at, self.kit.pk)
        return None


def _areas() -> list[_Area]:
    kits = Kit.objects.exclude(state=KitState.CLOSED)
    rows = kits.select_related("place", "job__mill__place")
    return [
        _Area(
            kit=kit,
            gathering=kit.place.path if kit.place else "",
            mill=kit.job.mill.place.path if kit.job.mill.place else "",
        )
        for kit in rows
    ]


def check_may_stage(*, moves: Sequence[Moved], at: datetime) -> dict[int, ToolingError]:
    """Piece id → why it may not come into the kit it is moved to; the rest may.

    ``kit_closed``, ``piece_held``, ``piece_not_fit``, ``piece_taken``, ``wrong_position``,
    ``wrong_pass``, ``wrong_shaft``, ``owner_approval_missing``.
    """
    areas = _areas()
    paths = _paths({move.to_place_id for move in moves})
    into = {move: _kit_entered(move, paths[move.to_place_id], areas) for move in moves}
    coming = {move: kit for move, kit in into.items() if kit is not None}
    found = _wrong_stations(moves)
    if coming:
        judge = _Judge(coming)
        judged = {move.piece_id: judge.problem(move, kit) for move, kit in coming.items()}
        found |= {pk: error for pk, error in judged.items() if error is not None}
    return found


def _wrong_stations(moves: Sequence[Moved]) -> dict[int, ToolingError]:
    """Pieces put to a station of their kit's mill at which the kit does not want them."""
    places = {move.to_place_id for move in moves}
    stations = {
        station.place_id: station
        for station in Station.objects.filter(place_id__in=places).select_related("mill")
    }
    going = {m.piece_id: stations[m.to_place_id] for m in moves if m.to_place_id in stations}
    if not going:
        return {}
    claims = KitPosition.objects.filter(piece_id__in=going, is_open=True).order_by("kit__job")
    wrong: dict[int, ToolingError] = {}
    for claim in claims.select_related("piece__drawing", "piece__place", "kit__job"):
        station = going[claim.piece_id or 0]
        if claim.piece is None or claim.kit.job.mill_id != station.mill_id:
            continue
        if claim.station_number != station.number:
            wrong[claim.piece.pk] = _wrong_station(claim.piece, claim, station)
    return wrong


def _wrong_station(piece: Piece, mine: KitPosition, station: Station) -> Conflict:
    return Conflict(
        "wrong_pass",
        _("{what} is a {drawing} for {where}, at station {wanted}; this is station {station} of "
          "{mill}. Take it to station {wanted}."),
        where=_where(mine),
        wanted=mine.station_number,
        station=station.number,
        mill=station.mill.name,
        **_told(piece, mine.kit),
    )  # fmt: skip


def _paths(place_ids: Iterable[int]) -> dict[int, str]:
    return dict(Place.objects.filter(pk__in=set(place_ids)).values_list("pk", "path"))


def _kit_entered(move: Moved, path: str, areas: Sequence[_Area]) -> Kit | None:
    """The kit whose own label was scanned, or else in whose gathering place the piece is put."""
    for area in areas:
        if move.kit_id == area.kit.pk:
            return area.kit
    gathering = [a for a in areas if a.gathering and path.startswith(a.gathering)]
    if gathering:
        return max(gathering, key=lambda area: len(area.gathering)).kit
    return None


class _Judge:
    """What the pieces that come are, who claims them, and what the kits call for."""

    def __init__(self, coming: Mapping[Moved, Kit]) -> None:
        ids = {move.piece_id for move in coming}
        rows = Piece.objects.select_related("drawing", "revision", "place", "owner")
        self.pieces = rows.in_bulk(ids)
        old = {each.drawing_id for each in self.pieces.values() if not each.revision.is_current}
        self.chains = chains_of(old) if old else {}
        claims = KitPosition.objects.filter(piece_id__in=ids, is_open=True)
        self.claims: dict[int, list[KitPosition]] = {}
        for claim in claims.select_related("kit__job", "drawing"):
            self.claims.setdefault(claim.piece_id or 0, []).append(claim)
        places = {move.to_place_id for move in coming}
        pegs = KitPosition.objects.filter(peg_id__in=places, is_open=True)
        self.pegs: dict[tuple[int, int], list[KitPosition]] = {}
        for peg in pegs.select_related("drawing", "piece"):
            self.pegs.setdefault((peg.kit_id, peg.peg_id or 0), []).append(peg)

    def problem(self, move: Moved, kit: Kit) -> ToolingError | None:
        piece = self.pieces[move.piece_id]
        claims = self.claims.get(piece.pk, [])
        mine = next((claim for claim in claims if claim.kit_id == kit.pk), None)
        other = next((c for c in claims if c.kit_id != kit.pk and c.holds_piece), None)
        if other is not None:
            return _taken(piece, other, kit)
        if mine is None:
            reserved = next(iter(claims), None)
            return _taken(piece, reserved, kit) if reserved else _not_wanted(piece, kit)
        if piece.condition == Condition.HOLD:
            return _held(piece, kit)
        if piece.condition in NOT_FIT:
            return _not_fit(piece, kit)
        ruled = ruling(piece.revision, self.chains.get(piece.drawing_id, ()))
        if ruled is not None and not ruled.is_usable:
            return _not_as_it_is(piece, ruled, kit)
        if not owner_lets(piece.owner, kit.job):
            return _owner_has_not_agreed(piece, kit)
        wanted = self.pegs.get((kit.pk, move.to_place_id), [])
        if wanted and mine not in wanted:
            return _wrong_peg(piece, mine, wanted[0], kit)
        return None


def _told(piece: Piece, kit: Kit) -> dict[str, object]:
    return {
        "what": f"{piece.code} ({piece.mark})" if piece.mark else piece.code,
        "drawing": piece.drawing.number,
        "home": piece.place.path_name or piece.place.name,
        "kit": kit.number,
        "piece_id": piece.pk,
        "kit_id": kit.pk,
    }


def _where(position: KitPosition) -> str:
    return str(_("pass {number}, {shaft}, {order} from the shoulder")).format(
        number=position.pass_number, shaft=position.get_shaft_display(), order=position.order
    )


def _taken(piece: Piece, claim: KitPosition, kit: Kit) -> Conflict:
    return Conflict(
        "piece_taken",
        _("{what} is a {drawing} for kit {theirs} (job {job}): {where}. Kit {kit} does not have "
          "it. Put it back to {home}, or change the kit on its page."),
        theirs=claim.kit.number,
        job=claim.kit.job.number,
        where=_where(claim),
        **_told(piece, kit),
    )  # fmt: skip


def _not_wanted(piece: Piece, kit: Kit) -> Conflict:
    lacking = (
        KitPosition.objects.filter(kit=kit, drawing=piece.drawing, is_staged=False)
        .select_related("piece__place")
        .first()
    )
    if lacking is not None and lacking.piece is not None:
        return Conflict(
            "wrong_position",
            _("{what} is a {drawing} that kit {kit} did not choose; it wants {wanted} for "
              "{where}, from {wanted_home}. Put {what} back to {home}, or choose it on the "
              "kit's page."),
            wanted=str(lacking.piece),
            where=_where(lacking),
            wanted_home=lacking.piece.place.path_name or lacking.piece.place.name,
            **_told(piece, kit),
        )  # fmt: skip
    return Conflict(
        "wrong_position",
        _("{what} is a {drawing}; kit {kit} calls for no such piece or has them all. It belongs "
          "in {home}."),
        **_told(piece, kit),
    )  # fmt: skip


def _held(piece: Piece, kit: Kit) -> Conflict:
    return Conflict(
        "piece_held",
        _("{what} is held ({reason}) and cannot be staged for kit {kit}. Have it released, or "
          "choose another on the kit's page. It belongs in {home}."),
        reason=piece.hold_reason or "-",
        **_told(piece, kit),
    )  # fmt: skip


def _not_fit(piece: Piece, kit: Kit) -> Conflict:
    return Conflict(
        "piece_not_fit",
        _("{what} is {condition} and cannot be staged for kit {kit}. Choose another on the kit's "
          "page. It belongs in {home}."),
        condition=piece.get_condition_display(),
        **_told(piece, kit),
    )  # fmt: skip


def _not_as_it_is(piece: Piece, ruled: Ruling, kit: Kit) -> Conflict:
    return Conflict(
        "piece_held",
        _("{what} cannot be staged for kit {kit}. {ruling} Choose another on the kit's page. It "
          "belongs in {home}."),
        ruling=ruled.said,
        **_told(piece, kit),
    )  # fmt: skip


def _owner_has_not_agreed(piece: Piece, kit: Kit) -> Conflict:
    return Conflict(
        "owner_approval_missing",
        _("{what} belongs to {owner}; no written consent to use it in other jobs is on file, so it "
          "cannot be staged for kit {kit} (job {job}). Put it back to {home}."),
        owner=piece.owner.name,
        job=kit.job.number,
        **_told(piece, kit),
    )  # fmt: skip


def _wrong_peg(piece: Piece, mine: KitPosition, wanted: KitPosition, kit: Kit) -> Conflict:
    code = "wrong_position"
    if mine.pass_number != wanted.pass_number:
        code = "wrong_pass"
    elif mine.shaft != wanted.shaft:
        code = "wrong_shaft"
    return Conflict(
        code,
        _("{what} belongs to {where}; this peg wants {wanted} for {there}. Put {what} on its own "
          "peg."),
        where=_where(mine),
        wanted=str(wanted.piece) if wanted.piece else wanted.drawing.number,
        there=_where(wanted),
        **_told(piece, kit),
    )  # fmt: skip


def after_moves(*, by: Person | None, at: datetime, moves: Sequence[Moved]) -> None:
    """Write what is staged after pieces moved, and tell the open screens of their kits."""
    ids = {move.piece_id for move in moves}
    claims = list(
        KitPosition.objects.filter(piece_id__in=ids, is_open=True).select_related("piece__place")
    )
    if not claims:
        return
    areas = {area.kit.pk: area for area in _areas()}
    winners = _winners(claims, areas)
    changed = []
    for claim in sorted(claims, key=lambda each: each.pk in winners):
        staged = claim.pk in winners
        if (claim.is_staged, claim.holds_piece) != (staged, staged):
            claim.is_staged = claim.holds_piece = staged
            changed.append(claim)
    for staged in (False, True):
        keys = [claim.pk for claim in changed if claim.is_staged == staged]
        KitPosition.objects.filter(pk__in=keys).update(is_staged=staged, holds_piece=staged)
    kits = {claim.kit_id for claim in claims}
    settle(kit_ids={claim.kit_id for claim in changed}, at=at)
    bump(kits)


def _winners(claims: Sequence[KitPosition], areas: Mapping[int, _Area]) -> set[int]:
    """Of each piece the one claim, if any, for which it is here."""
    best: dict[int, tuple[tuple[int, int, datetime, int], int]] = {}
    for claim in claims:
        if claim.piece is None or claim.kit_id not in areas:
            continue
        rank = areas[claim.kit_id].rank(claim.piece.place.path)
        if rank is not None and (claim.piece.pk not in best or rank < best[claim.piece.pk][0]):
            best[claim.piece.pk] = (rank, claim.pk)
    return {key for _rank, key in best.values()}


def settle(*, kit_ids: Iterable[int], at: datetime) -> None:
    """A kit whose every position is here is staged; else it is being gathered."""
    ids = set(kit_ids)
    if not ids:
        return
    lacking = Count("positions", filter=Q(positions__is_staged=False))
    for kit in Kit.objects.filter(pk__in=ids).exclude(state=KitState.CLOSED).annotate(n=lacking):
        state = KitState.GATHERING if kit.n else KitState.STAGED
        complete_at = kit.complete_at if kit.n else kit.complete_at or at
        if (kit.state, kit.complete_at) != (state, complete_at):
            Kit.objects.filter(pk=kit.pk).update(state=state, complete_at=complete_at)


def after_stock_moves(*, by: Person | None, at: datetime, moves: Sequence[StockMoved]) -> None:
    """Write how many of the counts are in the gathering places, and tell the open screens of
    every kit that calls for them."""
    lines = {line for move in moves for line in (move.line_id, move.to_line_id)}
    moved = list(StockLine.objects.filter(pk__in=lines).values_list("drawing_id", "place__path"))
    touch_kits_of(drawings={drawing for drawing, _path in moved})
    for area in _areas():
        drawings = {d for d, path in moved if area.gathering and path.startswith(area.gathering)}
        if drawings:
            _restage_counts(area, drawings)
            settle(kit_ids=[area.kit.pk], at=at)


def restage(*, by: Person | None, at: datetime, kit_ids: Iterable[int]) -> None:
    """Write anew what is staged for these kits, after what they claim or where they gather
    changed; tell their open screens and those of kits that claim the same."""
    ids = set(kit_ids)
    for area in _areas():
        if area.kit.pk in ids:
            wanted = KitPosition.objects.filter(kit=area.kit, stock_line__isnull=False)
            _restage_counts(area, set(wanted.values_list("drawing_id", flat=True)))
    claims = KitPosition.objects.filter(kit__in=ids, is_open=True)
    claims.filter(piece=None, stock_line=None).update(is_staged=False, holds_piece=False)
    rows = claims.filter(piece__isnull=False).values_list("piece_id", "piece__place_id")
    after_moves(by=by, at=at, moves=[Moved(piece, place, place, None) for piece, place in rows])
    settle(kit_ids=ids, at=at)
    bump(ids)


def _restage_counts(area: _Area, drawings: set[int]) -> None:
    """Of each drawing as many positions are here as the gathering place holds of it."""
    inside: dict[int, int] = {}
    if area.gathering:
        lines = StockLine.objects.filter(
            drawing__in=drawings, place__path__startswith=area.gathering
        )
        inside = dict(lines.order_by().values_list("drawing").annotate(total=Sum("count")))
    positions = KitPosition.objects.filter(
        kit=area.kit, drawing__in=drawings, stock_line__isnull=False
    ).order_by("station_number", "shaft", "order", "pk")
    here: list[int] = []
    gone: list[int] = []
    for key, drawing in positions.values_list("pk", "drawing_id"):
        left = inside.get(drawing, 0)
        (here if left > 0 else gone).append(key)
        inside[drawing] = left - 1
    KitPosition.objects.filter(pk__in=gone).update(is_staged=False)
    KitPosition.objects.filter(pk__in=here).update(is_staged=True)
