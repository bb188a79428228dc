"""What a customer's tooling may not do without its owner's word: be cut, leave for somebody else,
be scrapped.

The grinder is work and needs the approval to regrind; a customer's or sister plant's place other
than the owner's own is a transfer; the scrap is the scrap. Asked wherever something moves: by
scan, tick, whole set, kit, cart, bin, and where work is written down.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import ApprovalKind, Piece, Place, PlaceKind, StockLine
from tooling.queries.approvals import CUTS, Owned, answers_about, why_not
from tooling.queries.prepared import Asked, Prepared, columns, made

GATES: Mapping[str, ApprovalKind] = MappingProxyType(
    {
        PlaceKind.SCRAP: ApprovalKind.SCRAP,
        PlaceKind.GRINDER: ApprovalKind.REGRIND,
        PlaceKind.CUSTOMER: ApprovalKind.TRANSFER,
        PlaceKind.SISTER: ApprovalKind.TRANSFER,
    }
)
"""What must be on file before a customer's tooling goes to a place of this kind."""


@dataclass(frozen=True)
class Going:
    """A piece that is to go from where it lies to a place, on a day."""

    piece_id: int
    from_place_id: int | None
    to_place_id: int
    on: date


def ask_gates(paths: Iterable[str]) -> Asked:
    """Ask for the places on the way to these that ask for an approval."""
    return _GATES.ask({code for path in paths for code in _codes(path)})


def refusals(
    goings: Sequence[Going],
    paths: Mapping[int, str] = MappingProxyType({}),
    asked: Asked | None = None,
) -> dict[int, ToolingError]:
    """Piece id → why its owner keeps it from going there; the rest may. ``paths``: those of places
    that are known, by their ids. ``asked``: where ``ask_gates`` of all that they go to was called
    before.

    Two queries where nothing leaves, one where all paths are known; at most one and one for each
    kind of approval more.
    """
    if asked is not None and not asked.rows():
        return {}
    gates = _gates_of(goings, paths)
    leaving = {
        going.piece_id: (gates[going.to_place_id], going.on)
        for going in goings
        if going.to_place_id in gates
        and gates.get(going.from_place_id or 0) != gates[going.to_place_id]
    }
    if not leaving:
        return {}
    rows = Piece.objects.filter(pk__in=leaving, owner__is_shop=False).select_related("owner")
    return _refused({piece: leaving[piece.pk] for piece in rows.order_by("code")})


def check_may_leave(
    *, pieces: Iterable[int], lines: Iterable[int] = (), to: Place, at: datetime
) -> tuple[dict[int, ToolingError], dict[int, ToolingError]]:
    """Why pieces and bins may not go to a place, by their ids; the rest may.

    A fixed number of queries, whatever goes.
    """
    gate, on = gate_of(to), timezone.localdate(at)
    if gate is None:
        return {}, {}
    foreign = Piece.objects.filter(pk__in=set(pieces), owner__is_shop=False)
    inside = foreign.exclude(place__path__startswith=gate.path).select_related("owner")
    kept = _refused(dict.fromkeys(inside.order_by("code"), (gate, on)))
    bins = StockLine.objects.filter(pk__in=set(lines), owner__is_shop=False)
    bins = bins.exclude(place__path__startswith=gate.path).select_related("owner", "drawing")
    return kept, _refused(dict.fromkeys(bins.order_by("code"), (gate, on)))


def check_cart(*, cart: Place, to: Place, at: datetime) -> None:
    """Raise ``owner_approval_missing`` when the owner of anything on a cart keeps it from going;
    a cart goes whole or not at all."""
    if gate_of(to) is None:
        return
    on_it = Piece.objects.filter(place__path__startswith=cart.path, owner__is_shop=False)
    counted = StockLine.objects.filter(
        place__path__startswith=cart.path, owner__is_shop=False, count__gt=0
    )
    kept, kept_bins = check_may_leave(
        pieces=on_it.values_list("pk", flat=True),
        lines=counted.values_list("pk", flat=True),
        to=to,
        at=at,
    )
    raise_first([*kept.values(), *kept_bins.values()])


def check_line(*, line: StockLine, kind: ApprovalKind, at: datetime) -> None:
    """Raise ``owner_approval_missing`` for a customer's bin without leave of this kind. Owner and
    drawing must be loaded."""
    if not line.owner.is_shop:
        raise_first(_without_leave(kind, {line: timezone.localdate(at)}).values())


