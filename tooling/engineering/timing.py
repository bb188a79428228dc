"""When to send a set to the grinder: the latest time that is safe and disturbs no job.

Days are whole numbers (proleptic ordinals); lengths are metres of cold rolled strip, by which wear
is counted. No clock: today is given.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import Literal

from tooling.engineering.how import Step

Stop = Callable[[], bool]
State = Literal["safe", "too_short", "past_limit", "full"]
RULE = "common practice, no source"
WEEK = 7
MOST_NODES = 50_000
MOST_SETS = 200


def _require(is_so: bool, what: str) -> None:
    if not is_so:
        raise ValueError(what)


@dataclass(frozen=True)
class JobUse:
    """A job that runs the set: gathered, ended, and the strip it puts on it. ``left_m``: what is
    left in strip like that of the jobs up to its end; None: as of the set."""

    number: str
    gathers: int
    ends: int
    length_m: float
    left_m: float | None = None

    def __post_init__(self) -> None:
        _require(self.gathers <= self.ends, f"{self.number} ends before it is gathered")
        lengths = (self.length_m, self.left_m or 0.0)
        _require(min(lengths) >= 0, f"{self.number}: a length is not negative")


@dataclass(frozen=True)
class DueSet:
    """A set with its jobs. ``left_m``: strip until the first of its pieces passes its limit at the
    chosen confidence; None: no forecast. ``pieces``: so many go to the grinder. ``approval_days``:
    until owners have answered, 0 where nothing is owed. ``back``: away already, due back then."""

    name: str
    left_m: float | None
    jobs: tuple[JobUse, ...] = ()
    pieces: int = 1
    approval_days: int = 0
    back: int | None = None

    def __post_init__(self) -> None:
        _require(self.pieces >= 0 and self.approval_days >= 0, "pieces and days are not negative")
        _require(self.left_m is None or self.left_m >= 0, "a length left is not negative")
        names = [job.number for job in self.jobs]
        _require(len(set(names)) == len(names), f"{self.name}: a job is there twice")

    @property
    def in_order(self) -> tuple[JobUse, ...]:
        """The jobs as they come."""
        return tuple(sorted(self.jobs, key=lambda job: (job.gathers, job.number)))


@dataclass(frozen=True)
class Lead:
    """Days from sending out to being back and released. ``usual``: as often longer as shorter;
    ``safe``: what nine of ten orders kept. ``orders``: own orders behind it, 0: the setting."""

    usual: int
    safe: int
    orders: int = 0

    def __post_init__(self) -> None:
        _require(0 <= self.usual <= self.safe, "a lead time is not negative, safe not below usual")


@dataclass(frozen=True)
class Option:
    """A stretch between two jobs in which the set could be away.

    ``out``: latest day to send it so that it is back, with the safe lead time, ``back`` days later;
    ``opens`` … ``closes``: when no job has it (None: nothing planned after). ``slips``: by how many
    days the next job would wait, where the stretch is too short. ``passes``: the job during which
    the limit is passed, where it lies after that.
    """

    opens: int
    closes: int | None
    out: int
    back: int
    state: State
    next_job: str = ""
    slips: int = 0
    passes: str = ""


@dataclass(frozen=True)
class Window:
    """What is suggested for one set. ``crosses``: the job during which the limit is passed (empty:
    not in planned work), ``deadline`` the day it is gathered. ``chosen`` is None where no stretch
    is safe. ``earlier_than_alone``: days that the grinder's capacity moves it forward."""

    name: str
    crosses: str
    deadline: int | None
    options: tuple[Option, ...]
    chosen: Option | None
    earlier_than_alone: int = 0

    @property
    def slack(self) -> int | None:
        """Days between being back and the deadline."""
        if self.chosen is None or self.deadline is None:
            return None
        return self.deadline - self.chosen.back


@dataclass(frozen=True)
class Calendar:
    """Windows by urgency. ``is_proven``: no other choice has more safe sets or later windows."""

    windows: tuple[Window, ...]
    lead: Lead
    is_proven: bool
    steps: tuple[Step, ...] = ()


