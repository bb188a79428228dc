"""Kits as pages, lists, pictures and programs see them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import OuterRef, Subquery
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold
from tooling.errors import Unknown
from tooling.models import Job, JobState, Kit, KitPosition, KitState, SetPass
from tooling.queries.bindings import ends_at
from tooling.queries.condition_facts import Facts
from tooling.queries.conditions import Answers, Asked, Question, conditions
from tooling.queries.conflicts import conflicts_of
from tooling.queries.kit_load import load_of
from tooling.queries.kit_positions import position_view
from tooling.queries.kit_stations import station_views
from tooling.queries.kit_views import Counts, JobView, KitPage, KitRow, PositionView
from tooling.queries.kit_words import closed_words, header_for, next_step_for
from tooling.queries.shafts import Stations, stations_of

DAYS_BACK = 2
MOST_ROWS = 200
WITH_JOB = (
    "job__tool_set",
    "job__mill__place",
    "job__variant",
    "job__customer",
    "place",
    "copy__home",
    "setup",
)
WITH_PIECES = (
    "drawing",
    "set_position",
    "piece__revision",
    "piece__owner",
    "piece__place",
    "peg",
)


def find_kit(number: str) -> Kit:
    """The kit with what every page of it names. One query. Raises Unknown ``unknown_kit``."""
    rows = Kit.objects.select_related(*WITH_JOB)
    kit = rows.filter(number=fold(number.replace("\x00", ""))).first()
    if kit is None:
        raise Unknown(
            "unknown_kit",
            _("There is no kit {number}. Choose one from the list of kits."),
            number=number[:60],
        )
    return kit


def kit_version(number: str) -> int:
    """The kit's version, which grows with everything that its page shows. One query.

    Raises Unknown ``unknown_kit``."""
    found = Kit.objects.filter(number=number).values_list("version", flat=True).first()
    if found is None:
        raise Unknown("unknown_kit", _("There is no kit {number}."), number=number)
    return found


@dataclass(frozen=True)
class KitReading:
    """A kit with its rows, stations and conditions: what its page and its lists are made of."""

    kit: Kit
    rows: Sequence[KitPosition]
    stations: Stations
    answers: Answers


def kit_page(number: str, *, at: datetime) -> KitPage:
    """Everything about a kit. At most twelve queries, however many positions.

    Raises Unknown ``unknown_kit``.
    """
    return page_of(read_kit(number, at=at))


def read_kit(number: str, *, at: datetime, is_fetching: bool = False) -> KitReading:
    """All that is asked of the database about a kit. Raises Unknown ``unknown_kit``.

    ``is_fetching``: bins are chosen for counts however far the job is.
    """
    kit = find_kit(number)
    rows = kit_rows(kit)
    mill = kit.job.mill_id
    stations = stations_of([mill], tool_set_id=kit.job.tool_set_id)[mill]
    asking = question(kit, rows, stations, is_fetching=is_fetching)
    return KitReading(kit, rows, stations, conditions([asking], at=at))


def bin_for(number: str, position: int, *, at: datetime) -> str:
    """The code of the bin from which one goes to a pooled position now; empty where none does.

    As many queries as the kit's page. Raises Unknown ``unknown_kit``.
    """
    verdicts = read_kit(number, at=at, is_fetching=True).answers.verdicts
    return verdicts[position].stock if position in verdicts else ""


def page_of(reading: KitReading) -> KitPage:
    """The kit as pages show it. No query."""
    kit, answers = reading.kit, reading.answers
    views = tuple(position_view(row, answers) for row in reading.rows)
    counts = count(views)
    unseen = sum(view.not_yet_seen for view in views)
    return KitPage(
        number=kit.number,
        version=kit.version,
        state=kit.state,
        state_word=str(kit.get_state_display()),
        is_open=kit.state != KitState.CLOSED,
        is_short=kit.is_short,
        short_reason=kit.short_reason,
        was_complete=kit.complete_at is not None,
        assembled_at=kit.assembled_at,
        closed_at=kit.closed_at,
        job=job_view(kit.job),
        copy_letter=kit.copy.letter if kit.copy else "",
        place=(kit.place.path_name or kit.place.name) if kit.place else "",
        place_code=kit.place.code if kit.place else "",
        entry_left=kit.job.mill.entry_left,
        drive_side=kit.job.mill.hand,
        counts=counts,
        not_yet_seen=unseen,
        paper_count=kit.copy.from_paper_count if kit.copy else None,
        header=header_for(kit, counts, views),
        next_step=next_step_for(kit, views, counts),
        stations=station_views(reading.rows, views, reading.stations),
        positions=views,
        conflicts=conflicts_of(reading.rows, answers.facts[0], pooled=answers.pooled),
        load=load_of(views, kit.place),
        guard_s=int(answers.facts[0].given.value("scan_same_label_guard")),
        has_setup=getattr(kit, "setup", None) is not None,
    )


def kit_rows(kit: Kit) -> list[KitPosition]:
    """The kit's positions as the strip meets them, what stands on the line last, with all that
    they name. One query."""
    called = SetPass.objects.filter(tool_set=kit.job.tool_set_id, number=OuterRef("pass_number"))
    rows = KitPosition.objects.filter(kit=kit).select_related(*WITH_PIECES)
    rows = rows.annotate(
        pass_name=Subquery(called.values("name")[:1]),
        gap_point=Subquery(called.values("gap_point")[:1]),
    )
    turn = {"top": 0, "bottom": 1, "side": 2, "line": 3}
    return sorted(
        rows,
        key=lambda row: (row.shaft == "line", row.station_number, turn[row.shaft], row.order),
    )


def question(
    kit: Kit, rows: Sequence[KitPosition], stations: Stations, *, is_fetching: bool = False
) -> Question:
    """How the kit's positions stand, as a question to ``conditions``."""
    return Question(
        job=kit.job,
        kit_id=kit.pk,
        asked=[asked(kit, row, stations) for row in rows],
        is_open=kit.state != KitState.CLOSED,
        is_fetching=is_fetching,
    )


