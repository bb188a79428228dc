"""Staging: which pieces may come into a kit, and what of the kit is here after they moved.

A piece is here for a kit when it lies inside the kit's gathering place, on the plate on which its
setup is built, or on its mill; of a count only what lies on the mill where its setup stands. When
the areas of several open kits hold a piece, it counts for one only: a gathering place before a
plate before a mill, the inner place before the outer, the earlier job before the later. The
numbers of statements do not grow with the pieces.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from django.db.models import Count, Q, Sum
from django.utils import timezone

from tooling.errors import ToolingError
from tooling.models import (
    Kit,
    KitPosition,
    KitState,
    Person,
    Place,
    PlaceKind,
    StockLine,
)
from tooling.queries.prepared import Asked, Prepared, one_trip
from tooling.queries.stock_pools import POOLED, UNUSABLE
from tooling.services import lost_and_found, owner_gate
from tooling.services.staging_areas import Area, areas_of, ask_open_kits
from tooling.services.staging_judge import (
    Judge,
    Moved,
    StockMoved,
    held_by_order,
    wrong_stations,
)
from tooling.services.touched import touch_kits_of
from tooling.services.write import bump

_PATHS = Prepared(
    lambda ids: Place.objects.filter(pk__in=ids).order_by().values_list("pk", "path", "kind")
)
_CLAIMED = Prepared(
    lambda ids: (
        KitPosition.objects.filter(piece_id__in=ids, is_open=True).order_by().values_list("pk")
    )
)


@dataclass(frozen=True)
class BeforeAsked:
    """What decides whether pieces may move, under way: the open kits, and the places on the way to
    where they go that ask for an approval."""

    kits: Asked
    gates: Asked


def ask_before(to: Iterable[Place]) -> BeforeAsked:
    """Ask what ``check_may_move`` to these places will want to know."""
    with one_trip():
        return BeforeAsked(ask_open_kits(), owner_gate.ask_gates(place.path for place in to))


@dataclass(frozen=True)
class AfterAsked:
    """What matters after pieces moved, under way."""

    losses: lost_and_found.LossesAsked
    claimed: Asked


def ask_after(moves: Sequence[Moved]) -> AfterAsked:
    """Ask what ``after_moves`` will want to know, once the rows of these are written."""
    with one_trip():
        losses = lost_and_found.ask_losses(_elsewhere(moves))
        return AfterAsked(losses, _CLAIMED.ask({move.piece_id for move in moves}))


def _elsewhere(moves: Sequence[Moved]) -> dict[int, int | None]:
    """Piece id → the place that it came from, of those that are elsewhere now."""
    return {
        each.piece_id: each.from_place_id
        for each in moves
        if each.from_place_id != each.to_place_id
    }


def check_may_move(
    *,
    moves: Sequence[Moved],
    at: datetime,
    known: Mapping[int, tuple[str, str]] = MappingProxyType({}),
    asked: BeforeAsked | None = None,
) -> dict[int, ToolingError]:
    """Piece id → why it may not go where it is moved to: its owner has not agreed to what is done
    with it there, or it may not come into the kit. The rest may. ``known``: path and kind of
    places that need not be asked for, by their ids. ``asked``: where ``ask_before`` of all these
    places was called before.

    Raises nothing; the errors are those of `check_may_stage`.
    """
    days = {when: timezone.localdate(when) for when in {move.happened_at or at for move in moves}}
    goings = [
        owner_gate.Going(
            move.piece_id, move.from_place_id, move.to_place_id, days[move.happened_at or at]
        )
        for move in moves
    ]
    paths = {pk: path for pk, (path, _kind) in known.items()}
    staged = check_may_stage(moves=moves, at=at, known=known, asked=asked)
    return staged | owner_gate.refusals(goings, paths, asked.gates if asked else None)


def check_may_stage(
    *,
    moves: Sequence[Moved],
    at: datetime,
    known: Mapping[int, tuple[str, str]] = MappingProxyType({}),
    asked: BeforeAsked | None = None,
) -> dict[int, ToolingError]:
    """Piece id → why it may not come into the kit it is moved to; the rest may.

    ``kit_closed``, ``piece_held``, ``piece_not_fit``, ``piece_taken``, ``wrong_position``,
    ``wrong_pass``, ``wrong_shaft``, ``owner_approval_missing``.
    """
    areas = areas_of(asked.kits if asked else None)
    wanted = {move.to_place_id for move in moves}
    places = {pk: known[pk] for pk in wanted if pk in known} | _places(wanted - set(known))
    targets = {(move.kit_id, move.to_place_id) for move in moves}
    entered = {each: _kit_entered(each[0], places[each[1]][0], areas) for each in targets}
    into = {move: entered[move.kit_id, move.to_place_id] for move in moves}
    kits = Kit.objects.select_related("place", "job__mill__place").in_bulk(
        {kit for kit in into.values() if kit is not None}
    )
    coming = {move: kits[kit] for move, kit in into.items() if kit is not None}
    is_mounting = any(kind == PlaceKind.STATION for _path, kind in places.values())
    found = wrong_stations(moves) if is_mounting else {}
    here = {pk for pk in wanted if _would_be_here(*places[pk], areas)}
    found |= held_by_order(
        [move for move in moves if into[move] is None and move.to_place_id in here]
    )
    if coming:
        judge = Judge(coming)
        judged = {move.piece_id: judge.problem(move, kit) for move, kit in coming.items()}
        found |= {pk: error for pk, error in judged.items() if error is not None}
    return found


def _places(place_ids: Iterable[int]) -> dict[int, tuple[str, str]]:
    """Place id → its path and kind."""
    return {pk: (path, kind) for pk, path, kind in _PATHS(set(place_ids))}


def _would_be_here(path: str, kind: str, areas: Sequence[Area]) -> bool:
    """Whether what is put there is on a mill, or here for some kit, without being put to it."""
    return kind == PlaceKind.STATION or any(area.rank(path) is not None for area in areas)


def _kit_entered(kit_id: int | None, path: str, areas: Sequence[Area]) -> int | None:
    """The kit whose own label was scanned, or else in whose gathering place the piece is put."""
    for area in areas:
        if kit_id == area.kit_id:
            return area.kit_id
    gathering = [a for a in areas if a.gathering and path.startswith(a.gathering)]
    if gathering:
        return max(gathering, key=lambda area: len(area.gathering)).kit_id
    return None


def after_moves(
    *,
    by: Person | None,
    at: datetime,
    moves: Sequence[Moved],
    hands: Mapping[int, Person] = lost_and_found.NOBODY_ELSE,
    asked: AfterAsked | None = None,
) -> None:
    """Write what is staged after pieces moved, and tell the open screens of their kits; report
    to their owners what was lost, and note what is found. ``hands``: who moved which piece, where
    that was not ``by``. ``asked``: where ``ask_after`` of these moves was called before."""
    asked = asked or ask_after(moves)
    lost_and_found.after_moves(
        by=by, at=at, moved=_elsewhere(moves), hands=hands, asked=asked.losses
    )
    claimed = [pk for (pk,) in asked.claimed.rows()]
    if not claimed:
        return
    rows = KitPosition.objects.filter(pk__in=claimed).order_by()
    claims = list(
        rows.select_related("piece__place").only(
            "kit_id", "is_staged", "holds_piece", "piece__place__path"
        )
    )
    areas = {area.kit_id: area for area in areas_of()}
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


def _winners(claims: Sequence[KitPosition], areas: Mapping[int, Area]) -> set[int]:
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
    every kit that calls for them. A position that comes to be here names the bin that gave it."""
    ids = {line for move in moves for line in (move.line_id, move.to_line_id)}
    lines = {line.pk: line for line in StockLine.objects.filter(pk__in=ids).select_related("place")}
    touch_kits_of(drawings={line.drawing_id for line in lines.values()})
    areas = areas_of()
    for area in areas:
        mine = {pk for pk, line in lines.items() if _holds(area, line.place.path)}
        drawings = {lines[pk].drawing_id for pk in mine}
        if not drawings:
            continue
        here = _restage_counts(area, drawings, areas)
        for move in moves:
            if move.to_line_id in mine and move.line_id not in mine:
                _name_bin(here.get(lines[move.line_id].drawing_id, []), move.line_id)
        settle(kit_ids=[area.kit_id], at=at)


