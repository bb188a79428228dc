"""When to count what: places by how often things move there, owners' tooling once in a while.

The places where most moves are counted most often: that is where a record goes wrong first, and
what lies still drifts little (counting by frequency of use; a monthly, quarterly and yearly round
is a customary pattern, common practice). The shares and the days are settings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from math import ceil

from django.db.models import Count as Number
from django.db.models import Q
from django.utils import timezone

from tooling.models import (
    Count,
    CountState,
    Owner,
    Piece,
    PlaceKind,
    StockLine,
)
from tooling.queries.count_moves import moves_by_place, moves_since
from tooling.queries.count_units import Spot, read_spots, units_of
from tooling.queries.counts import CountHead, count_list
from tooling.queries.settings import setting_values

SETTINGS = [
    "count_often_share", "count_middle_share", "count_moves_days", "count_often_days",
    "count_middle_days", "count_rest_days", "count_owner_days",
]  # fmt: skip
SOON = timedelta(days=7)
FEW = 5


class HowOften(StrEnum):
    """How often a place is counted."""

    OFTEN = "often"
    MIDDLE = "middle"
    REST = "rest"


class Due(StrEnum):
    """When it is to be counted, the most pressing first."""

    OVERDUE = "overdue"
    NEVER = "never"
    TODAY = "today"
    SOON = "soon"
    LATER = "later"


PRESSING = (Due.OVERDUE, Due.NEVER, Due.TODAY)


@dataclass(frozen=True)
class PlanRow:
    """A place in the plan. ``moves`` in the days that the class is judged by; ``moves_since`` the
    last count of the place or of one around it, None where it never was counted."""

    code: str
    name: str
    pieces: int
    bins: int
    moves: int
    how_often: HowOften
    every_days: int
    last_number: int | None
    last_at: datetime | None
    due_on: date | None
    due: Due
    open_number: int | None
    moves_since: int | None = None

    @property
    def is_pressing(self) -> bool:
        """Due, and nobody is at it."""
        return self.due in PRESSING and self.open_number is None


@dataclass(frozen=True)
class OwnerRow:
    """A customer in the plan."""

    code: str
    name: str
    pieces: int
    every_days: int
    last_number: int | None
    last_at: datetime | None
    due_on: date | None
    due: Due
    open_number: int | None

    @property
    def is_pressing(self) -> bool:
        """Due, and nobody is at it."""
        return self.due in PRESSING and self.open_number is None


@dataclass(frozen=True)
class CountPlan:
    """The whole plan, the most pressing first."""

    places: tuple[PlanRow, ...]
    owners: tuple[OwnerRow, ...]
    moves_days: int

    @property
    def pressing(self) -> int:
        places = sum(row.is_pressing for row in self.places)
        return places + sum(row.is_pressing for row in self.owners)


@dataclass(frozen=True)
class CountsToday:
    """What of counting waits: counts that are open, and the most pressing places and owners."""

    open: tuple[CountHead, ...]
    places: tuple[PlanRow, ...]
    owners: tuple[OwnerRow, ...]
    pressing: int

    @property
    def is_quiet(self) -> bool:
        return not (self.open or self.pressing)


def count_plan(*, at: datetime) -> CountPlan:
    """Every place that holds something and every customer with tooling here. Eight queries."""
    values = setting_values(SETTINGS)
    today = timezone.localdate(at)
    spots = read_spots()
    units = units_of(spots)
    counts = _Counts.read()
    rows = _place_rows(units, counts, values, today, at)
    last = {row.code: row.last_at for row in rows if row.last_at is not None}
    since = {pk: (unit.id, last[unit.code]) for pk, unit in units.items() if unit.code in last}
    moved = {spots[pk].code: n for pk, n in moves_since(since).items()}
    rows = [
        replace(row, moves_since=moved.get(row.code, 0)) if row.last_at else row for row in rows
    ]
    owners = _owner_rows(counts, int(values["count_owner_days"]), today)
    return CountPlan(_pressing_first(rows), owners, int(values["count_moves_days"]))


def counts_today(*, at: datetime) -> CountsToday:
    """What Today shows of it. Eight queries."""
    values = setting_values(SETTINGS)
    today = timezone.localdate(at)
    counts = _Counts.read()
    rows = _place_rows(units_of(read_spots()), counts, values, today, at)
    owners = _owner_rows(counts, int(values["count_owner_days"]), today)
    plan = CountPlan(_pressing_first(rows), owners, 0)
    return CountsToday(
        open=count_list(state=CountState.OPEN),
        places=tuple(row for row in plan.places if row.is_pressing)[:FEW],
        owners=tuple(row for row in owners if row.is_pressing)[:FEW],
        pressing=plan.pressing,
    )


def counting_now() -> CountsToday:
    """Only the counts that are open. One query."""
    return CountsToday(open=count_list(state=CountState.OPEN), places=(), owners=(), pressing=0)


@dataclass(frozen=True)
class _Counts:
    """Closed and open counts: (path or owner's code, number, closed at)."""

    places: tuple[tuple[str, int, datetime | None], ...]
    owners: tuple[tuple[str, int, datetime | None], ...]

    @classmethod
    def read(cls) -> _Counts:
        """One query."""
        rows = Count.objects.exclude(state=CountState.DROPPED).filter(set_copy=None)
        told = rows.order_by("number").values_list(
            "place__path", "owner__code", "number", "closed_at"
        )
        places = [(path, number, at) for path, _owner, number, at in told if path]
        owners = [(code, number, at) for _path, code, number, at in told if code]
        return cls(tuple(places), tuple(owners))

    def last_of_place(self, path: str) -> tuple[int | None, datetime | None]:
        """The last closed count of the place or of one around it."""
        return _last((n, at) for around, n, at in self.places if path.startswith(around))

    def open_of_place(self, path: str) -> int | None:
        around = [n for seen, n, at in self.places if at is None and path.startswith(seen)]
        return around[-1] if around else None

    def last_of_owner(self, code: str) -> tuple[int | None, datetime | None]:
        return _last((n, at) for owner, n, at in self.owners if owner == code)

    def open_of_owner(self, code: str) -> int | None:
        opened = [n for owner, n, at in self.owners if at is None and owner == code]
        return opened[-1] if opened else None


def _last(counts: object) -> tuple[int | None, datetime | None]:
    closed = [(at, n) for n, at in counts if at is not None]  # type: ignore[attr-defined]
    at, number = max(closed, default=(None, None))
    return number, at


def _place_rows(
    units: Mapping[int, Spot],
    counts: _Counts,
    values: Mapping[str, float],
    today: date,
    at: datetime,
) -> list[PlanRow]:
    pieces = _per_unit(units, Piece.objects.values_list("place_id").annotate(n=Number("id")))
    bins = _per_unit(
        units,
        StockLine.objects.filter(count__gt=0)
        .order_by()
        .values_list("place_id")
        .annotate(n=Number("id")),
    )
    moves = _moves(units, at - timedelta(days=int(values["count_moves_days"])))
    held = {unit.code: unit for unit in units.values() if pieces.get(unit.code, 0)
            or bins.get(unit.code, 0)}  # fmt: skip
    classes = _classes(list(held.values()), moves, values)
    rows = []
    for code, unit in held.items():
        how_often = classes[code]
        every = int(values[f"count_{how_often}_days"])
        number, last_at = counts.last_of_place(unit.path)
        due_on, due = _due(last_at, every, today)
        rows.append(
            PlanRow(
                code=code,
                name=unit.path_name,
                pieces=pieces.get(code, 0),
                bins=bins.get(code, 0),
                moves=moves.get(code, 0),
                how_often=how_often,
                every_days=every,
                last_number=number,
                last_at=last_at,
                due_on=due_on,
                due=due,
                open_number=counts.open_of_place(unit.path),
            )
        )
    return rows


def _per_unit(units: Mapping[int, Spot], rows: object) -> dict[str, int]:
    """Sums by the code of the unit."""
    found: dict[str, int] = {}
    for place, n in rows:  # type: ignore[attr-defined]
        if place in units:
            code = units[place].code
            found[code] = found.get(code, 0) + n
    return found


def _moves(units: Mapping[int, Spot], since: datetime) -> dict[str, int]:
    """How often something came to a unit, left it or moved within it, by its code. One query."""
    total: dict[str, int] = {}
    for came_from, to, n in moves_by_place(since):
        touched = {units[place].code for place in (came_from or 0, to or 0) if place in units}
        for code in touched:
            total[code] = total.get(code, 0) + n
    return total


def _classes(
    held: Sequence[Spot], moves: Mapping[str, int], values: Mapping[str, float]
) -> dict[str, HowOften]:
    """The most-moved share of the places, then the next; where nothing moved is the rest."""
    ordered = sorted(
        held, key=lambda unit: (-moves.get(unit.code, 0), unit.walking_order, unit.path)
    )
    often = ceil(len(held) * values["count_often_share"] / 100)
    middle = often + ceil(len(held) * values["count_middle_share"] / 100)
    found = {}
    for rank, unit in enumerate(ordered):
        how_often = HowOften.OFTEN if rank < often else HowOften.MIDDLE
        if rank >= middle or not moves.get(unit.code, 0):
            how_often = HowOften.REST
        found[unit.code] = how_often
    return found


def _due(last_at: datetime | None, every_days: int, today: date) -> tuple[date | None, Due]:
    if last_at is None:
        return None, Due.NEVER
    due_on = timezone.localdate(last_at) + timedelta(days=every_days)
    if due_on < today:
        return due_on, Due.OVERDUE
    if due_on == today:
        return due_on, Due.TODAY
    return due_on, Due.SOON if due_on - today <= SOON else Due.LATER


def _pressing_first(rows: Sequence[PlanRow]) -> tuple[PlanRow, ...]:
    """What is late before what was never counted, what is counted often before the rest."""
    dues, classes = list(Due), list(HowOften)

    def key(row: PlanRow) -> tuple[object, ...]:
        order = (row.due_on or date.min, -row.moves, row.name)
        return (dues.index(row.due), classes.index(row.how_often), *order)

    return tuple(sorted(rows, key=key))


def _owner_rows(counts: _Counts, every_days: int, today: date) -> tuple[OwnerRow, ...]:
    """Customers with tooling, the most pressing first. One query."""
    here = Number("pieces", filter=~Q(pieces__place__kind__in=(PlaceKind.LOST, PlaceKind.SCRAP)))
    owners = Owner.objects.filter(is_shop=False).annotate(n=here).filter(n__gt=0)
    rows = []
    for owner in owners.order_by("name"):
        number, last_at = counts.last_of_owner(owner.code)
        due_on, due = _due(last_at, every_days, today)
        opened = counts.open_of_owner(owner.code)
        rows.append(OwnerRow(owner.code, owner.name, owner.n, every_days, number, last_at, due_on,
                             due, opened))  # fmt: skip
    dues = list(Due)
    return tuple(sorted(rows, key=lambda row: (dues.index(row.due), row.due_on or date.min)))
