"""What jobs put on the shafts of a mill: from their kits, else from their set's chart and copy.

Of a job without a kit nobody knows yet which spacers fill the shafts. Two loads of which one is
not filled are therefore compared by what the sets call for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import cast

from tooling.engineering.changeover import Load, Mounted, Spot
from tooling.engineering.turned import Fill, from_shoulder
from tooling.engineering.turned import Stood as At
from tooling.models import (
    Allotment,
    ChartPass,
    DrawingRevision,
    Job,
    Kit,
    KitPosition,
    KitState,
    Mill,
    SetPass,
    SetPosition,
    SetupChart,
    Station,
)
from tooling.queries.kit_positions import mass_of_row
from tooling.queries.line_passes import needs_station
from tooling.queries.on_mill import OnMill, Stood


@dataclass(frozen=True)
class Thing:
    """What a key of a load stands for. ``where`` it is now, for what comes from elsewhere."""

    key: str
    piece_id: int | None
    code: str
    mark: str
    drawing: str
    where: str = ""
    peg: str = ""

    @property
    def name(self) -> str:
        return self.mark or self.drawing


@dataclass(frozen=True)
class JobLoad:
    """``filled``: all that goes on, its spacers too; ``bare``: without the fills of the shafts.
    ``is_filled``: its shafts are filled, or it needs no fills. ``split``: shafts with split
    pieces. ``is_known``: something is known of what it puts on."""

    filled: Load
    bare: Load
    is_filled: bool
    split: frozenset[Spot] = frozenset()
    things: Mapping[str, Thing] = field(default_factory=dict)

    @property
    def is_known(self) -> bool:
        return any(self.bare.shafts.values())


def compared(now: JobLoad, next_: JobLoad) -> tuple[Load, Load]:
    """Both with their fills, or both without where one has none yet."""
    if now.is_filled and next_.is_filled:
        return now.filled, next_.filled
    return now.bare, next_.bare


def standing_load(mill: OnMill) -> JobLoad:
    """What stands on the mill. What nobody knows the shaft of is left aside. No query."""
    rows = [
        (each, (station.number, each.shaft))
        for station in mill.stations
        for each in station.stood
        if each.shaft
    ]
    filled: dict[Spot, list[Mounted]] = defaultdict(list)
    bare: dict[Spot, list[Mounted]] = defaultdict(list)
    for each, spot in rows:
        thing = Mounted(each.key, each.mass_kg or 0.0, each.is_pooled)
        filled[spot].append(thing)
        if not each.is_fill:
            bare[spot].append(thing)
    return JobLoad(
        filled=_load(filled),
        bare=_load(bare),
        is_filled=any(each.is_fill for each, _spot in rows) or not rows,
        split=frozenset(spot for each, spot in rows if each.is_split),
        things={each.key: _thing(each) for each, _spot in rows},
    )


def _thing(each: Stood) -> Thing:
    return Thing(each.key, each.piece_id, each.code, each.mark, each.drawing)


def _load(stacks: Mapping[Spot, Sequence[Mounted]]) -> Load:
    return Load({spot: tuple(stack) for spot, stack in stacks.items()})


def job_loads(mill: Mill, jobs: Sequence[Job]) -> dict[int, JobLoad]:
    """Job id → what it puts on the mill. Nine queries at most, however many jobs."""
    kits = {
        kit.job_id: kit
        for kit in Kit.objects.filter(job__in=jobs, assembled_at__isnull=False)
        .exclude(state=KitState.CLOSED)
        .select_related("copy")
    }
    rows: dict[int, list[KitPosition]] = {kit.job_id: [] for kit in kits.values()}
    positions = KitPosition.objects.filter(kit__in=list(kits.values())).exclude(shaft="line")
    for row in positions.select_related(
        *("kit", "drawing", "set_position", "piece__revision", "piece__place", "stock_line", "peg")
    ):
        rows[row.kit.job_id].append(row)
    bare = [job for job in jobs if job.pk not in kits]
    planned = _Planned.of(mill, bare)
    rows |= {job.pk: planned.rows(job) for job in bare}
    revisions = _revisions(rows.values())
    turned = _turned(mill, jobs)
    return {pk: _of_rows(found, revisions, is_turned=pk in turned) for pk, found in rows.items()}


def _turned(mill: Mill, jobs: Sequence[Job]) -> set[int]:
    """Ids of the jobs whose set's chart for the mill is one for the other hand."""
    charts = SetupChart.objects.filter(mill=mill, is_current=True, is_turned=True)
    sets = set(
        charts.filter(tool_set__in={job.tool_set_id for job in jobs}).values_list(
            "tool_set_id", flat=True
        )
    )
    return {job.pk for job in jobs if job.tool_set_id in sets}


def _revisions(rows: Iterable[Sequence[KitPosition]]) -> dict[int, DrawingRevision]:
    drawings = {row.drawing_id for each in rows for row in each if row.piece is None}
    current = DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
    return {revision.drawing_id: revision for revision in current}