def asked(kit: Kit, row: KitPosition, stations: Stations) -> Asked:
    """A position as a question; its shaft is the station's, or none."""
    station = stations.get(row.station_number)
    return Asked(
        key=row.pk,
        drawing=row.drawing,
        piece=row.piece,
        line_id=row.stock_line_id,
        shaft=station.shafts.get(row.shaft) if station else None,
        is_staged=row.is_staged,
        on_paper=paper_place(kit, row),
        is_pooled=is_pooled(kit, row),
    )


def is_pooled(kit: Kit, row: KitPosition) -> bool:
    """Whether the position claims one of a count, if its drawing lies in bins: as
    ``stock_pools.POOLED`` says it of rows."""
    if row.piece_id is not None:
        return False
    return row.stock_line_id is not None or (
        kit.assembled_at is not None and not paper_place(kit, row)
    )


def position_at(kit: Kit, *, station: int, shaft: str, order: int) -> KitPosition:
    """The kit's position there. Raises Unknown ``unknown_position``."""
    rows = KitPosition.objects.filter(kit=kit, station_number=station, shaft=shaft, order=order)
    found = rows.first()
    if found is None:
        raise Unknown(
            "unknown_position",
            _("Kit {kit} has no position {order} on the {shaft} shaft of station {station}."),
            kit=kit.number,
            station=station,
            shaft=shaft,
            order=order,
        )
    return found


def paper_place(kit: Kit, row: KitPosition) -> str:
    """Where the copy lies of which this position is known from paper only; empty when it is not."""
    copy, asked = kit.copy, row.set_position
    if copy is None or copy.from_paper_count is None or asked is None or asked.variant_id:
        return ""
    return (copy.home.path_name or copy.home.name) if copy.home else str(_("a place not written"))


def count(views: Iterable[PositionView]) -> Counts:
    """Positions by state."""
    return Counts(**Counter(view.state.value for view in views))


