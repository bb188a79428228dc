"""All that regrind plans of some copies depend on, read with a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from tooling.engineering.wear.prior import Prior
from tooling.models import (
    Allotment,
    ChartPass,
    DrawingKind,
    DrawingRevision,
    GaugePoint,
    Job,
    MillShaft,
    Piece,
    RegrindOrderLine,
    SetCopy,
    SetupChart,
    WearState,
    WorkMeasure,
)
from tooling.queries.measured_drive import drive_uncertainties
from tooling.queries.planned_strip import still_to_run
from tooling.queries.settings import Given, given_settings
from tooling.queries.wear_prior import learned

ROLLS = (DrawingKind.ROLL, DrawingKind.SIDE_ROLL)
SHOP = (
    *("clean_up_allowance", "grinder_step", "flank_by_face", "usual_stock_per_cut"),
    *("wall_at_key_corner_warn", "ratio_mismatch_warn", "gap_near_vertical", "regrind_horizon"),
)
LONGEST_DAYS = 730
Row = TypeVar("Row")


@dataclass(frozen=True)
class Facts:
    """Rows by id. ``copies``: asked for and those that share a piece with them; ``allotted`` by
    copy; ``charted`` by set; ``shafts`` by station; ``states`` and ``wear_base`` by piece (the
    latter (dimension → nm) after the last cut); ``uncertainty`` by piece; ``jobs`` by set;
    ``on_order``: pieces that are at work already."""

    at: datetime
    copies: Mapping[int, SetCopy]
    allotted: Mapping[int, Sequence[Allotment]]
    charts: Mapping[int, Sequence[SetupChart]]
    charted: Mapping[int, Sequence[ChartPass]]
    shafts: Mapping[int, Sequence[MillShaft]]
    drawn: Mapping[int, DrawingRevision]
    points: Mapping[int, Sequence[GaugePoint]]
    states: Mapping[int, Sequence[WearState]]
    wear_base: Mapping[int, Mapping[str, int]]
    uncertainty: Mapping[int, int]
    jobs: Mapping[int, Sequence[Job]]
    on_order: frozenset[int]
    prior: Prior
    given: Given

    def sharing(self, copy_ids: Collection[int]) -> list[int]:
        """Other copies that use a piece of these, by id."""
        mine = {row.piece_id for pk in copy_ids for row in self.allotted.get(pk, ())}
        return [
            pk for pk, rows in self.allotted.items()
            if pk not in copy_ids and any(row.piece_id in mine for row in rows)
        ]  # fmt: skip

    def planned(self, tool_set: int, *, days: float) -> list[tuple[str, int]]:
        """Strip that planned jobs put on a set within so many days: its class, and nm of it."""
        until = self.at + timedelta(days=days)
        return [
            (job.strip_class, job.length_nm)
            for job in self.jobs.get(tool_set, ())
            if job.starts_at <= until
        ]


def read_facts(copy_ids: Collection[int], *, at: datetime) -> Facts:
    """Fifteen queries at most, however many copies and pieces."""
    allotted = _allotted(set(copy_ids))
    copies = SetCopy.objects.select_related("tool_set").in_bulk({*allotted, *copy_ids})
    sets = {copy.tool_set_id for copy in copies.values()}
    pieces = {row.piece_id: row.piece for rows in allotted.values() for row in rows}
    drawings = {piece.drawing_id for piece in pieces.values()}
    charts = SetupChart.objects.filter(tool_set__in=sets, is_current=True).select_related("mill")
    found = list(charts.order_by("tool_set__number", "mill__number"))
    charted = _by(
        ChartPass.objects.filter(chart__in=found)
        .select_related("station", "set_pass")
        .order_by("chart", "station__number"),
        "chart_id",
    )
    stations = {row.station_id for rows in charted.values() for row in rows}
    shafts = MillShaft.objects.filter(station__in=stations, bank=1).select_related("drive_group")
    points = GaugePoint.objects.filter(drawing__in=drawings, is_in_use=True)
    states = WearState.objects.filter(piece__in=pieces).select_related("point")
    jobs = Job.objects.filter(
        still_to_run(at), tool_set__in=sets, state="planned",
        starts_at__lte=at + timedelta(days=LONGEST_DAYS),
    )  # fmt: skip
    lines = RegrindOrderLine.objects.filter(piece__in=pieces, is_open=True)
    return Facts(
        at=at,
        copies=copies,
        allotted=allotted,
        charts=_by(found, "tool_set_id"),
        charted=charted,
        shafts=_by(shafts.order_by("station", "which"), "station_id"),
        drawn={
            row.drawing_id: row
            for row in DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
        },
        points=_by(points.order_by("drawing", "order", "name"), "drawing_id"),
        states=_by(states.order_by("piece", "point__order", "point__name", "end"), "piece_id"),
        wear_base=_wear_base(pieces),
        uncertainty=drive_uncertainties(pieces),
        jobs=_by(jobs.order_by("starts_at", "number"), "tool_set_id"),
        on_order=frozenset(lines.values_list("piece_id", flat=True)),
        prior=learned().prior,
        given=given_settings(list(SHOP)),
    )


def _by(rows: Iterable[Row], name: str) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[getattr(row, name)].append(row)
    return dict(found)


def _allotted(copy_ids: set[int]) -> dict[int, list[Allotment]]:
    """The copies' rolls and those of every copy that shares one. Two queries."""
    mine = Allotment.objects.filter(copy__in=copy_ids, piece__drawing__kind__in=ROLLS)
    shared = set(mine.values_list("piece_id", flat=True))
    rows = (
        Allotment.objects.filter(
            copy__in=Allotment.objects.filter(piece__in=shared).values("copy_id"),
            piece__drawing__kind__in=ROLLS,
        )
        .select_related("piece__revision", "piece__drawing", "piece__owner", "position__set_pass",
                        "position__drawing")
        .order_by("copy", "position__set_pass__number", "position__shaft", "position__order", "pk")
    )  # fmt: skip
    return _by(rows, "copy_id")


def _wear_base(pieces: Mapping[int, Piece]) -> dict[int, dict[str, int]]:
    """Piece → diameter → what it was after its last work. One query."""
    rows = WorkMeasure.objects.filter(
        work__piece__in=pieces, work__corrected_by=None, after_nm__isnull=False
    ).order_by("work__done_on", "pk")
    found: dict[int, dict[str, int]] = defaultdict(dict)
    for piece, name, nm in rows.values_list("work__piece_id", "dimension", "after_nm"):
        if nm is not None:
            found[piece][name] = nm
    return found