def after_bins_move(*, by: Person | None, at: datetime, was: str, path: str) -> None:
    """The same after a place went elsewhere with the bins in it: its path was, and is now."""
    drawings = set(
        StockLine.objects.filter(place__path__startswith=path, count__gt=0).values_list(
            "drawing_id", flat=True
        )
    )
    if drawings:
        touch_kits_of(drawings=drawings)
        _restage_around(at=at, paths=[was, path])


def _restage_around(*, at: datetime, paths: Sequence[str]) -> None:
    """Count anew for the kits in whose gathering places these paths lie or lay."""
    areas = areas_of()
    for area in areas:
        if any(path not in area.for_counts and _holds(area, path) for path in paths):
            _restage_counts(area, _counted(area), areas)
            settle(kit_ids=[area.kit_id], at=at)
            bump([area.kit_id])


def _counted(area: Area) -> set[int]:
    """The drawings of which the kit claims counts."""
    wanted = KitPosition.objects.filter(POOLED, kit=area.kit_id)
    return set(wanted.values_list("drawing_id", flat=True))


def _holds(area: Area, path: str) -> bool:
    return path.startswith(area.for_counts) if area.for_counts else False


def _name_bin(came: Sequence[int], line_id: int) -> None:
    KitPosition.objects.filter(pk__in=came, stock_line=None).update(stock_line=line_id)