def job_view(job: Job) -> JobView:
    """A job as it is shown; set, mill, variant and customer must be loaded."""
    return JobView(
        number=job.number,
        set_number=job.tool_set.number,
        set_name=job.tool_set.name,
        variant=job.variant.name if job.variant else "",
        mill=job.mill.name,
        mill_number=job.mill.number,
        customer=job.customer.name if job.customer else "",
        grade=job.grade,
        unit=job.unit,
        thickness_nm=job.thickness_nm,
        width_nm=job.width_nm,
        coating=job.coating,
        strip_class=job.strip_class,
        length_nm=job.length_nm,
        starts_at=job.starts_at,
        ends_at=ends_at(job),
        gathers_at=job.gathers_at,
        hours=job.hours,
        state=job.state,
    )


def kit_list(*, at: datetime, closed: bool = False) -> list[KitRow]:
    """Planned jobs by date with how complete each kit is, what is gathered before what is being
    mounted or runs; or, closed, the kits that were.

    At most twelve queries, however many jobs (MOST_ROWS without a kit).
    """
    return _closed_rows() if closed else _open_rows(at)


def _open_rows(at: datetime) -> list[KitRow]:
    kits = {
        kit.job_id: kit
        for kit in Kit.objects.exclude(state=KitState.CLOSED).select_related(*WITH_JOB)
    }
    waiting = (
        Job.objects.filter(state=JobState.PLANNED, starts_at__gte=at - timedelta(days=DAYS_BACK))
        .exclude(pk__in=kits)
        .select_related("tool_set", "mill__place", "variant", "customer")
        .order_by("starts_at")[:MOST_ROWS]
    )
    rows = _rows_by_kit(kits.values())
    stations = stations_of({kit.job.mill_id for kit in kits.values()})
    answers = conditions(
        [question(kit, rows[kit.pk], stations[kit.job.mill_id]) for kit in kits.values()],
        at=at,
        offer=False,
    )
    found = [
        _row(kit, rows[kit.pk], answers, facts)
        for kit, facts in zip(kits.values(), answers.facts, strict=True)
    ]
    found += [_job_without_kit(job) for job in waiting]
    return sorted(found, key=lambda row: (row.has_setup, row.job.starts_at, row.job.number))


def _rows_by_kit(kits: Iterable[Kit]) -> dict[int, list[KitPosition]]:
    by: dict[int, list[KitPosition]] = {kit.pk: [] for kit in kits}
    for row in KitPosition.objects.filter(kit__in=by).select_related(*WITH_PIECES):
        by[row.kit_id].append(row)
    return by


def _job_without_kit(job: Job) -> KitRow:
    return KitRow("", "", "", False, job_view(job), "", None, str(_("No kit yet.")), 0)


def _row(kit: Kit, rows: Sequence[KitPosition], answers: Answers, facts: Facts) -> KitRow:
    verdicts = [answers.verdicts[row.pk] for row in rows]
    counts = Counts(**Counter(verdict.state.value for verdict in verdicts))
    return KitRow(
        number=kit.number,
        state=kit.state,
        state_word=str(kit.get_state_display()),
        is_short=kit.is_short,
        job=job_view(kit.job),
        place=kit.place.path_name if kit.place else "",
        counts=counts,
        header=header_for(kit, counts, verdicts),
        conflicts=len(conflicts_of(rows, facts, pooled=answers.pooled)),
        has_setup=getattr(kit, "setup", None) is not None,
    )


def _closed_rows() -> list[KitRow]:
    rows = Kit.objects.filter(state=KitState.CLOSED).select_related(*WITH_JOB)
    return [
        KitRow(
            number=kit.number,
            state=kit.state,
            state_word=str(kit.get_state_display()),
            is_short=kit.is_short,
            job=job_view(kit.job),
            place=kit.place.path_name if kit.place else "",
            counts=None,
            header=closed_words(kit),
            conflicts=0,
        )
        for kit in rows.order_by("-closed_at")[:MOST_ROWS]
    ]
