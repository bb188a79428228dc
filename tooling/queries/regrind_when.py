"""When to send which set to the grinder, and for its most worn piece recut against replace.

A set is due when the first of its rolls passes a limit at the chosen confidence, in the strip that
its planned jobs put on. Jobs without a kit run on the set's first copy.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from tooling.engineering.replacing import Choice, Costs, recut_or_replace
from tooling.engineering.timing import (
    Calendar,
    DueSet,
    JobUse,
    Lead,
    Option,
    learned_lead,
    plan_windows,
)
from tooling.engineering.wear.prior import Prior
from tooling.models import (
    Allotment,
    DrawingRevision,
    Job,
    Kit,
    OrderState,
    Piece,
    PlanState,
    RegrindOrder,
    RegrindOrderLine,
    RegrindPlan,
    SetCopy,
    Shop,
    WearState,
    Work,
    WorkKind,
)
from tooling.queries.approvals import answers_about
from tooling.queries.pieces import size_of
from tooling.queries.regrind_facts import ROLLS
from tooling.queries.regrind_when_views import (
    ChoiceView,
    JobView,
    OptionView,
    WhenPage,
    WindowView,
)
from tooling.queries.settings import Given, given_settings
from tooling.queries.strip_left import Run, StripLeft, equivalent_m, strip_left, with_job
from tooling.queries.wear_prior import learned

LONGEST_DAYS = 365
SETTINGS = (
    *("due_back_grinder", "lead_orders_least", "grinder_pieces_a_week", "owner_answer_days"),
    *("regrind_replace_above", "usual_stock_per_cut"),
)


@dataclass(frozen=True)
class _Copy:
    row: SetCopy
    pieces: Sequence[Piece]


def when_page(*, at: datetime) -> WhenPage:
    """The calendar of all sets. At most thirteen queries, however many sets and
    jobs."""
    copies = _copies()
    ids = {piece.pk for copy in copies.values() for piece in copy.pieces}
    given, prior = given_settings(list(SETTINGS)), learned().prior
    today = timezone.localdate(at)
    lead = _lead(given)
    a_week = int(given.value("grinder_pieces_a_week"))
    states = _states(ids, prior)
    away = _away(ids)
    owing = _owing(copies, today)
    jobs = _jobs(copies, at)
    plans = _plans()
    governs = {
        pk: _governs(copy, states, jobs.get(pk, ()), prior, today) for pk, copy in copies.items()
    }
    due = [
        _due(copy, governs[pk], owing.get(pk, ()), away, plans.get(pk), given)
        for pk, copy in copies.items()
    ]
    found = plan_windows(due, lead, today.toordinal(), pieces_a_week=a_week or None)
    by_name = {_name(copy.row): pk for pk, copy in copies.items()}
    costs = _Costs(ids, given)
    views = [
        _view(n, found, copies, by_name, governs, jobs, owing, away, plans, costs, today)
        for n in range(len(found.windows))
    ]
    currency = Shop.objects.values_list("currency", flat=True).first() or ""
    return WhenPage(today, tuple(views), lead, a_week, found.is_proven, currency)


def _name(row: SetCopy) -> str:
    return f"{row.tool_set.number}-{row.letter}"


def _copies() -> dict[int, _Copy]:
    """Copies with their rolls. One query."""
    rows = (
        Allotment.objects.filter(piece__drawing__kind__in=ROLLS)
        .select_related("copy__tool_set", "piece__owner", "piece__revision")
        .order_by("copy__tool_set__number", "copy__letter", "piece__code")
    )
    found: dict[int, tuple[SetCopy, list[Piece]]] = {}
    for row in rows:
        found.setdefault(row.copy_id, (row.copy, []))[1].append(row.piece)
    return {pk: _Copy(copy, tuple(pieces)) for pk, (copy, pieces) in found.items()}


@dataclass(frozen=True)
class _Point:
    """A gauge point with what is left there."""

    state: WearState
    left: StripLeft


@dataclass(frozen=True)
class _Governs:
    """Of a copy: its jobs with what is left up to each, the point that is used up first in them, or
    has the least left after all, and what is sure of that in such strip, m of cold rolled."""

    uses: tuple[JobUse, ...]
    state: WearState | None
    left_m: float | None


def _states(ids: Collection[int], prior: Prior) -> dict[int, list[_Point]]:
    """Piece → its points of which a length is known. One query."""
    rows = WearState.objects.filter(piece__in=ids, left_sure_m__isnull=False)
    found: dict[int, list[_Point]] = defaultdict(list)
    for row in rows.order_by("left_sure_m", "pk"):
        found[row.piece_id].append(_Point(row, strip_left(row, prior)))
    return found


def _away(ids: Collection[int]) -> dict[int, date]:
    """Piece → when its open order is due back. One query."""
    rows = RegrindOrderLine.objects.filter(
        piece__in=ids,
        is_open=True,
        sent_at__isnull=False,
        back_at=None,
        order__due_on__isnull=False,
    )
    return dict(rows.values_list("piece_id", "order__due_on"))  # type: ignore[arg-type]


def _owing(copies: Mapping[int, _Copy], today: date) -> dict[int, tuple[str, ...]]:
    """Copy → owners who have not allowed a regrind. One query."""
    theirs = [p for copy in copies.values() for p in copy.pieces if not p.owner.is_shop]
    answers = answers_about("regrind", theirs)
    found = {}
    for pk, copy in copies.items():
        names = {p.owner.name for p in copy.pieces if not p.owner.is_shop
                 and not answers.standing(p, today).is_given}  # fmt: skip
        if names:
            found[pk] = tuple(sorted(names))
    return found


def _jobs(copies: Mapping[int, _Copy], at: datetime) -> dict[int, list[Job]]:
    """Copy → the planned jobs that run on it. Two queries."""
    rows = list(
        Job.objects.filter(
            state="planned", tool_set__in={copy.row.tool_set_id for copy in copies.values()},
            starts_at__lte=at + timedelta(days=LONGEST_DAYS),
        ).order_by("starts_at", "number")
    )  # fmt: skip
    kits = Kit.objects.filter(job__in=rows, copy__isnull=False).exclude(state="closed")
    chosen = dict(kits.values_list("job_id", "copy_id"))
    first: dict[int, int] = {}
    for pk, copy in copies.items():
        first.setdefault(copy.row.tool_set_id, pk)
    found: dict[int, list[Job]] = defaultdict(list)
    for job in rows:
        own = chosen.get(job.pk)
        runs_on = own if own in copies and own is not None else first[job.tool_set_id]
        found[runs_on].append(job)
    return found


def _plans() -> dict[int, tuple[str, int]]:
    """Copy → its newest solved plan and how many pieces that works on. Two queries."""
    rows = RegrindPlan.objects.filter(state=PlanState.SOLVED).order_by("made_at", "pk")
    found = {}
    for plan in rows.prefetch_related("copies"):
        decisions = plan.answer.get("decisions", ())
        worked = sum(each["kind"] in ("cut", "face") for each in decisions)
        for row in plan.copies.all():
            found[row.copy_id] = (plan.number, worked)
    return found


def _lead(given: Given) -> Lead:
    """From orders that went out and are released. One query."""
    rows = RegrindOrder.objects.filter(
        state=OrderState.RELEASED, sent_at__isnull=False, ended_at__isnull=False
    ).order_by("-ended_at")[:200]
    days = [
        max(0, (ended - sent).days) for sent, ended in rows.values_list("sent_at", "ended_at")
        if sent is not None and ended is not None
    ]  # fmt: skip
    return learned_lead(
        days,
        setting=int(given.value("due_back_grinder")),
        least=int(given.value("lead_orders_least")),
    )


def _due(
    copy: _Copy, governs: _Governs, owing: Sequence[str], away: Mapping[int, date],
    plan: tuple[str, int] | None, given: Given,
) -> DueSet:  # fmt: skip
    back = [away[piece.pk] for piece in copy.pieces if piece.pk in away]
    return DueSet(
        name=_name(copy.row),
        left_m=governs.left_m,
        jobs=governs.uses,
        pieces=plan[1] if plan and plan[1] else len(copy.pieces),
        approval_days=int(given.value("owner_answer_days")) if owing else 0,
        back=max(back).toordinal() if back else None,
    )


def _governs(
    copy: _Copy, states: Mapping[int, Sequence[_Point]], jobs: Sequence[Job], prior: Prior,
    today: date,
) -> _Governs:  # fmt: skip
    """What governs a copy in the strip of its jobs, those that are over left out."""
    points = [each for piece in copy.pieces for each in states.get(piece.pk, ())]
    run: dict[str, float] = {}
    uses: list[JobUse] = []
    first: tuple[WearState, float] | None = None
    for job in sorted(jobs, key=lambda each: (_days(each)[0], each.number)):
        (begin, end), left_m = _days(job), None
        strip = with_job({}, job.strip_class, job.length_nm)
        if end >= today and first is None:
            run = with_job(run, job.strip_class, job.length_nm)
            least = _least(points, run)
            left_m = least[1] if least else None
            if least is not None and equivalent_m(run, prior) > least[1]:
                first = least
        uses.append(
            JobUse(
                job.number, begin.toordinal(), end.toordinal(), equivalent_m(strip, prior), left_m
            )
        )
    found = first or _least(points, run)
    return _Governs(tuple(uses), *(found or (None, None)))


def _least(points: Sequence[_Point], run: Run) -> tuple[WearState, float] | None:
    """The point with the least left in strip like this run, and how much is sure."""
    lengths = [(each.left.left_m("sure", run) or 0.0, each.state) for each in points]
    if not lengths:
        return None
    left_m, state = min(lengths, key=lambda each: (each[0], each[1].pk))
    return state, left_m


def _days(job: Job) -> tuple[date, date]:
    """The day it is gathered and the day it ends."""
    ends = job.starts_at + timedelta(hours=job.hours)
    begin = timezone.localdate(min(job.gathers_at, job.starts_at))
    return begin, max(begin, timezone.localdate(ends))


class _Costs:
    """What recutting and replacing cost. Three queries."""

    def __init__(self, ids: Collection[int], given: Given) -> None:
        self.given = given
        rows = Work.objects.filter(
            kind__in=(WorkKind.REGRIND, WorkKind.RECONTOUR, WorkKind.FACE), corrected_by=None,
            cost_cents__isnull=False,
        )  # fmt: skip
        own: dict[int, list[int]] = defaultdict(list)
        for piece, cents in rows.values_list("piece_id", "cost_cents"):
            own[piece].append(cents or 0)
        every = [cents for each in own.values() for cents in each]
        self.own = {piece: sum(each) // len(each) for piece, each in own.items()}
        self.usual = sum(every) // len(every) if every else None
        drawn = DrawingRevision.objects.filter(is_current=True, drawing__pieces__in=ids)
        self.drawn = {row.drawing_id: row for row in drawn.distinct()}

    def choice(self, piece: Piece, state: WearState) -> Choice:
        drawn = self.drawn.get(piece.drawing_id, piece.revision)
        stock = self.given.value("usual_stock_per_cut", unit=piece.unit)
        now, new, least = (
            size_of(piece, "drive_diameter"),
            drawn.drive_diameter_nm,
            drawn.least_drive_diameter_nm,
        )
        length = state.equivalent_m + (state.left_half_m or 0.0)
        left = new_left = None
        if least:
            left = max(0, now - least) // int(stock) if now else None
            new_left = max(0, new - least) // int(stock) if new else None
        costs = Costs(
            length_m=length if state.left_half_m is not None and length > 0 else None,
            recut_cents=self.own.get(piece.pk, self.usual),
            new_cents=drawn.new_cost_cents,
            left=left,
            new_left=new_left,
        )
        above = self.given.value("regrind_replace_above") / 100
        return recut_or_replace(costs, replace_above=above)


def _view(
    n: int, found: Calendar, copies: Mapping[int, _Copy], by_name: Mapping[str, int],
    governs_of: Mapping[int, _Governs], jobs: Mapping[int, Sequence[Job]],
    owing: Mapping[int, tuple[str, ...]], away: Mapping[int, date],
    plans: Mapping[int, tuple[str, int]], costs: _Costs, today: date,
) -> WindowView:  # fmt: skip
    window = found.windows[n]
    pk = by_name[window.name]
    copy, state = copies[pk], governs_of[pk].state
    rows = {piece.pk: piece for piece in copy.pieces}
    back = [away[piece] for piece in rows if piece in away]
    governs = rows[state.piece_id] if state else None
    plan = plans.get(pk)
    return WindowView(
        copy=window.name,
        set_name=copy.row.tool_set.name,
        rolls=len(copy.pieces),
        pieces=plan[1] if plan and plan[1] else len(copy.pieces),
        left_m=governs_of[pk].left_m,
        governs=governs.code if governs else "",
        governs_mark=governs.mark if governs else "",
        crosses=window.crosses,
        deadline=_date(window.deadline),
        chosen=_option(window.chosen) if window.chosen else None,
        options=tuple(_option(each) for each in window.options),
        jobs=tuple(
            JobView(job.number, *_days(job), crosses=job.number == window.crosses)
            for job in jobs.get(pk, ())
        ),
        earlier_days=window.earlier_than_alone,
        slack=window.slack,
        owes_approval=owing.get(pk, ()),
        away_until=max(back) if back else None,
        plan=plan[0] if plan else "",
        choice=_choice(costs.choice(governs, state), governs) if governs and state else None,
        today=today,
    )


def _choice(told: Choice, piece: Piece) -> ChoiceView:
    return ChoiceView(
        piece.code, told.says, told.recut_per_km, told.replace_per_km, told.open, told.rule
    )


def _date(day: int | None) -> date | None:
    return None if day is None else date.fromordinal(day)


def _option(each: Option) -> OptionView:
    return OptionView(
        opens=date.fromordinal(each.opens),
        closes=_date(each.closes),
        out=date.fromordinal(each.out),
        back=date.fromordinal(each.back),
        state=each.state,
        next_job=each.next_job,
        slips=each.slips,
        passes=each.passes,
    )
