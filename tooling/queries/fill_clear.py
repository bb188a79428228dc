"""What clears the spacers of a kit's shafts: the rolls opposite at the gap that the chart wants."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from tooling.engineering.gaps import shaft_centres
from tooling.engineering.spacer_clearance import clearances
from tooling.engineering.stacks.specs import Fill, Roll, Shaft, ShaftKey, Station
from tooling.models import ChartPass, DrawingRevision, Kit, KitPosition, Setup
from tooling.queries.as_set import gap_target_nm
from tooling.queries.pieces import size_of
from tooling.queries.setup_sheet_rolls import rolls_of
from tooling.queries.strip_measures import measured_nm

Rows = Mapping[ShaftKey, Sequence[KitPosition]]


def centres_of(
    kit: Kit,
    setup: Setup | None,
    rows: Sequence[KitPosition],
    revisions: Mapping[int, DrawingRevision],
) -> dict[int, Fraction]:
    """By pass the distance of its shafts, where the chart says a gap and diameters are known at
    it. One query."""
    passes = ChartPass.objects.filter(
        chart__tool_set=kit.job.tool_set_id, chart__mill=kit.job.mill_id, chart__is_current=True
    )
    if setup is not None and setup.chart_id is not None:
        passes = ChartPass.objects.filter(chart=setup.chart_id)
    measured = measured_nm(setup.pk if setup else 0)
    rolls, found = rolls_of(rows, revisions), {}
    for each in passes.select_related("set_pass").annotate(measured_nm=measured):
        gap = gap_target_nm(each, each.measured_nm or kit.job.thickness_nm)
        here = rolls.of(each.set_pass.number)
        if gap is None or here.top_nm is None or here.bottom_nm is None or here.is_by_drive:
            continue
        told = shaft_centres(top_nm=here.top_nm, bottom_nm=here.bottom_nm, gap_nm=gap)
        found[each.set_pass.number] = told.centres
    return found


def with_clearances(
    stations: Sequence[Station],
    rows: Rows,
    *,
    centres: Mapping[int, Fraction],
    revisions: Mapping[int, DrawingRevision],
    guide_plane_nm: int,
    window_nm: int,
    mounted: Collection[ShaftKey],
) -> tuple[Station, ...]:
    """The same stations; a fill that a roll opposite reaches over takes only spacers that clear it.
    Shafts that are mounted stay as they are. No query."""
    return tuple(
        Station(
            each.number,
            tuple(
                _cleared(one, _other(each, one), each.number, rows, centres, revisions,
                         guide_plane_nm, window_nm)
                if (each.number, one.which) not in mounted else one
                for one in each.shafts
            ),
            each.carried,
        )
        for each in stations
    )  # fmt: skip


def _other(station: Station, one: Shaft) -> Shaft | None:
    return next((each for each in station.shafts if each.which != one.which), None)


def _cleared(
    one: Shaft, other: Shaft | None, number: int, rows: Rows, centres: Mapping[int, Fraction],
    revisions: Mapping[int, DrawingRevision], guide_plane_nm: int, window_nm: int,
) -> Shaft:  # fmt: skip
    if other is None:
        return one
    opposite = [row for row in rows[number, other.which] if not row.fill]
    at = centres.get(opposite[0].pass_number)
    if at is None:
        return one
    limits = clearances(
        one,
        other,
        outsides_nm=[_outside(row, revisions.get(row.drawing_id)) for row in opposite],
        centres=at,
        guide_plane_nm=guide_plane_nm,
        window_nm=window_nm,
    )
    return replace(one, parts=tuple(_limited(part, limits) for part in one.parts))


def _limited(part: Fill | Roll, limits: Mapping[str, int]) -> Fill | Roll:
    if isinstance(part, Roll) or part.seat is None or part.key not in limits:
        return part
    most = min(filter(None, (part.seat.clearance_nm, limits[part.key])))
    return replace(part, seat=replace(part.seat, clearance_nm=most))


def _outside(row: KitPosition, revision: DrawingRevision | None) -> int | None:
    """Of a roll; what else the set calls for on a shaft is no flange."""
    if row.drawing.kind != "roll":
        return None
    if row.piece is not None:
        return size_of(row.piece, "outside_diameter")
    return revision.outside_diameter_nm if revision else None
