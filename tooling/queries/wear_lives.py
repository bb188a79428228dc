"""The lives of gauge points as the wear engine takes them: from cut to cut, with what was read and
what ran, out of readings, work and length entries."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from tooling.engineering.wear import (
    GaugeRecord,
    History,
    PointSpec,
    ReadingAt,
    Thermal,
    sliding_scale,
    worth,
)
from tooling.engineering.wear.measuring import worth_in_short
from tooling.models import Gauge, GaugePoint, PointKind, WorkKind
from tooling.queries.piece_told import Cut, Told, pieces_told

CUTS = (WorkKind.REGRIND, WorkKind.RECONTOUR, WorkKind.SHARPEN)
"""Work after which every point of a piece begins anew; other work where it measured the point."""
BARES = (WorkKind.STRIP, WorkKind.REGRIND, WorkKind.RECONTOUR)
AXIAL = ("face_width", "guide_offset")
VERDICTS = ("fits", "light", "fails")
COLDEST_C, WARMEST_C = -30, 90


@dataclass(frozen=True)
class Life:
    """One gauge point of one piece, at one end, since a cut (or since it was new).

    ``is_present``: the one that goes on. ``wide_sliding``: how much more than usual the point
    slides, which scales the rate of the wide pool; its own pool has it in its rate. ``last_nm``,
    ``last_u_nm`` (k = 1): its newest value by the clock; ``last_at``: when it was read last.
    """

    piece_id: int
    point_id: int
    end: str
    cut_on: date | None
    cut_at: datetime | None
    is_present: bool
    history: History
    own_pool: str
    wide_pool: str
    wide_sliding: float = 1.0
    last_nm: int | None = None
    last_u_nm: float = 0.0
    last_at: datetime | None = None

    @property
    def run_nm(self) -> int:
        return sum(self.history.run_nm.values())

    @property
    def ran_since(self) -> bool:
        """Whether strip ran after the newest reading of this life, or at all where it has none."""
        read = (sum(each.run_nm.values()) for each in self.history.readings)
        return self.run_nm > max(read, default=0)

    @property
    def start_nm(self) -> int | None:
        """The value from which depths are counted: read after the cut, else as new."""
        for each in self.history.readings:
            if each.value_nm is not None and not any(each.run_nm.values()):
                return round(each.value_nm)
        return self.history.spec.new_nm


def lives(
    piece_ids: Iterable[int] | range | None = None,
    *,
    learned: Collection[str] = (),
    past: bool = False,
) -> list[Life]:
    """The present life of every gauge point of these pieces (of all, where none are named; a range
    is asked for by its ends); with ``past`` the finished ones too. A point is of its drawing's own
    pool where that is ``learned``, else of the wide one. Six queries, whatever the number.
    """
    told = pieces_told(piece_ids)
    if not told:
        return []
    points = _points({each.row["drawing_id"] for each in told.values()})
    gauges = {
        pk: GaugeRecord(resolution, uncertainty)
        for pk, resolution, uncertainty in Gauge.objects.values_list(
            "pk", "resolution_nm", "uncertainty_nm"
        )
    }
    found: list[Life] = []
    for each in told.values():
        for point in points[each.row["drawing_id"]]:
            found += _of_point(each, point, gauges, learned, past)
    return found


def _points(drawings: Collection[int]) -> dict[int, list[GaugePoint]]:
    found: dict[int, list[GaugePoint]] = defaultdict(list)
    used = GaugePoint.objects.filter(is_in_use=True, drawing__in=drawings)
    for point in used.order_by("order", "name", "pk"):
        found[point.drawing_id].append(point)
    return found


def _of_point(
    told: Told,
    point: GaugePoint,
    gauges: Mapping[int, GaugeRecord],
    learned: Collection[str],
    past: bool,
) -> list[Life]:
    cuts = [cut for cut in told.cuts if begins_anew(point, cut.kind, cut.after)]
    readings = [row for row in told.readings if is_of(point, row)]
    ends = ("inboard", "outboard") if point.has_two_ends else ("",)
    whole = [None, *cuts]
    chosen = range(len(whole)) if past else [len(whole) - 1]
    found = []
    for n in chosen:
        cut, following = whole[n], whole[n + 1] if n + 1 < len(whole) else None
        mine = [row for row in readings if _within(row, cut, following)]
        runs = _runs_within(told.runs, cut, following)
        for end in ends:
            rows = [row for row in mine if row["end"] == end or not point.has_two_ends]
            life = _life(told, point, end, cut, rows, runs, gauges, learned, following is None)
            if life is not None and (life.is_present or life.history.readings):
                found.append(life)
    return found


def start_of(piece_id: int, point: GaugePoint, end: str) -> int | None:
    """The value from which depths of a point are counted now. Six queries, none for a point whose
    limit is a value."""
    if point.limit_nm is not None or point.depth_limit_nm is None:
        return point.new_nm
    for life in lives([piece_id]):
        if (life.point_id, life.end) == (point.pk, end):
            return life.start_nm
    return point.new_nm


def begins_anew(point: GaugePoint, kind: str, measured: Collection[str]) -> bool:
    """Whether work of that kind, which measured these dimensions, begins the point anew."""
    return kind in CUTS or (bool(point.dimension) and point.dimension in measured)


def is_of(point: GaugePoint, row: Mapping[str, Any]) -> bool:
    """Whether a reading is one of this point: said so, or of its dimension, or by its name."""
    if row["gauge_point_id"] is not None:
        return bool(row["gauge_point_id"] == point.pk)
    if point.dimension:
        return bool(row["dimension"] == point.dimension and row["point"] != "wear")
    return bool(row["point"].casefold() == point.name.casefold())


def _within(row: Mapping[str, Any], cut: Cut | None, following: Cut | None) -> bool:
    return (cut is None or is_after(row, cut)) and (
        following is None or not is_after(row, following)
    )


def is_after(row: Mapping[str, Any], cut: Cut) -> bool:
    """Read after the cut: on a later day, or on its day and written down no earlier than it."""
    day = row["happened_at"].astimezone(cut.begins.tzinfo).date()
    return bool(day > cut.on or (day == cut.on and row["received_at"] >= cut.received_at))


def _runs_within(
    runs: Sequence[tuple[datetime, str, int]], cut: Cut | None, following: Cut | None
) -> list[tuple[datetime, str, int]]:
    """What ran on the day of a cut counts as after it."""
    first = cut.begins if cut else None
    last = following.begins if following else None
    return [
        run for run in runs
        if (first is None or run[0] >= first) and (last is None or run[0] < last)
    ]  # fmt: skip


def _life(
    told: Told,
    point: GaugePoint,
    end: str,
    cut: Cut | None,
    rows: Sequence[Mapping[str, Any]],
    runs: Sequence[tuple[datetime, str, int]],
    gauges: Mapping[int, GaugeRecord],
    learned: Collection[str],
    is_present: bool,
) -> Life | None:
    """None for a point that cannot be gauged as it is drawn."""
    own = f"{told.row['drawing__number']} {point.name}"[:120]
    material = told.row["revision__material"]
    wide = f"{told.row['drawing__kind']} {material} {point.dimension or point.kind}"[:120]
    slides = slides_more(told, point)
    spec = spec_of(told, point, end, cut, wide, slides)
    if spec is not None and own in learned:
        spec = replace(spec, alike=own, sliding=1.0)
    if spec is None:
        return None
    sums = _Sums(runs)
    readings = [r for r in (_reading(point, row, sums, gauges) for row in rows) if r is not None]
    after = cut.after.get(point.dimension) if cut is not None else None
    fresh = any(r.value_nm is not None and not any(r.run_nm.values()) for r in readings)
    if after is not None and not fresh:
        known = worth(after, size_nm=after, gauge=GaugeRecord(), thermal=Thermal(True))
        readings.append(ReadingAt({}, after, known.u_nm, key="cut"))
    valued = [row for row in rows if row["value_nm"] is not None]
    last = valued[-1] if valued else None
    return Life(
        piece_id=told.row["pk"], point_id=point.pk, end=end,
        cut_on=cut.on if cut else None, cut_at=cut.begins if cut else None,
        is_present=is_present, history=History(spec, tuple(readings), sums.total()),
        own_pool=own, wide_pool=wide, wide_sliding=slides,
        last_nm=last["value_nm"] if last else None,
        last_u_nm=next((r.u_nm for r in readings if last and r.key == last["pk"]), 0.0),
        last_at=rows[-1]["happened_at"] if rows else None,
    )  # fmt: skip


def slides_more(told: Told, point: GaugePoint) -> float:
    """By its radius against the one that drives the strip, as drawn; 1 where nobody says."""
    drive = told.row["revision__drive_diameter_nm"]
    if point.local_radius_nm is None or not drive:
        return 1.0
    return sliding_scale(local_radius_nm=point.local_radius_nm, drive_radius_nm=drive // 2)[0]


def spec_of(
    told: Told, point: GaugePoint, end: Any, cut: Cut | None, alike: str, sliding: float
) -> PointSpec | None:
    new = None
    if cut is None:
        name = point.dimension
        drawn = told.row[f"revision__{name}_nm"] if name else None
        made = told.row[f"made_{name}_nm"] if name else None
        new = made or point.new_nm or drawn
    sign = -1 if point.grows else 1
    if new is not None and point.limit_nm is not None and sign * (new - point.limit_nm) <= 0:
        new = None
    axial = point.dimension in AXIAL
    try:
        return PointSpec(
            key=f"{told.row['pk']} {point.pk}", alike=alike, end=end, new_nm=new,
            limit_nm=point.limit_nm, depth_limit_nm=point.depth_limit_nm, grows=point.grows,
            is_diameter=point.is_diameter and not axial, axial=axial,
            face_degrees=point.face_angle_deg if not axial or point.face_angle_deg else 90.0,
            chrome_nm=chrome_at(told, cut), sliding=sliding,
        )  # fmt: skip
    except ValueError:
        return None


def chrome_at(told: Told, cut: Cut | None) -> int | None:
    """The plated thickness when a life begins: None for bare, 0 where nobody recorded it."""
    recorded = told.row["revision__plated_thickness_nm"]
    plated = recorded is not None or told.row["over_chrome"]
    for work in told.cuts:
        if cut is None or (work.on, work.id) > (cut.on, cut.id):
            break
        if work.kind == WorkKind.PLATE:
            plated = True
        elif work.kind in BARES:
            plated = False
    return (recorded or 0) if plated else None


class _Sums:
    """Strip run up to a moment, by class."""

    def __init__(self, runs: Sequence[tuple[datetime, str, int]]) -> None:
        self.moments = [run[0] for run in runs]
        self.sums: list[dict[str, int]] = [{}]
        for _at, kind, nm in runs:
            now = dict(self.sums[-1])
            now[kind] = now.get(kind, 0) + nm
            self.sums.append(now)

    def until(self, at: datetime) -> dict[str, int]:
        return self.sums[bisect_right(self.moments, at)]

    def total(self) -> dict[str, int]:
        return self.sums[-1]


def _reading(
    point: GaugePoint, row: Mapping[str, Any], sums: _Sums, gauges: Mapping[int, GaugeRecord]
) -> ReadingAt | None:
    """None for one that says nothing of such a point."""
    run = sums.until(row["happened_at"])
    value, moment = row["value_nm"], row["happened_at"].timestamp()
    if point.kind != PointKind.LENGTH or value is None:
        verdict: Any = row["verdict"]
        if verdict not in VERDICTS:
            return None
        return ReadingAt(run, verdict=verdict, key=row["pk"], moment=moment)
    heat = row["temperature_c"]
    if heat is not None and not COLDEST_C <= heat <= WARMEST_C:
        heat = None
    at_20, u, assumed = worth_in_short(
        value,
        size_nm=abs(value),
        gauge=gauges.get(row["gauge_id"], GaugeRecord()),
        thermal=Thermal(row["soaked"], heat),
    )
    return ReadingAt(run, at_20, u, assumed=assumed, key=row["pk"], moment=moment)
