"""What is asked of the database for a setup sheet, once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from tooling.models import AsSet, ChartAxis, ChartPass, Job, Setup, SetupChart, Station
from tooling.queries.as_set import last_set
from tooling.queries.kit_views import KitPage
from tooling.queries.kits import KitReading, page_of, read_kit
from tooling.queries.settings import Given, given_settings
from tooling.queries.setup_sheet_rolls import Rolls, last_rolls, rolls_of
from tooling.queries.strip_measures import Measures, StripView, measures_of, strip_of

SETTINGS = ["gap_window", "feeler_leaves", "gap_near_vertical"]


@dataclass(frozen=True)
class SheetReading:
    """What is read once for a sheet."""

    reading: KitReading
    page: KitPage
    setup: Setup | None
    chart: SetupChart | None
    passes: Mapping[int, ChartPass]
    axes: Mapping[int, Sequence[ChartAxis]]
    stations: Mapping[int, Station]
    given: Given
    rolls: Rolls
    last: Setup | None
    last_rolls: Rolls
    last_set: Mapping[tuple[int, str, str], AsSet]
    last_stations: Mapping[int, int]
    strip: StripView
    measures: Measures

    @property
    def strip_nm(self) -> int | None:
        return self.strip.thickness_nm

    @property
    def is_turned(self) -> bool:
        if self.setup is not None:
            return self.setup.is_turned
        return self.chart.is_turned if self.chart else False


def read_sheet(number: str, at: datetime) -> SheetReading:
    reading = read_kit(number, at=at)
    kit, mill = reading.kit, reading.kit.job.mill_id
    setup = Setup.objects.filter(kit=kit).select_related("chart").first()
    if setup is not None:
        setup.kit = kit
    chart = setup.chart if setup else None
    if chart is None:
        current = SetupChart.objects.filter(
            tool_set=kit.job.tool_set_id, mill=mill, is_current=True
        )
        chart = current.first()
    passes = ChartPass.objects.filter(chart=chart).select_related("set_pass", "station")
    axes: dict[int, list[ChartAxis]] = defaultdict(list)
    for axis in ChartAxis.objects.filter(chart_pass__chart=chart).order_by("name"):
        axes[axis.chart_pass_id].append(axis)
    last = _last_setup(kit.job.tool_set_id, mill, kit.pk)
    then = last_rolls(last)
    keys = last_set([last.pk]) if last else {}
    return SheetReading(
        reading=reading,
        page=page_of(reading),
        setup=setup,
        chart=chart,
        passes={each.station.number: each for each in passes},
        axes=axes,
        stations={each.number: each for each in Station.objects.filter(mill=mill)},
        given=given_settings(SETTINGS),
        rolls=rolls_of(reading.rows, reading.answers.facts[0].revisions),
        last=last,
        last_rolls=then.rolls,
        last_set={(station, name, end): row for (_id, station, name, end), row in keys.items()},
        last_stations=then.stations,
        strip=strip_of(setup) if setup else _planned(kit.job),
        measures=measures_of([last.pk]) if last else {},
    )


def _planned(job: Job) -> StripView:
    return StripView(job.thickness_nm, job.thickness_nm, job.width_nm, unit=job.unit)


def _last_setup(set_id: int, mill_id: int, kit_id: int) -> Setup | None:
    """The newest setup that made a good part: on this mill, else on any. One query."""
    rows = Setup.objects.filter(kit__job__tool_set=set_id, good_at__isnull=False)
    found = list(
        rows.exclude(kit=kit_id).select_related("kit__job", "mill").order_by("-good_at")[:50]
    )
    here = (each for each in found if each.mill_id == mill_id)
    return next(here, found[0] if found else None)
