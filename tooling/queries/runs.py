"""Runs as pages, lists and programs see them, and what the next run begins from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from tooling.engineering.strip import ESTIMATES, WAY_WORDS
from tooling.errors import Unknown
from tooling.models import Run, Setup
from tooling.queries.counter_feed import Moved, counters_moved, fed_otherwise
from tooling.queries.settings import Given, given_settings

DIFFER_PARTS, DIFFER_COIL = "lengths_differ_parts", "lengths_differ_coil"
RUN_WITH = ("setup__kit__job__tool_set", "setup__mill", "by", "corrects", "corrected_by")
MOST_ROWS = 200
STANDING = Q(corrected_by=None, is_taken_back=False)
"""Rows that nothing corrects and that say that something ran."""


@dataclass(frozen=True)
class WayView:
    """One way of telling the length beside the one that counts."""

    way: str
    word: str
    length_nm: int
    percent: float
    is_estimate: bool
    differs: bool


@dataclass(frozen=True)
class RunView:
    """One run. ``state``: stands, corrected or taken back."""

    id: int
    uuid: str
    setup: str
    job: str
    set_number: str
    mill: str
    mill_number: str
    coil: str
    strip_class: str
    thickness_nm: int | None
    width_nm: int | None
    drawn_in: str
    feed: str
    feed_word: str
    entries: int
    unit: str
    length_nm: int
    way: str
    way_word: str
    source_word: str
    ways: tuple[WayView, ...]
    counter_start_nm: int | None
    counter_end_nm: int | None
    parts: int | None
    part_nm: int | None
    scrap_nm: int
    threading_nm: int
    began_at: datetime | None
    happened_at: datetime
    received_at: datetime
    by: str
    note: str
    state: str
    corrects_id: int | None
    corrected_by_id: int | None

    @property
    def differs(self) -> bool:
        return any(each.differs for each in self.ways)

    @property
    def stands(self) -> bool:
        return self.state == "stands"


@dataclass(frozen=True)
class RunPieceView:
    """What a run put on one piece. ``is_by_hand``: a person wrote something else since."""

    code: str
    mark: str
    drawing: str
    length_nm: int
    strokes: int


@dataclass(frozen=True)
class RunPage:
    """One run with what it put on pieces. ``otherwise``: what the counter that it took its length
    from tells of it now, where readings came late."""

    run: RunView
    pieces: tuple[RunPieceView, ...]
    otherwise: Moved | None

    @property
    def otherwise_nm(self) -> int | None:
        return self.otherwise.moved_nm if self.otherwise is not None else None


@dataclass(frozen=True)
class SetupRuns:
    """What ran through a setup, and what the next run begins from. ``feed``: what the mill's
    counters moved since the last run ended; ``otherwise``: runs of which they tell another length
    now than then."""

    runs: tuple[RunView, ...]
    otherwise: tuple[tuple[RunView, Moved], ...]
    total_nm: int
    planned_nm: int
    counter_nm: int | None
    since: datetime
    feed: tuple[Moved, ...]
    part_nm: int | None
    unit: str

    @property
    def left_nm(self) -> int:
        return max(0, self.planned_nm - self.total_nm)


def find_run(number: int) -> Run:
    """One run with its setup. One query. Raises Unknown ``unknown_run``."""
    found = Run.objects.select_related(*RUN_WITH, "setup__kit__place", "setup__plate").filter(
        pk=number
    )
    run = found.first()
    if run is None:
        raise Unknown("unknown_run", _("There is no run {number}."), number=number)
    return run


def run_rows(
    *, mill: str = "", tool_set: str = "", setup: str = "", piece: str = "", standing: bool = True
) -> QuerySet[Run]:
    """The runs asked for, the last first."""
    rows = Run.objects.select_related(*RUN_WITH).order_by("-happened_at", "-id")
    if standing:
        rows = rows.filter(STANDING)
    for name, value in (
        ("setup__mill__number__iexact", mill),
        ("setup__kit__job__tool_set__number__iexact", tool_set),
        ("setup__kit__number__iexact", setup),
    ):
        if value:
            rows = rows.filter(**{name: value.replace("\x00", "")})
    if piece:
        rows = rows.filter(pieces__entry__piece__code=piece.upper(), pieces__entry__length_nm__gt=0)
    return rows


def run_list(**asked: Any) -> tuple[RunView, ...]:
    """The newest runs. Two queries."""
    given = given_settings([DIFFER_PARTS, DIFFER_COIL])
    return tuple(view_of(row, given) for row in run_rows(**asked)[:MOST_ROWS])


def views_of(rows: Iterable[Run]) -> list[RunView]:
    """Of rows with ``RUN_WITH``. One query."""
    given = given_settings([DIFFER_PARTS, DIFFER_COIL])
    return [view_of(row, given) for row in rows]


def all_runs(**asked: Any) -> Iterator[RunView]:
    """Every run asked for, corrected ones too, for a sheet. Two queries."""
    given = given_settings([DIFFER_PARTS, DIFFER_COIL])
    for row in run_rows(**asked, standing=False).iterator(chunk_size=1_000):
        yield view_of(row, given)


def run_page(number: int) -> RunPage:
    """One run with its pieces. Three queries, of one that the counter feed told one more and one
    for each counter. Raises Unknown ``unknown_run``."""
    run = find_run(number)
    given = given_settings([DIFFER_PARTS, DIFFER_COIL])
    rows = run.pieces.order_by("entry__piece__code").values_list(
        "entry__piece__code", "entry__piece__mark", "entry__piece__drawing__number",
        "entry__length_nm", "entry__strokes",
    )  # fmt: skip
    view = view_of(run, given)
    otherwise = fed_otherwise([run] if view.stands else []).get(run.pk)
    return RunPage(view, tuple(RunPieceView(*row) for row in rows), otherwise)


def view_of(run: Run, given: Given) -> RunView:
    """No query for a run with ``RUN_WITH``."""
    setup = run.setup
    job = setup.kit.job
    corrected = getattr(run, "corrected_by", None)
    state = "stands"
    if corrected is not None:
        state = "taken_back" if corrected.is_taken_back else "corrected"
    elif run.is_taken_back:
        state = "taken_back"
    return RunView(
        id=run.pk,
        uuid=str(run.uuid),
        setup=setup.kit.number,
        job=job.number,
        set_number=job.tool_set.number,
        mill=setup.mill.name,
        mill_number=setup.mill.number,
        coil=run.coil,
        strip_class=run.strip_class,
        thickness_nm=run.thickness_nm,
        width_nm=run.width_nm,
        drawn_in=job.unit,
        feed=run.feed,
        feed_word=str(run.get_feed_display()),
        entries=run.entries,
        unit=run.unit,
        length_nm=run.length_nm,
        way=run.way,
        way_word=str(WAY_WORDS.get(run.way, run.way)),
        source_word=str(run.get_source_display()),
        ways=_ways(run, given),
        counter_start_nm=run.counter_start_nm,
        counter_end_nm=run.counter_end_nm,
        parts=run.parts,
        part_nm=run.part_nm,
        scrap_nm=run.scrap_nm,
        threading_nm=run.threading_nm,
        began_at=run.began_at,
        happened_at=run.happened_at,
        received_at=run.received_at,
        by=str(run.by) if run.by else "",
        note=run.note,
        state=state,
        corrects_id=run.corrects_id,
        corrected_by_id=corrected.pk if corrected is not None else None,
    )


def _ways(run: Run, given: Given) -> tuple[WayView, ...]:
    scope: dict[str, Any] = {"mill_id": run.setup.mill_id, "set_id": run.setup.kit.job.tool_set_id}
    found = []
    for way, nm in run.ways.items():
        percent = 100 * (nm - run.length_nm) / run.length_nm if run.length_nm else 0.0
        limit = given.value(DIFFER_COIL if way in ESTIMATES else DIFFER_PARTS, **scope)
        found.append(
            WayView(
                way, str(WAY_WORDS.get(way, way)), nm, percent, way in ESTIMATES,
                abs(percent) > limit,
            )
        )  # fmt: skip
    return tuple(found)


def setup_runs(setup: Setup, *, at: datetime) -> SetupRuns:
    """What ran through a setup. Four queries, one more for each counter that the mill has; where a
    run is of the feed as many again. Of a setup that was struck the counter tells nothing more."""
    given = given_settings([DIFFER_PARTS, DIFFER_COIL])
    rows = list(
        Run.objects.select_related(*RUN_WITH)
        .filter(STANDING, setup=setup)
        .order_by("-happened_at", "-id")
    )
    since, late = _since(setup, rows), fed_otherwise(rows)
    views = tuple(view_of(row, given) for row in rows)
    return SetupRuns(
        runs=views,
        otherwise=tuple((view, late[view.id]) for view in views if view.id in late),
        total_nm=sum(row.length_nm for row in rows),
        planned_nm=setup.kit.job.length_nm,
        counter_nm=counter_before(setup, until=at, leave_out=None),
        since=since,
        feed=() if setup.struck_at else counters_moved(setup.mill, since=since, until=at),
        part_nm=next((row.part_nm for row in rows if row.part_nm), None),
        unit=rows[0].unit if rows else "ft" if setup.kit.job.unit == "in" else "m",
    )


def _since(setup: Setup, rows: Sequence[Run]) -> datetime:
    """When the next run began where nobody says: at the end of the last, else the first good part,
    else when mounting began."""
    return rows[0].happened_at if rows else setup.good_at or setup.started_at


def feed_since(setup: Setup, *, until: datetime, leave_out: Run | None) -> datetime:
    """The same before a moment, without the run that is being corrected. One query."""
    rows = Run.objects.filter(STANDING, setup=setup, happened_at__lt=until).order_by("-happened_at")
    if leave_out is not None:
        rows = rows.exclude(pk=leave_out.pk)
    return min(until, _since(setup, list(rows[:1])))


def counter_before(setup: Setup, *, until: datetime, leave_out: Run | None) -> int | None:
    """What the counter of the setup's mill stood at when the last run ended, in nm; None where that
    run does not say. One query."""
    rows = Run.objects.filter(STANDING, setup__mill=setup.mill_id, happened_at__lte=until)
    if leave_out is not None:
        rows = rows.exclude(pk=leave_out.pk)
    last = rows.order_by("-happened_at", "-id").values_list("counter_end_nm", flat=True)
    return last.first()


@dataclass(frozen=True)
class Span:
    """A stretch of the counter that a run told, in nm, and when that run ended."""

    start_nm: int
    end_nm: int
    at: datetime


def spans_of(setup: Setup, *, leave_out: Run | None) -> list[Span]:
    """What stretches of the counter the runs of a setup have told. One query."""
    rows = Run.objects.filter(STANDING, setup=setup, counter_end_nm__isnull=False)
    if leave_out is not None:
        rows = rows.exclude(pk=leave_out.pk)
    found = rows.order_by("happened_at", "pk")
    told = found.values_list("counter_start_nm", "counter_end_nm", "happened_at")
    return [Span(start or 0, end or 0, at) for start, end, at in told]
