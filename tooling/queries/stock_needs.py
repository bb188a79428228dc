"""What to make or buy: of each pooled drawing how many there are, how many there are to be, how
many coming jobs want at once, how many are ordered, how many lack."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce

from tooling.models import (
    Allotment,
    Job,
    JobState,
    Kit,
    KitPosition,
    KitState,
    PurchaseLine,
    SetPosition,
    StockLine,
)
from tooling.queries.bindings import Binding
from tooling.queries.purchases import standing
from tooling.queries.stock_pools import POOLED, UNUSABLE
from tooling.queries.whereabouts import GONE_KINDS

DAYS_BACK = 2
"""So long a job without a kit is still expected after its start."""


@dataclass(frozen=True)
class NeedBin:
    """A bin of the drawing, to say which one new ones went into."""

    code: str
    place: str
    count: int


@dataclass(frozen=True)
class Need:
    """One drawing. ``wanted``: the most that jobs want at the same time, the first such moment
    ``wanted_at``, by ``jobs``; ``short_by`` what lacks of the larger of least and wanted."""

    drawing: str
    title: str
    kind: str
    unit: str
    face_width_nm: int | None
    bore_nm: int | None
    have: int
    with_kits: int
    least: int
    wanted: int
    wanted_at: datetime | None
    jobs: tuple[str, ...]
    short_by: int
    ordered: int
    due_on: Any
    bins: tuple[NeedBin, ...]

    @property
    def to_get(self) -> int:
        """How many still have to be made or ordered."""
        return max(0, self.short_by - self.ordered)

    @property
    def is_shim(self) -> bool:
        return self.kind == "shim"


@dataclass
class _Wanting:
    """A job and how many of a drawing it wants."""

    binding: Binding
    customer: int | None
    count: int = 0


@dataclass
class _Stock:
    """All usable counts of one drawing, by owner (0: the shop itself)."""

    first: Any
    owned: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    least: int = 0
    with_kits: int = 0
    bins: list[NeedBin] = field(default_factory=list)


def stock_needs(*, at: datetime, everything: bool = False) -> tuple[Need, ...]:
    """What lacks, the first needed first; with ``everything`` all pooled drawings.

    Six queries, whatever lies in the bins.
    """
    stock = _stock()
    wants = _wants(stock, at)
    ordered = _ordered(stock)
    needs = [_need(pk, each, wants.get(pk, ()), ordered.get(pk)) for pk, each in stock.items()]
    shown = [need for need in needs if everything or need.short_by]
    return tuple(sorted(shown, key=_urgent))


def _urgent(need: Need) -> tuple[bool, bool, float, str]:
    soon = need.wanted_at.timestamp() if need.wanted_at and need.wanted > need.have else 9e12
    return (not need.short_by, not need.to_get, soon, need.drawing)


def _stock() -> dict[int, _Stock]:
    """By drawing, everything that is counted, wherever it can be fetched from."""
    gathering = list(Kit.objects.exclude(state=KitState.CLOSED)
        .exclude(place=None).values_list("place__path", flat=True))  # fmt: skip
    rows: Iterable[Any] = (
        StockLine.objects.filter(drawing__revisions__is_current=True)
        .exclude(place__kind__in=GONE_KINDS)
        .select_related("drawing", "place", "owner")
        .annotate(
            drawn_unit=F("drawing__revisions__unit"),
            drawn_width=F("drawing__revisions__face_width_nm"),
            drawn_bore=F("drawing__revisions__bore_nm"),
        )
        .order_by("place__walking_order", "place__path", "code")
    )
    found: dict[int, _Stock] = {}
    for line in rows:
        each = found.setdefault(line.drawing_id, _Stock(line))
        each.least += line.least_count
        if line.condition in UNUSABLE:
            continue
        each.owned[0 if line.owner.is_shop else line.owner_id] += line.count
        if line.place.path.startswith(tuple(gathering)):
            each.with_kits += line.count
        elif line.owner.is_shop:
            place = line.place.path_name or line.place.name
            each.bins.append(NeedBin(line.code, place, line.count))
    return found


def _wants(drawings: Iterable[int], at: datetime) -> dict[int, list[_Wanting]]:
    wants: dict[int, list[_Wanting]] = defaultdict(list)
    rows = KitPosition.objects.filter(POOLED, is_open=True, drawing__in=drawings)
    counted = rows.order_by().values_list("drawing_id", "kit__job_id").annotate(n=Count("pk"))
    claims = list(counted)
    waiting = _jobs_without_kit(at)
    jobs = Job.objects.in_bulk({job for _drawing, job, _n in claims})
    for drawing, job, count in claims:
        wants[drawing].append(_wanting(jobs[job], count))
    for drawing, job, count in _planned(waiting, drawings):
        wants[drawing].append(_wanting(job, count))
    return wants


def _wanting(job: Job, count: int) -> _Wanting:
    return _Wanting(Binding.of(job), job.customer_id, count)


def _jobs_without_kit(at: datetime) -> list[Job]:
    open_kits = Kit.objects.filter(job=OuterRef("pk")).exclude(state=KitState.CLOSED)
    planned = Job.objects.filter(
        state=JobState.PLANNED, starts_at__gte=at - timedelta(days=DAYS_BACK)
    )
    return list(planned.filter(~Exists(open_kits)))


def _planned(jobs: Sequence[Job], drawings: Iterable[int]) -> list[tuple[int, Job, int]]:
    """What sets of jobs without a kit call for that no copy has a piece for."""
    allotted = Allotment.objects.filter(position=OuterRef("pk"))
    rows = SetPosition.objects.filter(
        set_pass__tool_set__in={job.tool_set_id for job in jobs}
    ).annotate(has_piece=Exists(allotted))
    by_set: dict[int, list[Any]] = defaultdict(list)
    fields = ("set_pass__tool_set_id", "variant_id", "set_pass_id", "shaft", "order", "drawing_id",
              "has_piece")  # fmt: skip
    for tool_set, *rest in rows.values_list(*fields):
        by_set[tool_set].append(rest)
    pooled = set(drawings)
    return [
        (drawing, job, count)
        for job in jobs
        for drawing, count in _called_for(job, by_set.get(job.tool_set_id, ()), pooled).items()
    ]


def _called_for(job: Job, rows: Iterable[Any], pooled: set[int]) -> Mapping[int, int]:
    """By drawing, the positions of the job's variant that a bin would fill."""
    spots: dict[Any, tuple[bool, int, bool]] = {}
    for variant, set_pass, shaft, order, drawing, has_piece in rows:
        if variant is not None and variant != job.variant_id:
            continue
        own = variant is not None
        spot = (set_pass, shaft, order)
        if spot not in spots or own:
            spots[spot] = (own, drawing, has_piece)
    found: dict[int, int] = defaultdict(int)
    for _own, drawing, has_piece in spots.values():
        if drawing in pooled and not has_piece:
            found[drawing] += 1
    return found