def check_work(*, piece: Piece, kind: str, done_on: date) -> None:
    """Raise ``owner_approval_missing`` when the work cuts a customer's piece without leave for
    that day. The owner must be loaded."""
    if kind in CUTS and not piece.owner.is_shop:
        raise_first(_without_leave(ApprovalKind.REGRIND, {piece: done_on}).values())


def check_cuts(cuts: Mapping[Piece, date]) -> None:
    """Raise ``owner_approval_missing`` when one of these customers' pieces is to be cut, or was,
    on a day for which its owner gave no leave. The owners must be loaded. One query."""
    foreign: dict[Owned, date] = {
        piece: on for piece, on in cuts.items() if not piece.owner.is_shop
    }
    if foreign:
        raise_first(_without_leave(ApprovalKind.REGRIND, foreign).values())


def raise_first(errors: Iterable[ToolingError]) -> None:
    """Raise the first of them; where there are more, it says how many."""
    found = list(errors)
    if not found:
        return
    first = found[0]
    if len(found) > 1:
        more = _("{said} {count} more lack such an approval.")
        raise Conflict(
            first.code, more, **{**first.values, "said": first.message, "count": len(found) - 1}
        )
    raise first


def gate_of(place: Place) -> Place | None:
    """The outermost place on the way in that asks for an approval, or None. One query."""
    return _gates_by_path({place.pk: place.path}).get(place.pk)


_PATHS = Prepared(lambda ids: Place.objects.filter(pk__in=ids).order_by().values_list("pk", "path"))
_GATES = Prepared(
    lambda codes: (
        Place.objects.filter(code__in=codes, kind__in=GATES).order_by().values_list(*columns(Place))
    )
)


def _gates_of(goings: Iterable[Going], paths: Mapping[int, str]) -> dict[int, Place]:
    """Place id → its gate, for all places that the pieces come from and go to."""
    ids = {place for each in goings for place in (each.from_place_id, each.to_place_id) if place}
    known = {pk: paths[pk] for pk in ids if pk in paths}
    return _gates_by_path(known | dict(_PATHS(ids - set(known))))


def _gates_by_path(paths: Mapping[int, str]) -> dict[int, Place]:
    codes = {pk: _codes(path) for pk, path in paths.items()}
    around = {code for each in codes.values() for code in each}
    gates = {place.code: place for place in (made(Place, row) for row in _GATES(around))}
    found = {pk: next((c for c in each if c in gates), None) for pk, each in codes.items()}
    return {pk: gates[code] for pk, code in found.items() if code is not None}


def _codes(path: str) -> list[str]:
    return [code for code in path.split("/") if code]


def _refused(leaving: Mapping[Owned, tuple[Place, date]]) -> dict[int, ToolingError]:
    """By id, why those may not go that have no leave; an owner's own place needs none."""
    by_kind: dict[ApprovalKind, dict[Owned, date]] = {}
    for owned, (gate, on) in leaving.items():
        kind = GATES[gate.kind]
        if kind != ApprovalKind.TRANSFER or gate.owner_id != owned.owner_id:
            by_kind.setdefault(kind, {})[owned] = on
    found: dict[int, ToolingError] = {}
    for kind, asked in by_kind.items():
        found |= _without_leave(kind, asked)
    return found


def _without_leave(kind: ApprovalKind, asked: Mapping[Owned, date]) -> dict[int, ToolingError]:
    answers = answers_about(kind, asked)
    found: dict[int, ToolingError] = {}
    for owned, on in asked.items():
        stands = answers.standing(owned, on)
        if not stands.is_given:
            why = why_not(kind, owned.owner.name, stands)
            found[owned.pk] = _missing(owned, kind, why)
    return found


def _missing(owned: Owned, kind: ApprovalKind, why: str) -> Conflict:
    if isinstance(owned, Piece):
        what = f"{owned.code} ({owned.mark})" if owned.mark else owned.code
    else:
        what = f"{owned.code} ({owned.drawing.number})"
    return Conflict(
        "owner_approval_missing",
        _("{what} belongs to {owner}. {why} Ask {owner}, and write the answer down on the page of "
          "this owner; until then it stays."),
        what=what,
        owner=owned.owner.name,
        owner_code=owned.owner.code,
        why=why,
        needed=str(kind),
        **({"piece_id": owned.pk} if isinstance(owned, Piece) else {}),
    )  # fmt: skip
