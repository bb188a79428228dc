"""Writing what fills the shafts: spacers as positions of the kit, numbered from the shoulder."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F

from tooling.engineering.stacks.specs import Pieces, Roll, ShaftKey
from tooling.models import KitPosition, Person
from tooling.queries.fill_views import FillProblem, source_key
from tooling.services.kit_state import save_claims

FAR = 10_000
"""Orders are moved beyond this while a shaft is numbered anew, so that no two are ever the same."""

Stack = Mapping[str, Pieces]
"""By fill key what stands in it, from the shoulder."""


@dataclass(frozen=True)
class Written:
    """What changed: by shaft what stood there before and stands there now, by fill."""

    before: dict[str, list[str]]
    after: dict[str, list[str]]
    shafts: tuple[ShaftKey, ...]


def write_stacks(
    *, by: Person, at: datetime, given: FillProblem, stacks: Mapping[ShaftKey, Stack],
    pinned: Collection[str],
) -> Written:  # fmt: skip
    """Make the fills of these shafts what ``stacks`` says; a shaft on which nothing changes is not
    touched. ``pinned``: fill keys that a person put there. Call inside the write; the kit is bumped
    and what others may have of the spacers is told to them."""
    changed = [key for key, stack in stacks.items() if _differs(given, stack, pinned)]
    fills = [fill for key in changed for fill in stacks[key]]
    before = {fill: _names(given, given.keys_of(fill)) for fill in fills}
    written = [_shaft(given, key, stacks[key], pinned) for key in changed]
    _save(by=by, at=at, given=given, written=written)
    after = {fill: _names(given, stacks[key][fill]) for key in changed for fill in stacks[key]}
    return Written(before, after, tuple(changed))


def _differs(given: FillProblem, stack: Stack, pinned: Collection[str]) -> bool:
    for fill, pieces in stack.items():
        rows = given.standing.get(fill, ())
        if tuple(source_key(row) for row in rows) != tuple(pieces):
            return True
        if any(row.is_pinned != (fill in pinned) for row in rows):
            return True
    return False


def _names(given: FillProblem, pieces: Iterable[str]) -> list[str]:
    return [given.stuff[key].name if key in given.stuff else key for key in pieces]


@dataclass(frozen=True)
class _Shaft:
    """One shaft as it is to be: rows in the kit's own order, those that are new, those that go."""

    rows: list[KitPosition]
    new: list[KitPosition]
    gone: list[KitPosition]


def _shaft(given: FillProblem, key: ShaftKey, stack: Stack, pinned: Collection[str]) -> _Shaft:
    """Rows that stay keep peg and staging; a spacer may go to another fill of the shaft."""
    rows = given.rows[key]
    spare: dict[str, list[KitPosition]] = {}
    for row in sorted(rows, key=lambda row: row.pk in given.gone):  # those go before others do
        if row.fill:
            spare.setdefault(source_key(row), []).append(row)
    rolls = [row for row in rows if not row.fill]
    by_fill: dict[str, list[KitPosition]] = {}
    new: list[KitPosition] = []
    for fill, pieces in stack.items():
        for source in pieces:
            mine = spare.get(source)
            row = mine.pop(0) if mine else _new(given, rolls[0], source)
            if row.pk is None:
                new.append(row)
            row.fill, row.is_pinned = given.spots[fill].fill, fill in pinned
            if source in given.stuff:  # measured again, perhaps
                row.length_nm = given.stuff[source].length_nm
            by_fill.setdefault(fill, []).append(row)
    ordered = _ordered(given, key, rolls, by_fill)
    return _Shaft(ordered, new, [row for left in spare.values() for row in left])


def _ordered(
    given: FillProblem, key: ShaftKey, rolls: Sequence[KitPosition],
    by_fill: Mapping[str, list[KitPosition]],
) -> list[KitPosition]:  # fmt: skip
    """As the kit numbers them: for the other hand what stands between the end fills is mirrored
    when it is mounted, so it is numbered the other way round."""
    first: list[KitPosition] = []
    between: list[KitPosition] = []
    last: list[KitPosition] = []
    left = list(rolls)
    for part in given.problem.shafts[key].parts:
        if isinstance(part, Roll):
            between.append(left.pop(0))
            continue
        where = {"inboard": first, "outboard": last}.get(part.kind, between)
        where.extend(by_fill.get(part.key, ()))
    if given.is_turned:
        between.reverse()
    return [*first, *between, *last]


def _new(given: FillProblem, beside: KitPosition, source: str) -> KitPosition:
    what = given.stuff[source]
    return KitPosition(
        kit=given.kit,
        station_number=beside.station_number,
        pass_number=beside.pass_number,
        shaft=beside.shaft,
        drawing_id=what.drawing_id,
        piece=what.piece,
        length_nm=what.length_nm,
        peg_id=beside.peg_id,
    )


def _save(*, by: Person, at: datetime, given: FillProblem, written: Sequence[_Shaft]) -> None:
    """All shafts at once; pieces that go are let go of before others take them."""
    gone = [row for shaft in written for row in shaft.gone]
    freed = {row.piece_id for row in gone if row.piece_id is not None}
    drawings = {row.drawing_id for row in gone if row.piece_id is None}
    KitPosition.objects.filter(pk__in=[row.pk for row in gone]).delete()
    keep = [row for shaft in written for row in shaft.rows if row.pk is not None]
    KitPosition.objects.filter(pk__in=[row.pk for row in keep]).update(order=F("order") + FAR)
    for shaft in written:
        for turn, row in enumerate(shaft.rows, start=1):
            row.order = turn
    KitPosition.objects.bulk_update(
        keep, ["order", "fill", "is_pinned", "length_nm"], batch_size=200
    )
    new = [row for shaft in written for row in shaft.new]
    KitPosition.objects.bulk_create(new, batch_size=200)
    if written:
        save_claims(by=by, at=at, kit=given.kit, rows=new, freed=freed, drawings=drawings)