def restage(
    *, by: Person | None, at: datetime, kit_ids: Iterable[int], paths: Sequence[str] = ()
) -> None:
    """Write anew what is staged for these kits, after what they claim or where they gather
    changed; tell their open screens and those of kits that claim the same. ``paths``: where one
    gathers or gathered, which may lie in another's place."""
    ids = set(kit_ids)
    areas = areas_of()
    claims = KitPosition.objects.filter(kit__in=ids, is_open=True)
    counted = set(claims.filter(POOLED).values_list("pk", flat=True))
    nothing = claims.filter(piece=None).exclude(pk__in=counted)
    nothing.update(is_staged=False, holds_piece=False)
    for area in areas:
        if area.kit_id in ids:
            _restage_counts(area, _counted(area), areas)
    if paths:
        _restage_around(at=at, paths=paths)
    rows = claims.filter(piece__isnull=False).values_list("piece_id", "piece__place_id")
    after_moves(by=by, at=at, moves=[Moved(piece, place, place, None) for piece, place in rows])
    settle(kit_ids=ids, at=at)
    bump(ids)


def _restage_counts(area: Area, drawings: set[int], areas: Sequence[Area]) -> dict[int, list[int]]:
    """Of each drawing as many positions are here as the gathering place holds of it, without
    what lies in another kit's place inside it; by drawing the positions that were not before."""
    inside = _inside(area, drawings, areas)
    positions = KitPosition.objects.filter(POOLED, kit=area.kit_id, drawing__in=drawings).order_by(
        "station_number", "shaft", "order", "pk"
    )
    here: list[int] = []
    gone: list[int] = []
    came: dict[int, list[int]] = {}
    for key, drawing, was in positions.values_list("pk", "drawing_id", "is_staged"):
        left = inside.get(drawing, 0)
        (here if left > 0 else gone).append(key)
        if left > 0 and not was:
            came.setdefault(drawing, []).append(key)
        inside[drawing] = left - 1
    KitPosition.objects.filter(pk__in=gone).update(is_staged=False)
    KitPosition.objects.filter(pk__in=here).update(is_staged=True)
    return came


def _inside(area: Area, drawings: set[int], areas: Sequence[Area]) -> dict[int, int]:
    """By drawing how many fit for use lie where they are here for the kit."""
    if not area.for_counts:
        return {}
    inside = Q()
    for path in area.for_counts:
        inside |= Q(place__path__startswith=path)
    lines = StockLine.objects.filter(inside, drawing__in=drawings)
    lines = lines.exclude(condition__in=UNUSABLE)
    for other in areas:
        for path in (other.gathering, other.plate):
            if path and path not in area.for_counts and _holds(area, path):
                lines = lines.exclude(place__path__startswith=path)
    return dict(lines.order_by().values_list("drawing").annotate(total=Sum("count")))