def _of_rows(
    rows: Sequence[KitPosition], revisions: Mapping[int, DrawingRevision], *, is_turned: bool
) -> JobLoad:
    filled: dict[Spot, list[Mounted]] = defaultdict(list)
    bare: dict[Spot, list[Mounted]] = defaultdict(list)
    things: dict[str, Thing] = {}
    split: set[Spot] = set()
    for row in _from_shoulder(rows, is_turned=is_turned):
        spot = (row.station_number, row.shaft)
        thing = _thing_of(row, revisions)
        things[thing.key] = thing
        mass = mass_of_row(row, revisions.get(row.drawing_id)) or 0.0
        mounted = Mounted(thing.key, mass, row.piece is None)
        filled[spot].append(mounted)
        if not row.fill:
            bare[spot].append(mounted)
        if row.set_position is not None and row.set_position.is_split:
            split.add(spot)
    is_filled = any(row.fill for row in rows)
    return JobLoad(_load(filled), _load(bare), is_filled, frozenset(split), things)


def _from_shoulder(rows: Sequence[KitPosition], *, is_turned: bool) -> Iterable[KitPosition]:
    """Shaft by shaft; rows that are not saved have no key of their own to go by."""
    stacks: dict[Spot, list[KitPosition]] = defaultdict(list)
    for row in rows:
        stacks[row.station_number, row.shaft].append(row)
    for (_station, shaft), stack in sorted(stacks.items()):
        stood = [At(n, row.order, cast(Fill, row.fill)) for n, row in enumerate(stack)]
        for each in from_shoulder(stood, is_turned=is_turned and shaft != "side"):
            yield stack[each.key]


def _thing_of(row: KitPosition, revisions: Mapping[int, DrawingRevision]) -> Thing:
    """Keys as ``Stood.key`` makes them of what stands."""
    piece, drawing = row.piece, row.drawing.number
    if piece is not None:
        where = piece.place.path_name or piece.place.name
        peg = row.peg.name if row.peg else ""
        return Thing(piece.code, piece.pk, piece.code, piece.mark, drawing, where, peg)
    revision = revisions.get(row.drawing_id)
    width = row.length_nm or (revision.face_width_nm if revision else None)
    code = row.stock_line.code if row.stock_line else ""
    return Thing(f"{drawing} × {width}", None, code, "", drawing)


@dataclass(frozen=True)
class _Planned:
    """What sets call for on one mill, with the pieces of their first copies."""

    positions: Mapping[int, Sequence[SetPosition]]
    stations: Mapping[int, int]
    pieces: Mapping[int, Allotment]

    @classmethod
    def of(cls, mill: Mill, jobs: Sequence[Job]) -> _Planned:
        sets = {job.tool_set_id for job in jobs}
        positions: dict[int, list[SetPosition]] = defaultdict(list)
        rows = SetPosition.objects.filter(set_pass__tool_set__in=sets).exclude(shaft="line")
        for row in rows.select_related("set_pass", "drawing"):
            positions[row.set_pass.tool_set_id].append(row)
        allotted: dict[int, Allotment] = {}
        first = Allotment.objects.filter(copy__tool_set__in=sets).order_by("copy__letter", "pk")
        for each in first.select_related("piece__revision", "piece__place"):
            allotted.setdefault(each.position_id, each)
        return cls(positions, _stations(mill, sets), allotted)

    def rows(self, job: Job) -> list[KitPosition]:
        """Unsaved positions; a variant's own stands in place of the general one."""
        chosen: dict[tuple[int, str, int], SetPosition] = {}
        for each in self.positions.get(job.tool_set_id, ()):
            spot = (each.set_pass_id, each.shaft, each.order)
            if each.variant_id is None:
                chosen.setdefault(spot, each)
            elif each.variant_id == job.variant_id:
                chosen[spot] = each
        return [self._row(each) for each in chosen.values() if each.set_pass_id in self.stations]

    def _row(self, position: SetPosition) -> KitPosition:
        allotted = self.pieces.get(position.pk)
        return KitPosition(
            set_position=position,
            station_number=self.stations[position.set_pass_id],
            pass_number=position.set_pass.number,
            shaft=position.shaft,
            order=position.order,
            drawing=position.drawing,
            piece=allotted.piece if allotted else None,
        )


def _stations(mill: Mill, sets: set[int]) -> dict[int, int]:
    """Pass id → station number: as charted for the mill; of a set without a chart the passes in
    order from the first station."""
    charted: dict[int, int] = {}
    with_chart: set[int] = set()
    rows = ChartPass.objects.filter(
        chart__tool_set__in=sets, chart__mill=mill, chart__is_current=True
    )
    values = rows.values_list("chart__tool_set_id", "set_pass_id", "station__number")
    for tool_set, set_pass, number in values:
        charted[set_pass] = number
        with_chart.add(tool_set)
    numbers = list(
        Station.objects.filter(mill=mill).order_by("number").values_list("number", flat=True)
    )
    free: dict[int, int] = defaultdict(int)
    passes = needs_station(SetPass.objects.filter(tool_set__in=sets - with_chart))
    passes = passes.order_by("number")
    for tool_set, set_pass in passes.values_list("tool_set_id", "pk"):
        if free[tool_set] < len(numbers):
            charted[set_pass] = numbers[free[tool_set]]
            free[tool_set] += 1
    return charted
