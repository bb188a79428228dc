"""How one piece wears: every gauge point with its readings, its line and band, cuts, the jobs to
come, what stands out, and how the forecast came about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from tooling.engineering.how import Step
from tooling.engineering.wear import (
    Forecast,
    History,
    Prior,
    Says,
    columns,
    forecast,
    forecast_one,
)
from tooling.models import Gauge, GaugePoint, Reading, WearState
from tooling.queries.by_code import piece_of
from tooling.queries.conformity import Statement, limit_of, statement_of
from tooling.queries.planned_strip import Planned, planned_for
from tooling.queries.settings import setting_value
from tooling.queries.strip_left import lasts_until, strip_left
from tooling.queries.wear import incidents_of
from tooling.queries.wear_lives import Life, lives
from tooling.queries.wear_present import with_earlier
from tooling.queries.wear_prior import learned, rules
from tooling.queries.wear_words import flag_sentences, says_word, to_measure

BAND_PARTS = 16
NM_PER_KM = 1e12


@dataclass(frozen=True)
class ReadingView:
    """One reading of a point. ``at_km``: equivalent strip when it was read, since new; ``u_nm``
    standard; ``off``: how many deviations from the line, where it breaks from it. ``is_past``:
    of before the last cut."""

    id: int
    at: datetime
    at_km: float
    value_nm: int | None
    verdict: str
    end: str
    unit: str
    u_nm: float
    gauge: str
    by: str
    is_off: bool
    off: float
    weight: float
    statement: Statement
    is_past: bool = False

    @property
    def u_um(self) -> float:
        """Expanded, k = 2."""
        return 2 * self.u_nm / 1_000


@dataclass(frozen=True)
class BandAt:
    """Where nine of ten readings lie after so much strip; nm."""

    at_km: float
    low_nm: int
    middle_nm: int
    high_nm: int


@dataclass(frozen=True)
class CutView:
    """A cut, at the equivalent strip (since new) that had run then."""

    at_km: float
    on: date


@dataclass(frozen=True)
class Ahead:
    """A job to come, at the equivalent strip at which it ends."""

    job: Planned
    from_km: float
    to_km: float
    chance: float | None

    @property
    def percent(self) -> str:
        """In words where it is nearly sure: nothing to come is told as certain."""
        percent = 100 * (self.chance or 0.0)
        if percent < 1:
            return _("under 1")
        return _("over 99") if percent > 99 else f"{percent:.0f}"


@dataclass(frozen=True)
class PointWear:
    """One gauge point at one end. Lengths of strip in km of cold rolled where not said.
    ``line``, ``band``: empty for a template, where nothing is known of the rate, and where no value
    is known to begin from (not ``has_start``)."""

    name: str
    where: str
    kind: str
    end: str
    is_length: bool
    grows: bool
    unit: str
    limit_nm: float | None
    now_km: float
    readings: tuple[ReadingView, ...]
    line: tuple[tuple[float, float], ...]
    band: tuple[BandAt, ...]
    cuts: tuple[CutView, ...]
    ahead: tuple[Ahead, ...]
    incidents: tuple[tuple[float, str, int], ...]
    says_word: str
    left_half_nm: int | None
    left_sure_nm: int | None
    until: datetime | None
    run_nm: int
    rate_um: float
    rate_low_um: float
    rate_high_um: float
    pool: str
    flags: tuple[str, ...]
    flag_words: tuple[str, ...]
    look_words: tuple[str, ...]
    is_assumed: bool
    has_start: bool
    how: tuple[Step, ...]

    @property
    def title(self) -> str:
        return f"{self.name} {self.end}".strip()


@dataclass(frozen=True)
class PieceWear:
    """``confidence`` in percent; ``strip_class`` in which the length left is told."""

    code: str
    mark: str
    drawing: str
    unit: str
    strip_class: str
    confidence: float
    points: tuple[PointWear, ...]


@dataclass(frozen=True)
class _Known:
    """What all points of the piece share."""

    prior: Prior
    asked: Any
    kind: str
    chosen: str
    jobs: tuple[Planned, ...]
    factors: Mapping[str, float]
    incidents: Sequence[tuple[datetime, str, int]]
    states: Mapping[tuple[int, str], WearState]
    readings: Mapping[int, Reading]
    k: float


def piece_wear(code: str, *, at: datetime, chosen: str = "") -> PieceWear:
    """Eighteen queries, whatever the readings. Raises Unknown ``unknown_code``."""
    piece = piece_of(code)
    known = learned()
    whole = lives([piece.pk], learned=known.pools, past=True)
    jobs = planned_for([piece.pk], at=at).get(piece.pk, ())
    kind = chosen or (jobs[0].strip_class if jobs else "")
    rows = Reading.objects.filter(piece=piece, corrected_by=None).select_related("gauge", "by")
    shared = _Known(
        prior=known.prior,
        asked=rules(),
        kind=kind,
        chosen=chosen,
        jobs=jobs,
        factors={job.strip_class: known.prior.factor(chosen or job.strip_class) for job in jobs},
        incidents=incidents_of(piece.pk),
        states={(s.point_id, s.end): s for s in WearState.objects.filter(piece=piece)},
        readings={row.pk: row for row in rows},
        k=float(setting_value("guard_band")),
    )
    points = GaugePoint.objects.in_bulk({life.point_id for life in whole})
    grouped: dict[tuple[int, str], list[Life]] = {}
    for life in whole:
        grouped.setdefault((life.point_id, life.end), []).append(life)
    made = [_point(points[key[0]], mine, shared, piece.unit) for key, mine in grouped.items()]
    return PieceWear(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        unit=piece.unit,
        strip_class=kind,
        confidence=round(shared.asked.confidence * 100, 1),
        points=tuple(made),
    )


def _point(point: GaugePoint, mine: Sequence[Life], known: _Known, unit: str) -> PointWear:
    present = with_earlier(mine, known.prior)[-1]
    starts, total = [], 0.0
    for life in mine:
        starts.append(total)
        total += known.prior.equivalent_nm(life.history.run_nm) / NM_PER_KM
    begin = starts[-1]
    told = forecast_one(present.history, known.prior, known.asked)
    state = known.states.get((point.pk, present.end))
    left = strip_left(state, known.prior) if state is not None else None
    half = left.left_m("half", {known.kind: 1.0}) if left is not None else None
    until = None
    if left is not None and known.jobs and str(told.says) == "own":
        until = lasts_until(left, known.jobs, known.chosen)
    flags = tuple(state.flags) if state is not None else told.flags
    is_length = point.kind == "length"
    start = _start(present, begin, known.prior)
    after = start[1] if start is not None else None
    is_drawn = is_length and (told.says is not Says.NOTHING or bool(present.history.earlier))
    return PointWear(
        name=point.name,
        where=point.where,
        kind=point.kind,
        end=present.end,
        is_length=is_length,
        grows=point.grows,
        unit=unit,
        limit_nm=_limit(point, present, after),
        now_km=total,
        readings=_readings(point, mine, starts, told, known),
        line=_line(start, total, told) if is_drawn else (),
        band=_band(present, total, half, known) if is_drawn else (),
        cuts=tuple(
            CutView(start, life.cut_on)
            for start, life in zip(starts, mine, strict=True)
            if life.cut_on is not None
        ),
        ahead=_ahead(present.history, total, known),
        incidents=_incident_marks(mine, starts, known),
        says_word=says_word(str(told.says), len(present.history.earlier)),
        left_half_nm=None if left is None else left.left_nm("half", known.kind),
        left_sure_nm=None if left is None else left.left_nm("sure", known.kind),
        until=until,
        run_nm=present.run_nm,
        rate_um=told.rate_nm_per_km / 1_000,
        rate_low_um=told.rate_low / 1_000,
        rate_high_um=told.rate_high / 1_000,
        pool=present.history.spec.alike.replace("_", " "),
        flags=flags,
        flag_words=flag_sentences(each for each in flags if each != "through" or half != 0),
        look_words=to_measure(told.look, ran=present.run_nm > 0, ran_since=present.ran_since),
        is_assumed="after_cut" in told.look and "new" not in told.unmeasured,
        has_start=start is not None,
        how=told.how,
    )


def _readings(
    point: GaugePoint, mine: Sequence[Life], starts: Sequence[float], told: Forecast, known: _Known
) -> tuple[ReadingView, ...]:
    off = {each.reading.key: each for each in told.readings}
    found = []
    for start, life in zip(starts, mine, strict=True):
        new = life.start_nm
        for each in life.history.readings:
            row = known.readings.get(each.key) if isinstance(each.key, int) else None
            if row is None:
                continue
            line = off.get(each.key) if life.is_present else None
            day = row.happened_at.date()
            statement = statement_of(point, row, on=day, k=known.k, new_nm=new)
            found.append(
                ReadingView(
                    id=row.pk, at=row.happened_at,
                    at_km=start + known.prior.equivalent_nm(each.run_nm) / NM_PER_KM,
                    value_nm=row.value_nm, verdict=row.verdict, end=row.end, unit=row.unit,
                    u_nm=each.u_nm, gauge=_number(row.gauge), by=str(row.by) if row.by else "",
                    is_off=line.is_off if line else False, off=line.off if line else 0.0,
                    weight=line.weight if line else 1.0, statement=statement,
                    is_past=not life.is_present,
                )
            )  # fmt: skip
    return tuple(sorted(found, key=lambda view: view.at))


def _number(gauge: Gauge | None) -> str:
    return gauge.number if gauge is not None else ""


def _start(life: Life, begin: float, prior: Prior) -> tuple[float, int] | None:
    """From which strip and value depths are counted: after the cut or as new, else the first
    reading; None before that is taken."""
    if life.start_nm is not None:
        return begin, life.start_nm
    valued = [
        (sum(each.run_nm.values()), each.moment, n)
        for n, each in enumerate(life.history.readings)
        if each.value_nm is not None
    ]
    if not valued:
        return None
    first = life.history.readings[min(valued)[2]]
    return begin + prior.equivalent_nm(first.run_nm) / NM_PER_KM, round(first.value_nm or 0)


def _limit(point: GaugePoint, life: Life, after: int | None) -> float | None:
    """A depth limit of a point that was cut, and not measured since, is at no known value."""
    if point.limit_nm is None and after is None and life.cut_on is not None:
        return None
    return limit_of(point, after)


def _line(
    start: tuple[float, int] | None, now: float, told: Forecast
) -> tuple[tuple[float, float], ...]:
    """From the value after the cut to where the point is thought to be now."""
    if start is None or told.next_half_nm is None:
        return ()
    return ((start[0], float(start[1])), (now, float(told.next_half_nm)))


def _band(life: Life, now: float, half_m: float | None, known: _Known) -> tuple[BandAt, ...]:
    """From now on, to a little beyond the limit at even odds, or as far as the plan goes."""
    plan = sum(job.length_nm * known.factors[job.strip_class] / NM_PER_KM for job in known.jobs)
    reach = max(1.25 * half_m / 1_000 if half_m else 0.0, min(plan, 5 * max(now, 1.0)), 0.2 * now)
    reach = reach or 50.0
    factor = known.prior.factor(known.kind)
    asked = [
        replace(
            life.history,
            ahead_nm={known.kind: round(reach * n / BAND_PARTS / factor * NM_PER_KM)},
        )
        for n in range(BAND_PARTS + 1)
    ]
    found = forecast(columns(asked), known.prior, known.asked)
    return tuple(
        BandAt(now + reach * n / BAND_PARTS, round(low), round(middle), round(high))
        for n, (low, middle, high) in enumerate(
            zip(found.next_low, found.next_half, found.next_high, strict=True)
        )
        if low == low and high == high
    )


def _ahead(history: History, now: float, known: _Known) -> tuple[Ahead, ...]:
    """The jobs to come, each with the chance that the limit is passed by its end."""
    if not known.jobs:
        return ()
    ends: list[dict[str, int]] = []
    ran: dict[str, int] = {}
    for job in known.jobs:
        ran = {**ran, job.strip_class: ran.get(job.strip_class, 0) + job.length_nm}
        ends.append(ran)
    found = forecast(
        columns([replace(history, ahead_nm=run) for run in ends]), known.prior, known.asked
    )
    made, at = [], now
    for n, job in enumerate(known.jobs):
        to = at + job.length_nm * known.factors[job.strip_class] / NM_PER_KM
        chance = float(found.chance[n])
        made.append(Ahead(job, at, to, None if chance != chance else chance))
        at = to
    return tuple(made)


def _incident_marks(
    mine: Sequence[Life], starts: Sequence[float], known: _Known
) -> tuple[tuple[float, str, int], ...]:
    """Where on the strip each incident was: at the reading nearest before it."""
    marks = []
    for at, kind, number in known.incidents:
        spot = 0.0
        for start, life in zip(starts, mine, strict=True):
            if life.cut_at is not None and life.cut_at > at:
                continue
            spot = max(spot, start)
            for each in life.history.readings:
                row = known.readings.get(each.key) if isinstance(each.key, int) else None
                if row is not None and row.happened_at <= at:
                    run = known.prior.equivalent_nm(each.run_nm) / NM_PER_KM
                    spot = max(spot, start + run)
        marks.append((spot, kind, number))
    return tuple(marks)
