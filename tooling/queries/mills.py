"""Mills: the list with what stands on each now, and one mill with its stations and shafts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Q
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import (
    DriveGroup,
    Job,
    JobState,
    Mill,
    MillShaft,
    Piece,
    SetupChart,
    SetupState,
    Station,
)


@dataclass(frozen=True)
class NextJob:
    number: str
    set_number: str
    set_name: str
    starts_at: datetime
    kit: str


@dataclass(frozen=True)
class MillRow:
    """One line of the list."""

    number: str
    name: str
    stations: int
    pieces: int
    is_active: bool
    next_job: NextJob | None


@dataclass(frozen=True)
class ShaftRow:
    id: int
    which: str
    which_word: str
    bank: int
    diameter_nm: int
    key_style: str
    key_width_nm: int | None
    key_height_nm: int | None
    roll_space_nm: int
    shoulder_offset_nm: int
    shoulder_measured_on: date | None
    drive: str
    group: str


@dataclass(frozen=True)
class StationRow:
    id: int
    code: str
    number: int
    place_code: str
    centre_to_next_nm: int | None
    vertical_least_nm: int | None
    vertical_most_nm: int | None
    gear_ratio: Decimal
    bottom_adjustable: bool
    stand_clearance_nm: int | None
    side_roll_room_nm: int | None
    side_roll_mounting: str
    aligned_on: date | None
    pieces: int
    shafts: tuple[ShaftRow, ...]


@dataclass(frozen=True)
class GroupRow:
    name: str
    rpm_factor: float


@dataclass(frozen=True)
class ChartRow:
    id: int
    set_number: str
    set_name: str
    state: str
    state_word: str


@dataclass(frozen=True)
class MillPage:
    """All that a mill's page shows."""

    number: str
    name: str
    unit: str
    datum: str
    hand: str
    operator_side: str
    entry_left: bool
    closing: str
    closing_least_nm: int | None
    closing_most_nm: int | None
    guide_plane_nm: int | None
    pass_line_height_nm: int | None
    base_clearance_nm: int | None
    max_speed_m_min: float | None
    is_active: bool
    place_code: str
    stations: tuple[StationRow, ...]
    groups: tuple[GroupRow, ...]
    charts: tuple[ChartRow, ...]
    jobs: tuple[NextJob, ...]


def mill_list() -> list[MillRow]:
    """Every mill with how many pieces stand on it and its next job. Three queries."""
    mills = list(Mill.objects.annotate(station_count=Count("stations")))
    on = dict(
        Piece.objects.filter(place__station__isnull=False)
        .values_list("place__station__mill")
        .annotate(n=Count("pk"))
    )
    jobs: dict[int, NextJob] = {}
    for job in _planned_jobs(Q()):
        jobs.setdefault(job.mill_id, _job(job))
    return [
        MillRow(
            number=mill.number,
            name=mill.name,
            stations=mill.station_count,
            pieces=on.get(mill.pk, 0),
            is_active=mill.is_active,
            next_job=jobs.get(mill.pk),
        )
        for mill in mills
    ]


def mill_page(number: str) -> MillPage:
    """One mill. Six queries. Raises Unknown ``unknown_mill``."""
    mill = Mill.objects.select_related("place").filter(number=number).first()
    if mill is None:
        raise Unknown("unknown_mill", _("There is no mill {number}."), number=number)
    charts = SetupChart.objects.filter(mill=mill, is_current=True).select_related("tool_set")
    groups = DriveGroup.objects.filter(mill=mill).order_by("name")
    return MillPage(
        number=mill.number,
        name=mill.name,
        unit=mill.unit,
        datum=mill.get_datum_display(),
        hand=mill.get_hand_display(),
        operator_side=mill.get_operator_side_display(),
        entry_left=mill.entry_left,
        closing=mill.get_closing_display(),
        closing_least_nm=mill.closing_least_nm,
        closing_most_nm=mill.closing_most_nm,
        guide_plane_nm=mill.guide_plane_nm,
        pass_line_height_nm=mill.pass_line_height_nm,
        base_clearance_nm=mill.base_clearance_nm,
        max_speed_m_min=mill.max_speed_m_min,
        is_active=mill.is_active,
        place_code=mill.place.code if mill.place else "",
        stations=_stations(mill),
        groups=tuple(GroupRow(group.name, group.rpm_factor) for group in groups),
        charts=tuple(
            ChartRow(
                chart.pk,
                chart.tool_set.number,
                chart.tool_set.name,
                chart.state,
                chart.get_state_display(),
            )
            for chart in charts.order_by("tool_set__number")
        ),
        jobs=tuple(_job(job) for job in _planned_jobs(Q(mill=mill))[:5]),
    )


def _planned_jobs(where: Q):  # type: ignore[no-untyped-def]
    """Without the jobs whose setup stands on its mill, or is being mounted."""
    rows = Job.objects.filter(where, state=JobState.PLANNED).select_related("tool_set")
    rows = rows.exclude(kits__setup__state__in=(SetupState.MOUNTING, SetupState.RUNNING))
    return rows.order_by("starts_at", "number")


def _job(job: Job) -> NextJob:
    return NextJob(job.number, job.tool_set.number, job.tool_set.name, job.starts_at, "")


def _stations(mill: Mill) -> tuple[StationRow, ...]:
    stations = Station.objects.filter(mill=mill).select_related("place")
    shafts: dict[int, list[ShaftRow]] = {}
    rows = MillShaft.objects.filter(station__mill=mill).select_related("drive_group")
    for shaft in rows.order_by("station__number", "bank", "-which"):
        shafts.setdefault(shaft.station_id, []).append(_shaft(shaft))
    return tuple(
        StationRow(
            id=station.pk,
            code=station.code,
            number=station.number,
            place_code=station.place.code,
            centre_to_next_nm=station.centre_to_next_nm,
            vertical_least_nm=station.vertical_least_nm,
            vertical_most_nm=station.vertical_most_nm,
            gear_ratio=station.gear_ratio.normalize(),
            bottom_adjustable=station.bottom_adjustable,
            stand_clearance_nm=station.stand_clearance_nm,
            side_roll_room_nm=station.side_roll_room_nm,
            side_roll_mounting=station.side_roll_mounting,
            aligned_on=station.aligned_on,
            pieces=station.piece_count,
            shafts=tuple(shafts.get(station.pk, [])),
        )
        for station in stations.annotate(piece_count=Count("place__pieces")).order_by("number")
    )


def _shaft(shaft: MillShaft) -> ShaftRow:
    return ShaftRow(
        id=shaft.pk,
        which=shaft.which,
        which_word=shaft.get_which_display(),
        bank=shaft.bank,
        diameter_nm=shaft.diameter_nm,
        key_style=shaft.get_key_style_display(),
        key_width_nm=shaft.key_width_nm,
        key_height_nm=shaft.key_height_nm,
        roll_space_nm=shaft.roll_space_nm,
        shoulder_offset_nm=shaft.shoulder_offset_nm,
        shoulder_measured_on=shaft.shoulder_measured_on,
        drive=shaft.get_drive_display(),
        group=shaft.drive_group.name if shaft.drive_group else "",
    )
