"""Pooled stock as kits claim it: by drawing until it is staged, from whichever bins have it.

A position is pooled when it claims no piece and names a bin, or names none but its kit was
assembled, its drawing lies in bins, and no set from paper is to have a piece for it (a spacer
that fills a shaft is called for by no set).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property

from django.db.models import Q

from tooling.engineering.counts_over_time import Bin, Claimant, Share, Wanted, bins_for, share_of
from tooling.models import NOT_FIT, Condition, Job, Place, StockLine
from tooling.queries.bindings import Binding, OpenKit
from tooling.queries.consents import Consents, is_own
from tooling.queries.whereabouts import Whereabouts

POOLED = Q(piece=None) & (
    Q(stock_line__isnull=False)
    | Q(kit__assembled_at__isnull=False)
    & (
        Q(kit__copy=None)
        | Q(kit__copy__from_paper_count=None)
        | Q(set_position__variant__isnull=False)
        | ~Q(fill="")
    )
)
"""Positions that claim one of a count, if their drawing lies in any bin."""

UNUSABLE = (*NOT_FIT, Condition.HOLD)


def is_pooled(kit: OpenKit, *, line_id: int | None, variant_id: int | None, fill: str = "") -> bool:
    """The same of one row of an open kit that claims no piece."""
    if line_id is not None:
        return True
    return kit.is_assembled and (not kit.is_on_paper or variant_id is not None or bool(fill))


@dataclass(frozen=True)
class Waiting:
    """So many of a drawing's count that a kit still wants, from this bin if it is chosen."""

    kit_id: int
    drawing_id: int
    line_id: int | None
    count: int = 1


@dataclass(frozen=True)
class Pool:
    """All of one drawing: its bins in walking order, those of them from which a kit may fetch,
    and who wants how many. ``gathered``: by bin, the open kit in whose gathering place it lies."""

    lines: tuple[StockLine, ...]
    bins: tuple[Bin, ...]
    free: Mapping[int, int]
    gathered: Mapping[int, int]
    wanted: Mapping[int, Wanted]
    now: datetime
    known: dict[int, Share] = field(default_factory=dict)
    """What each kit has among all others, once it was asked."""

    @cached_property
    def is_plenty(self) -> bool:
        """Whether what every kit may use is enough for all of them together: nobody lacks any."""
        shared = [set(each.kit.may_use) for each in self.wanted.values()]
        common = set.intersection(*shared) if shared else set()
        free = sum(self.free.get(kind, 0) for kind in common)
        return sum(each.kit.wants for each in self.wanted.values()) <= free

    def share_of(self, key: int) -> Share:
        """What there is for an open kit that wants some, among all the others."""
        if key not in self.known:
            others = [other for other in self.wanted if other != key]
            self.known[key] = self.share(self.wanted[key], among=others)
        return self.known[key]

    def share(self, me: Wanted, *, among: Collection[int]) -> Share:
        """What there is for a kit that wants some, among other kits by their ids."""
        others = [self.wanted[key].kit for key in among if key in self.wanted]
        return share_of(me.kit, others, self.free, now=self.now)

    def bins_of(self, me: Wanted, *, among: Collection[int], most: int) -> dict[int, int]:
        """From which bins, by id, it may take how many now, in walking order."""
        others = [self.wanted[key] for key in among if key in self.wanted]
        return bins_for(me, others, self.bins, most=most, now=self.now)


@dataclass(frozen=True)
class Pools:
    """The pools of the drawings that were asked about, by drawing id; none for those that lie in
    no bin."""

    by_drawing: Mapping[int, Pool] = field(default_factory=dict)
    consents: Consents | None = None
    now: datetime | None = None
    horizon: timedelta = timedelta(0)

    def wanted(
        self, drawing: int, *, kit_id: int, job: Job, wants: int, bound: Mapping[int, int]
    ) -> Wanted:
        """A kit's claim on a drawing, ``bound`` by bin id."""
        assert self.consents is not None
        lines = self.by_drawing[drawing].lines
        return _wanted(kit_id, job, lines, self.consents, wants=wants, bound=bound)

    def lets(self, line: StockLine, job: Job) -> bool:
        """Whether the owner of what is in the bin lets the job have it."""
        return self.consents is not None and self.consents.lets(line, job)

    def is_near(self, binding: Binding) -> bool:
        """Whether the kit is gathered so soon that its bins are chosen."""
        return self.now is not None and binding.begins - self.horizon <= self.now