def learned_lead(days: Sequence[int], *, setting: int, least: int = 5) -> Lead:
    """The lead time from the shop's own orders, or the setting until there are ``least``.

    Usual: the median, rounded up. Safe: the smallest that nine of ten orders kept (nearest rank).
    Source: counting. Raises ValueError for negative days.
    """
    _require(all(each >= 0 for each in days) and setting >= 0, "days are not negative")
    if len(days) < max(1, least):
        return Lead(setting, setting)
    ranked = sorted(days)
    usual = -int(-median(ranked) // 1)
    return Lead(usual, max(usual, ranked[-(-9 * len(ranked) // 10) - 1]), len(ranked))


def crossing(due: DueSet, today: int) -> JobUse | None:
    """The job during which the limit is passed: none may run it before the set is recut."""
    if due.left_m is None:
        return None
    run = 0.0
    for job in due.in_order:
        if job.ends < today:
            continue
        run += job.length_m
        if run > (due.left_m if job.left_m is None else job.left_m):
            return job
    return None


def options(due: DueSet, lead: Lead, today: int) -> tuple[Option, ...]:
    """Every stretch between jobs from today on, each judged by itself, in order of time.

    A set is away from the day after one job ends to the day before the next is gathered; it can be
    sent once owners have answered, and once it is back from where it is.
    """
    crosses = crossing(due, today)
    jobs = [job for job in due.in_order if job.ends >= today]
    ready = max(today, today + due.approval_days, due.back or today)
    found, free, passed = [], ready, ""
    for job in [*jobs, None]:
        if job is None or job.gathers > min(free, today):
            found.append(_option(free, job, lead, passed))
        if job is not None:
            if crosses is not None and job.number == crosses.number:
                passed = job.number
            free = max(free, job.ends + 1)
    return tuple(found)


def _option(opens: int, job: JobUse | None, lead: Lead, passed: str) -> Option:
    closes = None if job is None else job.gathers - 1
    out = opens if closes is None else max(opens, closes - lead.safe)
    back = out + lead.safe
    slips = 0 if closes is None else max(0, back - closes)
    state: State = "past_limit" if passed else "too_short" if slips else "safe"
    return Option(opens, closes, out, back, state, job.number if job else "", slips, passed)


def plan_windows(
    sets: Sequence[DueSet],
    lead: Lead,
    today: int,
    *,
    pieces_a_week: int | None = None,
    should_stop: Stop = lambda: False,
) -> Calendar:
    """The latest safe window for every set whose limit planned work passes, most urgent first.

    All at once: what is sent in one week is no more than the grinder takes. Aims in order: sets
    with a safe window; days sent earlier than each alone could be. Raises ValueError for a set
    named twice or a capacity below nothing.
    """
    _require(len({each.name for each in sets}) == len(sets), "a set is there twice")
    _require(pieces_a_week is None or pieces_a_week >= 0, "a capacity is not negative")
    ways = {each.name: options(each, lead, today) for each in sets}
    dated = [each for each in sets if crossing(each, today) is not None]
    dated.sort(key=lambda each: (_deadline(each, today) or 0, each.name))
    picks, is_proven = _assign(dated, ways, pieces_a_week, should_stop)
    windows = [_window(each, ways[each.name], picks.get(each.name), today, lead) for each in sets]
    windows.sort(key=lambda each: (each.deadline is None, each.chosen is not None,
                                   each.chosen.out if each.chosen else 0, each.name))  # fmt: skip
    return Calendar(tuple(windows), lead, is_proven, tuple(_steps(windows, sets, lead, today)))


def _deadline(due: DueSet, today: int) -> int | None:
    job = crossing(due, today)
    return None if job is None else job.gathers


@dataclass(frozen=True)
class _Way:
    """One week in which a set can be sent: the latest day of it, and how much that is too early."""

    out: int
    early: int
    week: int


def _ways(found: Sequence[Option]) -> list[_Way]:
    """A set's weeks, latest first: in each safe stretch the latest day of every week."""
    safe = [each for each in found if each.state == "safe"]
    if not safe:
        return []
    latest = max(each.out for each in safe)
    days: dict[int, int] = {}
    for each in safe:
        for day in range(each.out, each.opens - 1, -1):
            days.setdefault((day - 1) // WEEK, day)
    return [_Way(day, latest - day, week) for week, day in sorted(days.items(), reverse=True)]


def _assign(
    dated: Sequence[DueSet], ways: dict[str, tuple[Option, ...]], pieces_a_week: int | None,
    should_stop: Stop,
) -> tuple[dict[str, int], bool]:  # fmt: skip
    """The day to send each set; what fits nowhere is left out. Exact for up to ``MOST_SETS``, as
    far as ``MOST_NODES`` reach; what is beyond takes what room is left."""
    weeks = {each.name: _ways(ways[each.name]) for each in dated}
    if pieces_a_week is None:
        return {name: found[0].out for name, found in weeks.items() if found}, True
    order = sorted(dated, key=lambda each: (len(weeks[each.name]), each.name))
    search = _Weeks(order[:MOST_SETS], weeks, pieces_a_week, should_stop)
    search.descend(0, (0, 0))
    chosen = search.best
    for each in order[MOST_SETS:]:
        search.fill(each)
    return chosen, not search.cut_off and len(order) <= MOST_SETS


class _Weeks:
    """Branch and bound over the weeks of sets. ``best`` after ``descend``."""

    def __init__(
        self, order: Sequence[DueSet], weeks: dict[str, list[_Way]], most: int, stop: Stop
    ) -> None:
        self.order, self.weeks, self.most, self.stop = order, weeks, most, stop
        self.best: dict[str, int] = {}
        self.best_rank = (len(order) + 1, 0)
        self.used: dict[int, int] = {}
        self.chosen: dict[str, int] = {}
        self.later: list[DueSet] = []
        self.nodes = 0
        self.cut_off = False

    def descend(self, at: int, rank: tuple[int, int]) -> None:
        """Every way for the sets from ``at`` on that can still be better than the best."""
        self.nodes += 1
        stopping = self.nodes % 256 == 0 and self.stop()
        if self.cut_off or self.nodes > MOST_NODES or stopping:
            self.cut_off = True
            return
        if at == len(self.order):
            if rank < self.best_rank:
                self.best, self.best_rank = dict(self.chosen), rank
            return
        due = self.order[at]
        for way in self.weeks[due.name]:
            step = (rank[0], rank[1] + way.early)
            if step >= self.best_rank:
                break
            if self.used.get(way.week, 0) + due.pieces <= self.most:
                self.used[way.week] = self.used.get(way.week, 0) + due.pieces
                self.chosen[due.name] = way.out
                self.descend(at + 1, step)
                self.used[way.week] -= due.pieces
                del self.chosen[due.name]
        if (rank[0] + 1, rank[1]) < self.best_rank:
            self.descend(at + 1, (rank[0] + 1, rank[1]))

    def fill(self, due: DueSet) -> None:
        """A further set in the latest week that still has room beside the best."""
        used: dict[int, int] = {}
        for other in (*self.order, *self.later):
            if other.name in self.best:
                week = (self.best[other.name] - 1) // WEEK
                used[week] = used.get(week, 0) + other.pieces
        for way in self.weeks[due.name]:
            if used.get(way.week, 0) + due.pieces <= self.most:
                self.best[due.name] = way.out
                self.later.append(due)
                return


def _window(
    due: DueSet, found: tuple[Option, ...], out: int | None, today: int, lead: Lead
) -> Window:
    crosses = crossing(due, today)
    name = crosses.number if crosses else ""
    deadline = crosses.gathers if crosses else None
    if crosses is None:
        return Window(due.name, name, deadline, found, None)
    alone = _ways(found)
    if out is None:
        told = tuple(_full(each) for each in found) if alone else found
        return Window(due.name, name, deadline, told, None)
    each = next(o for o in found if o.state == "safe" and o.opens <= out <= o.out)
    chosen = Option(each.opens, each.closes, out, out + lead.safe, "safe", each.next_job)
    return Window(due.name, name, deadline, found, chosen, alone[0].out - out)


def _full(each: Option) -> Option:
    if each.state != "safe":
        return each
    return Option(each.opens, each.closes, each.out, each.back, "full", each.next_job)


def _steps(windows: Sequence[Window], sets: Sequence[DueSet], lead: Lead, today: int) -> list[Step]:
    left = {each.name: each.left_m for each in sets}
    return [
        Step(
            what=f"{each.name}: latest day to send it",
            formula="day before the next job is gathered − safe lead time",
            source=RULE,
            inputs={"closes": _said(each.chosen.closes), "lead_days": lead.safe,
                    "today": _said(today), "left_m": left[each.name],
                    "earlier_days": each.earlier_than_alone},
            value=_said(each.chosen.out),
            unmeasured=() if lead.orders else ("lead_days",),
        )
        for each in windows
        if each.chosen is not None
    ]  # fmt: skip


def _said(day: int | None) -> str | None:
    """A day as a person writes it."""
    return None if day is None else date.fromordinal(day).isoformat()
