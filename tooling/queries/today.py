"""What waits for a person today, by the person's roles."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from tooling.models import (
    Condition,
    Import,
    ImportState,
    Job,
    Mill,
    Person,
    Piece,
    Role,
    ToolSet,
)
from tooling.queries.contradictions import ScansToday, scans_today
from tooling.queries.count_plan import CountsToday, counting_now, counts_today
from tooling.queries.kit_views import KitRow
from tooling.queries.kits import kit_list
from tooling.queries.loans import LoansToday, loans_today
from tooling.queries.owners_today import OwnersToday, owners_today
from tooling.queries.purchases import OrdersToday, orders_today
from tooling.queries.regrind_orders import RegrindsToday, regrinds_today
from tooling.queries.stock_needs import stock_needs

FEW = 5
DAYS_AHEAD = 14
CONFLICT_DAYS = 7
WAITING = (ImportState.MAPPING, ImportState.READY, ImportState.PROBLEMS)

SECTIONS: dict[str, tuple[str, ...]] = {
    Role.VIEWER: ("kits", "owners"),
    Role.CREW: ("kits", "conflicts", "counting"),
    Role.ATTENDANT: (
        "kits",
        "scans",
        "out",
        "regrinds",
        "orders",
        "owners",
        "counts",
        "short",
        "unseen",
    ),
    Role.ENGINEER: (
        *("kits", "held", "regrinds", "conflicts", "out", "orders", "owners", "short"),
        "imports",
    ),
    Role.SUPERVISOR: (
        *("kits", "scans", "held", "regrinds", "conflicts", "imports", "out", "orders", "counts"),
        *("short", "unseen"),
    ),
}
"""What each role is shown, in order; several roles see each section once."""


@dataclass(frozen=True)
class HeldRow:
    """A stopped piece that somebody is to look at."""

    code: str
    mark: str
    drawing: str
    place: str
    reason: str


@dataclass(frozen=True)
class Some:
    """The first few of something and how many there are."""

    count: int
    rows: tuple[Any, ...] = ()


@dataclass(frozen=True)
class TodayPage:
    """Everything on the page; a section that this person is not shown is None."""

    kits: tuple[KitRow, ...]
    held: Some | None
    conflicts: tuple[KitRow, ...] | None
    out: LoansToday | None
    short: Some | None
    unseen: int | None
    imports: tuple[int, ...] | None
    first_step: str
    owners: OwnersToday | None = None
    orders: OrdersToday | None = None
    counting: CountsToday | None = None
    regrinds: RegrindsToday | None = None
    scans: ScansToday | None = None

    @property
    def waits(self) -> int:
        """How many kits still need hands."""
        return sum(row.counts is None or row.counts.here < row.counts.total for row in self.kits)


def today_page(person: Person, *, at: datetime) -> TodayPage:
    """What waits for the person. The number of queries does not grow with pieces or stock."""
    shown = sections_for(person)
    kits = _kits(at)
    return TodayPage(
        kits=kits,
        held=_held() if "held" in shown else None,
        conflicts=_conflicts(kits, at) if "conflicts" in shown else None,
        out=loans_today(at=at) if "out" in shown else None,
        short=_short(at) if "short" in shown else None,
        unseen=Piece.objects.filter(seen_at=None).count() if "unseen" in shown else None,
        imports=_imports() if "imports" in shown else None,
        first_step="" if kits else _first_step(),
        owners=owners_today(at=at) if "owners" in shown else None,
        orders=orders_today(timezone.localtime(at).date()) if "orders" in shown else None,
        counting=_counting(shown, at),
        regrinds=_regrinds(at) if "regrinds" in shown else None,
        scans=scans_today(at=at) if "scans" in shown else None,
    )


def sections_for(person: Person) -> frozenset[str]:
    """The sections of all the person's roles."""
    return frozenset(name for role in person.role_set for name in SECTIONS.get(role, ()))


def _regrinds(at: datetime) -> RegrindsToday:
    return regrinds_today(today=timezone.localtime(at).date())


def _counting(shown: frozenset[str], at: datetime) -> CountsToday | None:
    """What is due and what is being counted; whoever does not open counts sees the latter."""
    if "counts" in shown:
        return counts_today(at=at)
    return counting_now() if "counting" in shown else None


def _kits(at: datetime) -> tuple[KitRow, ...]:
    until = at + timedelta(days=DAYS_AHEAD)
    rows = [row for row in kit_list(at=at) if not row.has_setup]
    return tuple(row for row in rows if row.number or row.job.starts_at < until)


def _held() -> Some:
    """Pieces that wait for somebody who may lift their hold."""
    held = Piece.objects.filter(condition=Condition.HOLD)
    rows = held.select_related("drawing", "place").order_by("code")
    return _some(
        held,
        tuple(
            HeldRow(
                code=piece.code,
                mark=piece.mark,
                drawing=piece.drawing.number,
                place=piece.place.path_name or piece.place.name,
                reason=piece.hold_reason,
            )
            for piece in rows[:FEW]
        ),
    )


def _conflicts(kits: tuple[KitRow, ...], at: datetime) -> tuple[KitRow, ...]:
    until = at + timedelta(days=CONFLICT_DAYS)
    return tuple(row for row in kits if row.conflicts and row.job.starts_at < until)


def _short(at: datetime) -> Some:
    """What is to be made or ordered, the first needed first."""
    needs = [need for need in stock_needs(at=at) if need.to_get]
    return Some(count=len(needs), rows=tuple(needs[:FEW]))


def _some(rows: QuerySet[Any], few: tuple[Any, ...]) -> Some:
    return Some(count=len(few) if len(few) < FEW else rows.count(), rows=few)


def _imports() -> tuple[int, ...]:
    rows = Import.objects.filter(Q(state__in=WAITING)).order_by("-pk")
    return tuple(rows.values_list("pk", flat=True)[:FEW])


def _first_step() -> str:
    """What an empty shop lacks first: mills, pieces, sets or jobs; empty when there are jobs."""
    for name, model in (("mills", Mill), ("pieces", Piece), ("sets", ToolSet), ("jobs", Job)):
        if not model.objects.exists():
            return name
    return ""
