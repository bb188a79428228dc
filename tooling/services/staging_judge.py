"""Whether a piece may come into a kit, with the reason where it may not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import NOT_FIT, Condition, Kit, KitPosition, Piece, Station
from tooling.queries.consents import consents_about
from tooling.queries.kit_words import where_words
from tooling.queries.old_pieces import Ruling, chains_of, ruling
from tooling.queries.order_holds import OrderHold, held_by_orders


@dataclass(frozen=True)
class Moved:
    """A piece that goes, or went, from a place to a place; the kit when its label was scanned.
    ``happened_at`` where that was not now."""

    piece_id: int
    from_place_id: int | None
    to_place_id: int
    kit_id: int | None
    happened_at: datetime | None = None


@dataclass(frozen=True)
class StockMoved:
    """Some of a stock line that went to another line."""

    line_id: int
    to_line_id: int
    quantity: int
    kit_id: int | None


class Judge:
    """What the pieces that come are, who claims them, and what the kits call for."""

    def __init__(self, coming: Mapping[Moved, Kit]) -> None:
        ids = {move.piece_id for move in coming}
        rows = Piece.objects.select_related("drawing", "revision", "place", "owner")
        self.pieces = rows.in_bulk(ids)
        old = {each.drawing_id for each in self.pieces.values() if not each.revision.is_current}
        self.chains = chains_of(old) if old else {}
        jobs = {kit.pk: kit.job for kit in coming.values()}
        self.consents = consents_about(self.pieces.values(), jobs.values())
        self.orders = held_by_orders(ids)
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
        order = self.orders.get(piece.pk)
        if order is not None and order.holds_for(kit.job_id, is_staged=mine.holds_piece):
            return _on_order(piece, order, kit)
        if piece.condition in NOT_FIT:
            return _not_fit(piece, kit)
        ruled = ruling(piece.revision, self.chains.get(piece.drawing_id, ()))
        if ruled is not None and not ruled.is_usable:
            return _not_as_it_is(piece, ruled, kit)
        if not self.consents.lets(piece, kit.job):
            return _owner_has_not_agreed(piece, kit, self.consents.why_not(piece, kit.job))
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
    return where_words(position.pass_number, position.shaft, position.order)


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


def _on_order(piece: Piece, order: OrderHold, kit: Kit) -> Conflict:
    return Conflict(
        "piece_held",
        _("{what} cannot be staged for kit {kit}. {said} Have the order released, or choose "
          "another on the kit's page."),
        said=order.said,
        order=order.order,
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


def _owner_has_not_agreed(piece: Piece, kit: Kit, why: str) -> Conflict:
    return Conflict(
        "owner_approval_missing",
        _("{what} cannot be staged for kit {kit} (job {job}). {why} Put it back to {home}, or ask "
          "{owner}."),
        owner=piece.owner.name,
        why=why,
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


def wrong_stations(moves: Sequence[Moved]) -> dict[int, ToolingError]:
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


def held_by_order(moves: Sequence[Moved]) -> dict[int, ToolingError]:
    """Pieces put on a mill or a plate while an order holds them: no recut reaches a mill
    unreleased. One query, none without moves."""
    ids = {move.piece_id for move in moves}
    orders = held_by_orders(ids)
    if not orders:
        return {}
    claims: dict[int, list[KitPosition]] = {}
    rows = KitPosition.objects.filter(piece_id__in=orders, is_open=True).select_related("kit")
    for row in rows:
        claims.setdefault(row.piece_id or 0, []).append(row)
    held = {}
    for piece in Piece.objects.filter(pk__in=orders).select_related("place").order_by("code"):
        order, mine = orders[piece.pk], claims.get(piece.pk, [])
        if not any(not order.holds_for(c.kit.job_id, is_staged=c.holds_piece) for c in mine):
            held[piece.pk] = _kept_off(piece, order)
    return held


def _kept_off(piece: Piece, order: OrderHold) -> ToolingError:
    return Conflict(
        "piece_held",
        _("{what} goes on no mill yet. {said} Have the order released first."),
        what=f"{piece.code} ({piece.mark})" if piece.mark else piece.code,
        said=order.said,
        order=order.order,
        piece_id=piece.pk,
    )


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