def _ordered(drawings: Iterable[int]) -> dict[int, tuple[int, Any]]:
    """By drawing, what open orders still lack of it by count, and the first day it is due."""
    came = standing().filter(line=OuterRef("pk")).order_by().values("line")
    rows = PurchaseLine.objects.filter(
        purchase__is_open=True, is_counted=True, revision__drawing__in=drawings
    ).annotate(came=Coalesce(Subquery(came.annotate(n=Sum("quantity")).values("n")), 0))
    found: dict[int, tuple[int, Any]] = {}
    fields = ("revision__drawing_id", "quantity", "came", "purchase__due_on")
    for drawing, quantity, received, due in rows.values_list(*fields):
        count, first = found.get(drawing, (0, None))
        lacking = max(0, quantity - received)
        first = min(filter(None, (first, due)), default=None) if lacking else first
        found[drawing] = (count + lacking, first)
    return found


def _need(
    pk: int, stock: _Stock, wants: Sequence[_Wanting], ordered: tuple[int, Any] | None
) -> Need:
    line = stock.first
    wanted, lacking, when, jobs = _peak(stock, wants)
    have = stock.owned.get(0, 0)
    count, due = ordered or (0, None)
    return Need(
        drawing=line.drawing.number,
        title=line.drawing.title,
        kind=line.drawing.kind,
        unit=line.drawn_unit,
        face_width_nm=line.drawn_width,
        bore_nm=line.drawn_bore,
        have=sum(stock.owned.values()),
        with_kits=stock.with_kits,
        least=stock.least,
        wanted=wanted,
        wanted_at=when,
        jobs=jobs,
        short_by=max(stock.least - sum(stock.owned.values()), lacking - have, 0),
        ordered=count,
        due_on=due,
        bins=tuple(stock.bins),
    )


def _peak(
    stock: _Stock, wants: Sequence[_Wanting]
) -> tuple[int, int, datetime | None, tuple[str, ...]]:
    """When jobs want most at once: how many, how many of it the shop's own must cover, when, and
    which jobs. A customer's own serve its jobs first."""
    best: tuple[int, int, datetime | None, tuple[str, ...]] = (0, 0, None, ())
    for moment in sorted({each.binding.begins for each in wants}):
        bound = [w for w in wants if w.binding.begins <= moment < w.binding.ends]
        total = sum(each.count for each in bound)
        covered = sum(
            min(stock.owned.get(customer, 0), sum(w.count for w in bound if w.customer == customer))
            for customer in {each.customer for each in bound if each.customer}
        )
        if total - covered > best[1]:
            best = (total, total - covered, moment, tuple(sorted(w.binding.job for w in bound)))
    return best
