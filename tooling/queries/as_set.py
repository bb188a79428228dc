"""What was set last at each station, and what is aimed at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tooling.models import AsSet, ChartAxis, ChartPass, Setup
from tooling.queries.strip_measures import measured_nm

ENDS = ("inboard", "outboard")
LENGTH_UNITS = ("mm", "in")
Key = tuple[int, int, str, str]
"""Setup's database id, station, name (empty: the gap), end."""


@dataclass(frozen=True)
class Aim:
    """What one setting of a station is to be. ``ends`` names the ends at which it is set.

    A length has ``target_nm``, anything else ``target`` in its ``unit``; ``method`` and
    ``is_loaded`` as the chart wants it found, empty and None where it does not say.
    """

    station: int
    name: str
    unit: str
    ends: tuple[str, ...]
    target_nm: int | None = None
    target: float | None = None
    method: str = ""
    is_loaded: bool | None = None
    gap_point: str = ""

    @property
    def has_target(self) -> bool:
        return self.target_nm is not None or self.target is not None

    @property
    def is_length(self) -> bool:
        return self.unit in LENGTH_UNITS


def last_set(setup_ids: Iterable[int], *, station: int | None = None) -> dict[Key, AsSet]:
    """The last standing row for each setting, its writer loaded. One query."""
    rows = AsSet.objects.filter(
        setup_id__in=set(setup_ids), corrected_by=None, is_taken_back=False
    ).select_related("by")
    if station is not None:
        rows = rows.filter(station_number=station)
    return {
        (row.setup_id, row.station_number, row.name, row.end): row
        for row in rows.order_by("happened_at", "id")
    }


def aims_of(setup: Setup, *, station: int | None = None) -> dict[tuple[int, str], Aim]:
    """By station and name what the chart wants set: the gap of every pass that it places, and its
    other axes. Two queries, none without a chart."""
    if setup.chart_id is None:
        return {}
    passes = ChartPass.objects.filter(chart=setup.chart_id).select_related("set_pass", "station")
    axes = ChartAxis.objects.filter(chart_pass__chart=setup.chart_id)
    if station is not None:
        passes = passes.filter(station__number=station)
        axes = axes.filter(chart_pass__station__number=station)
    found: dict[tuple[int, str], Aim] = {}
    for row in passes.annotate(measured_nm=measured_nm(setup.pk)).order_by("station__number"):
        number = row.station.number
        found[number, ""] = Aim(
            station=number,
            name="",
            unit=setup.mill.unit,
            ends=ENDS,
            target_nm=gap_target_nm(row, row.measured_nm or setup.kit.job.thickness_nm),
            method=row.gap_method,
            is_loaded=row.gap_is_loaded if row.gap_method else None,
            gap_point=row.set_pass.gap_point,
        )
    for axis in axes.select_related("chart_pass__station").order_by("name"):
        number = axis.chart_pass.station.number
        found[number, axis.name] = Aim(
            number, axis.name, axis.unit, ("",), axis.target_nm, axis.target
        )
    return found


def gap_target_nm(row: ChartPass, strip_nm: int | None) -> int | None:
    """The chart's gap; where it has an allowance, the strip plus that."""
    if row.gap_allowance_nm is not None and strip_nm:
        return max(strip_nm + row.gap_allowance_nm, 0)
    return row.gap_nm


@dataclass(frozen=True)
class StationAims:
    """What is aimed at one station, as little as its page shows: how many numbers are wanted, and
    how many of them are set."""

    target_nm: int | None = None
    gap_point: str = ""
    wanted: int = 0
    is_set: int = 0


def station_aims(setup: Setup, station: int) -> StationAims:
    """Two light queries, none without a chart."""
    if setup.chart_id is None:
        return StationAims()
    passes = ChartPass.objects.filter(chart=setup.chart_id, station__number=station)
    rows = list(
        passes.order_by().values_list(
            "gap_nm", "gap_allowance_nm", "set_pass__gap_point", "axes__name", "axes__target_nm",
            "axes__target", measured_nm(setup.pk),
        )
    )  # fmt: skip
    if not rows:
        return StationAims()
    said = AsSet.objects.filter(
        setup=setup, station_number=station, corrected_by=None, is_taken_back=False
    )
    done = set(said.values_list("name", "end"))
    (gap, allowance, point), measured = rows[0][:3], rows[0][-1]
    placed = ChartPass(gap_nm=gap, gap_allowance_nm=allowance)
    target = gap_target_nm(placed, measured or setup.kit.job.thickness_nm)
    wanted = {("", end) for end in ENDS if target is not None}
    wanted |= {
        (name, "")
        for *_gap, name, nm, value, _strip in rows
        if name and (nm, value) != (None, None)
    }
    return StationAims(target, point, len(wanted), len(wanted & done))


def compares(row: AsSet, aim: Aim) -> bool:
    """Whether a number may be held against the target: found in the same way, loaded alike."""
    if not aim.has_target:
        return False
    same_method = not aim.method or row.method == aim.method
    same_load = aim.is_loaded is None or row.is_loaded is None or row.is_loaded == aim.is_loaded
    return same_method and same_load