def pools_of(
    lines: Mapping[int, Sequence[StockLine]],
    waiting: Iterable[Waiting],
    *,
    kits: Mapping[int, OpenKit],
    away: Whereabouts,
    consents: Consents,
    now: datetime,
    horizon: timedelta,
) -> Pools:
    """The pools of these bins, by drawing, among the open kits and what they still want. No
    query; ``consents`` must have been asked for these bins and all the jobs."""
    claims = _claims(waiting)
    areas = {
        _last(path): kit.id
        for kit in kits.values()
        for path in (*kit.stands_paths, kit.place_path)
        if path
    }
    return Pools(
        by_drawing={
            pk: _pool(rows, claims.get(pk, {}), kits, areas, away, consents, now)
            for pk, rows in lines.items()
        },
        consents=consents,
        now=now,
        horizon=horizon,
    )


def lines_of(drawings: Collection[int]) -> dict[int, list[StockLine]]:
    """All bins of these drawings, each drawing's in walking order. One query, none without any."""
    by: dict[int, list[StockLine]] = defaultdict(list)
    if drawings:
        rows = StockLine.objects.filter(drawing__in=drawings).select_related("place", "owner")
        for line in rows.order_by("place__walking_order", "place__path", "code"):
            by[line.drawing_id].append(line)
    return by


@dataclass
class _Claims:
    """What one kit still wants of a drawing, and how many of it of which bin."""

    wants: int = 0
    bound: dict[int, int] = field(default_factory=dict)


def _claims(waiting: Iterable[Waiting]) -> dict[int, dict[int, _Claims]]:
    """By drawing and kit."""
    by: dict[int, dict[int, _Claims]] = defaultdict(lambda: defaultdict(_Claims))
    for each in waiting:
        claims = by[each.drawing_id][each.kit_id]
        claims.wants += each.count
        if each.line_id is not None:
            claims.bound[each.line_id] = claims.bound.get(each.line_id, 0) + each.count
    return by


def _last(path: str) -> str:
    return path.rstrip("/").rsplit("/", 1)[-1]


def _pool(
    lines: Sequence[StockLine],
    claims: Mapping[int, _Claims],
    kits: Mapping[int, OpenKit],
    areas: Mapping[str, int],
    away: Whereabouts,
    consents: Consents,
    now: datetime,
) -> Pool:
    usable = [
        line
        for line in lines
        if line.count and line.condition not in UNUSABLE and away.beyond_reach(line.place) is None
    ]
    inside = {line.pk: kit for line in usable if (kit := _area(line.place, areas)) is not None}
    free: dict[int, int] = defaultdict(int)
    bins = []
    gathered: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for line in usable:
        if line.pk in inside:
            gathered[inside[line.pk]][line.owner_id] += line.count
        else:
            free[line.owner_id] += line.count
            bins.append(Bin(line.pk, line.owner_id, line.count))
    wanted = {}
    for key in {*claims, *gathered}:
        mine = claims.get(key) or _Claims()
        found = _wanted(key, kits[key].job, lines, consents, wants=mine.wants, bound=mine.bound)
        wanted[key] = replace(found, kit=replace(found.kit, gathered=gathered.get(key, {})))
    return Pool(tuple(lines), tuple(bins), free, inside, wanted, now)


def _area(place: Place, areas: Mapping[str, int]) -> int | None:
    """The open kit in whose gathering place, the inmost, the place is or lies; or on whose plate,
    or on the mill where its setup stands."""
    return next((areas[c] for c in reversed(place.path.split("/")) if c in areas), None)


def _wanted(
    kit_id: int,
    job: Job,
    lines: Sequence[StockLine],
    consents: Consents,
    *,
    wants: int,
    bound: Mapping[int, int],
) -> Wanted:
    owners = {line.pk: line.owner_id for line in lines}
    by_owner: dict[int, int] = defaultdict(int)
    for line, count in bound.items():
        if line in owners:
            by_owner[owners[line]] += count
    binding = Binding.of(job)
    claimant = Claimant(
        key=kit_id,
        begins=binding.begins,
        ends=binding.ends,
        turn=(binding.begins, binding.job),
        wants=wants,
        may_use=_may_use(job, lines, consents),
        bound=by_owner,
    )
    return Wanted(claimant, bound)


def _may_use(job: Job, lines: Sequence[StockLine], consents: Consents) -> tuple[int, ...]:
    """The owners whose counts the job may have: its customer's own first, the shop's last."""
    owners = {line.owner_id: line for line in lines}
    let = [line for line in owners.values() if consents.lets(line, job)]
    return tuple(
        line.owner_id
        for line in sorted(
            let,
            key=lambda line: (line.owner.is_shop, not is_own(line, job), line.owner_id),
        )
    )
