"""Wear: gauge points ranked by how much strip is left in them, what stands out, and the pools."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import exp

from django.db.models import F, Q

from tooling.engineering.wear import DEFAULT_FACTORS, Prior, strip_class
from tooling.models import Allotment, GaugePoint, Incident, Piece, WearPool, WearState
from tooling.queries.planned_strip import Planned, planned_for
from tooling.queries.strip_left import lasts_until, strip_left
from tooling.queries.wear_prior import EVERYTHING, learned
from tooling.queries.wear_words import flag_sentences, says_word, short_flags, why

MOST = 250
UM = 1_000


@dataclass(frozen=True)
class WearRow:
    """One gauge point of a piece. ``left_…_nm``: strip of the asked class, at even odds and at
    the chosen confidence; None where no limit is known, or no rate. ``until``: when the planned
    jobs use up what is sure; only where its own readings say it. Depths in nm."""

    piece: str
    mark: str
    drawing: str
    set_numbers: tuple[str, ...]
    place: str
    point: str
    end: str
    unit: str
    says: str
    says_word: str
    strip_class: str
    left_half_nm: int | None
    left_sure_nm: int | None
    until: datetime | None
    outlasts_plan: bool
    is_planned: bool
    run_nm: int
    readings: int
    depth_nm: float | None
    limit_nm: float | None
    last_read_at: datetime | None
    flags: tuple[str, ...]
    flag_words: tuple[str, ...]
    why: str

    @property
    def is_through(self) -> bool:
        return self.left_half_nm == 0


@dataclass(frozen=True)
class WearPage:
    """``classes``: those that may be chosen; ``more``: there are more points than are shown."""

    rows: tuple[WearRow, ...]
    classes: tuple[str, ...]
    chosen: str
    more: bool
    points: int


def wear_page(*, at: datetime, chosen: str = "", tool_set: str = "", only: str = "") -> WearPage:
    """Ranked by the days of planned work that what is sure lasts, then by strip left. Each piece in
    the class of its next job; ``chosen`` takes one class for all, and all planned work as of it.
    ``only``: ``flags`` or ``read`` (what is to be measured). Seven queries."""
    known = learned().prior
    rows = _states(tool_set, only)
    more = len(rows) > MOST
    rows = rows[:MOST]
    planned = planned_for({row.piece_id for row in rows}, at=at)
    made = [_row(row, planned.get(row.piece_id, ()), known, chosen) for row in rows]
    if only == "read":
        made = [row for row in made if row.why]
    classes = sorted({*DEFAULT_FACTORS, *known.factors}, key=known.factor)
    return WearPage(
        rows=tuple(sorted(made, key=_rank)),
        classes=tuple(classes),
        chosen=chosen,
        more=more,
        points=len(rows),
    )


def _states(tool_set: str, only: str) -> list[WearState]:
    """In one statement. Which rows is asked of their own table alone: with others joined to it
    neither database follows the index of lengths, but sorts a whole shop."""
    gone = Piece.objects.filter(place__kind__in=("lost", "scrap")).values("pk")
    unused = GaugePoint.objects.filter(is_in_use=False).values("pk")
    wanted = WearState.objects.exclude(point__in=unused).exclude(piece__in=gone)
    if tool_set:
        asked = tool_set.replace("\x00", "")
        of_set = Allotment.objects.filter(copy__tool_set__number__iexact=asked).values("piece")
        wanted = wanted.filter(piece__in=of_set)
    if only == "flags":
        wanted = wanted.exclude(flags=[])
    least = (F("left_sure_m").asc(nulls_last=True), "piece_id", "point_id", "end")
    rows = WearState.objects.select_related("piece__place", "piece__drawing", "point")
    shown = wanted.order_by(*least).values("pk")[: MOST + 1]
    return list(rows.filter(pk__in=shown).order_by(*least))


def _rank(row: WearRow) -> tuple[object, ...]:
    """The soonest used up first, then the least strip left, then what nobody can tell."""
    far = datetime.max.replace(tzinfo=row.until.tzinfo) if row.until else None
    until = row.until or far
    return (
        until is None,
        until.timestamp() if until else 0.0,
        row.left_sure_nm is None,
        row.left_sure_nm or 0,
        row.piece,
        row.point,
        row.end,
    )


def _row(state: WearState, jobs: Sequence[Planned], prior: Prior, chosen: str) -> WearRow:
    piece, point = state.piece, state.point
    kind = chosen or (jobs[0].strip_class if jobs else "")
    left, until, outlasts = strip_left(state, prior), None, False
    if left.sure_m is not None and jobs and state.says == "own":
        until = lasts_until(left, jobs, chosen)
        outlasts = until is None
    ran_since = state.equivalent_m > state.numbers.get("read_m", 0.0)
    return WearRow(
        piece=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        set_numbers=tuple(sorted({job.set_number for job in jobs})),
        place=piece.place.path_name or piece.place.name,
        point=point.name,
        end=state.end,
        unit=piece.unit,
        says=state.says,
        says_word=says_word(state.says, state.numbers.get("earlier", 0)),
        strip_class=strip_class(kind),
        left_half_nm=left.left_nm("half", kind),
        left_sure_nm=left.left_nm("sure", kind),
        until=until,
        outlasts_plan=outlasts,
        is_planned=bool(jobs),
        run_nm=state.run_nm,
        readings=state.readings,
        depth_nm=state.depth_nm,
        limit_nm=state.numbers.get("limit"),
        last_read_at=state.last_read_at,
        flags=tuple(state.flags),
        flag_words=short_flags(state.flags),
        why=why(state.numbers.get("look", []), ran=state.run_nm > 0, ran_since=ran_since),
    )


@dataclass(frozen=True)
class PoolView:
    """What like pieces wear: µm of depth per km of cold rolled strip, usual and in nine of ten."""

    key: str
    usual_um: float
    low_um: float
    high_um: float
    bedding_um: float
    pieces: int
    readings: int

    @property
    def name(self) -> str:
        return self.key.replace("_", " ")


@dataclass(frozen=True)
class FactorView:
    """What a class of strip wears against cold rolled. ``is_learned``: not from memory."""

    name: str
    factor: float
    low: float
    high: float
    is_learned: bool


@dataclass(frozen=True)
class PoolsPage:
    """Everything that was learned, in plain numbers; ``fitted_at`` None: nothing yet."""

    pools: tuple[PoolView, ...]
    factors: tuple[FactorView, ...]
    fitted_at: datetime | None
    points: int
    readings: int


def pools_page() -> PoolsPage:
    """Three queries."""
    prior = learned().prior
    rows = {row.key: row for row in WearPool.objects.all()}
    shared = rows.pop(EVERYTHING, None)
    pools = []
    for key in sorted(rows):
        pool, row = prior.pool(key), rows[key]
        spread = (pool.log_rate_sd**2 + pool.log_rate_se**2) ** 0.5
        pools.append(
            PoolView(
                key, exp(pool.log_rate) / UM, exp(pool.log_rate - 1.645 * spread) / UM,
                exp(pool.log_rate + 1.645 * spread) / UM, pool.bedding_nm / UM, row.pieces,
                row.readings,
            )
        )  # fmt: skip
    return PoolsPage(
        pools=tuple(pools),
        factors=tuple(_factor(prior, name) for name in sorted(prior.factors, key=prior.factor)),
        fitted_at=shared.fitted_at if shared else None,
        points=WearState.objects.count(),
        readings=shared.readings if shared else 0,
    )


def _factor(prior: Prior, name: str) -> FactorView:
    factor, spread = prior.factor(name), prior.factor_spread(name)
    wide = exp(1.645 * spread)
    is_learned = prior.factors.get(name) != DEFAULT_FACTORS.get(name)
    return FactorView(name, factor, factor / wide, factor * wide, is_learned)


def incidents_of(piece_id: int) -> list[tuple[datetime, str, int]]:
    """When, what, and its number. One query."""
    rows = Incident.objects.filter(Q(pieces__piece=piece_id), corrected_by=None)
    return [
        (row.happened_at, str(row.get_kind_display()), row.pk)
        for row in rows.order_by("happened_at").distinct()
    ]


def sentences(state: WearState) -> tuple[str, ...]:
    return flag_sentences(state.flags)
