"""The setup sheet of a kit: stacks, gaps with their packs, moves since the last good setup."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from tooling.engineering.gap_setting import GapSetting, gap_setting
from tooling.engineering.gaps import moves_between
from tooling.engineering.last_good import Conditions, Screws, follows, translate
from tooling.engineering.measures import is_length
from tooling.engineering.speeds import round_half_up
from tooling.models import AsSet, ChartAxis, ChartPass, KitPosition, Setup, SetupChart, Station
from tooling.queries.as_set import ENDS, gap_target_nm, last_set
from tooling.queries.kit_views import KitPage, PositionView
from tooling.queries.kits import KitReading, page_of, read_kit
from tooling.queries.settings import Given, given_settings
from tooling.queries.setup_sheet_rolls import Rolls, last_rolls, rolls_of
from tooling.queries.setup_sheet_views import (
    LastGood,
    LastSetup,
    Means,
    Proof,
    SetupSheetView,
    SheetGap,
    SheetMoves,
    SheetPiece,
    SheetSetting,
    SheetShaft,
    SheetSide,
    SheetStation,
)
from tooling.queries.setup_stacks import OnShaft, in_order

SETTINGS = ["gap_window", "feeler_leaves", "gap_near_vertical"]


@dataclass(frozen=True)
class _Read:
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

    @property
    def strip_nm(self) -> int | None:
        return self.reading.kit.job.thickness_nm

    @property
    def is_turned(self) -> bool:
        if self.setup is not None:
            return self.setup.is_turned
        return self.chart.is_turned if self.chart else False


def setup_sheet(number: str, *, at: datetime) -> SetupSheetView:
    """The whole sheet, for any kit, also before anything is mounted. At most twenty-four queries,
    however many stations. Raises Unknown ``unknown_kit``."""
    read = _read(number, at)
    page, kit = read.page, read.reading.kit
    views = {view.id: view for view in page.positions}
    stacks = _stacks(read, views)
    numbers = sorted({*read.stations, *(station for station, _shaft in stacks)})
    return SetupSheetView(
        number=kit.number,
        version=kit.version,
        made_at=at,
        job=page.job,
        set_revision=kit.job.tool_set.revision,
        copy_letter=page.copy_letter,
        unit=kit.job.tool_set.unit,
        drive_side=page.drive_side,
        entry_left=page.entry_left,
        chart_revision=read.chart.revision if read.chart else "",
        proof=_proof(read),
        is_turned=read.is_turned,
        is_begun=read.setup is not None,
        state_word=str(read.setup.get_state_display()) if read.setup else page.state_word,
        header=page.header,
        kg=page.load.kg,
        unknown_masses=page.load.unknown,
        last=_last(read),
        stations=tuple(_station(n, read, stacks, views) for n in numbers),
        line=page.line,
    )


def _read(number: str, at: datetime) -> _Read:
    reading = read_kit(number, at=at)
    kit, mill = reading.kit, reading.kit.job.mill_id
    setup = Setup.objects.filter(kit=kit).select_related("chart").first()
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
    return _Read(
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
    )


def _last_setup(set_id: int, mill_id: int, kit_id: int) -> Setup | None:
    """The newest setup that made a good part: on this mill, else on any. One query."""
    rows = Setup.objects.filter(kit__job__tool_set=set_id, good_at__isnull=False)
    found = list(
        rows.exclude(kit=kit_id).select_related("kit__job", "mill").order_by("-good_at")[:50]
    )
    here = (each for each in found if each.mill_id == mill_id)
    return next(here, found[0] if found else None)


def _proof(read: _Read) -> Proof:
    if read.chart is None:
        return "none"
    if read.chart.state == "proved":
        return "proved" if read.chart.is_turned == read.is_turned else "drawn"
    return "unproved" if read.chart.state == "unproved" else "drawn"


def _last(read: _Read) -> LastSetup | None:
    last = read.last
    if last is None or last.good_at is None:
        return None
    return LastSetup(
        number=last.kit.number,
        mill=last.mill.name,
        is_this_mill=last.mill_id == read.reading.kit.job.mill_id,
        good_at=last.good_at,
        strip_nm=last.kit.job.thickness_nm,
    )


Stacks = Mapping[tuple[int, str], tuple[OnShaft, ...]]


def _stacks(read: _Read, views: Mapping[int, PositionView]) -> Stacks:
    by: dict[tuple[int, str], list[KitPosition]] = defaultdict(list)
    for row in read.reading.rows:
        if row.shaft != "line":
            by[row.station_number, row.shaft].append(row)
    return {key: in_order(rows, is_turned=read.is_turned) for key, rows in by.items()}


def _station(
    number: int, read: _Read, stacks: Stacks, views: Mapping[int, PositionView]
) -> SheetStation:
    station, placed = read.stations.get(number), read.passes.get(number)
    here = [
        stack for shaft in ("top", "bottom", "side") for stack in stacks.get((number, shaft), ())
    ]
    pass_number = here[0].row.pass_number if here else None
    if placed is not None and placed.set_pass.number != pass_number:
        placed = None
    gap = _gap(placed, read) if placed else None
    return SheetStation(
        number=number,
        code=station.code if station else "",
        pass_number=pass_number,
        pass_name=getattr(here[0].row, "pass_name", "") if here else "",
        pass_line_rise_nm=placed.set_pass.pass_line_rise_nm if placed else 0,
        note=placed.note if placed else "",
        top=_shaft("top", stacks.get((number, "top"), ()), views),
        bottom=_shaft("bottom", stacks.get((number, "bottom"), ()), views),
        side=tuple(_side(each, views) for each in stacks.get((number, "side"), ())),
        gap=gap,
        moves=_moves(pass_number, station, read) if station and here else None,
        settings=_settings(placed, station, gap, read) if placed and station else (),
    )


def _shaft(which: str, stack: Sequence[OnShaft], views: Mapping[int, PositionView]) -> SheetShaft:
    return SheetShaft(
        which,
        tuple(
            SheetPiece(
                turn=each.turn,
                faces=each.faces,
                fill=each.row.fill,
                length_nm=each.row.length_nm or views[each.row.pk].face_width_nm,
                position=views[each.row.pk],
            )
            for each in stack
        ),
    )


def _side(each: OnShaft, views: Mapping[int, PositionView]) -> SheetSide:
    asked = each.row.set_position
    return SheetSide(
        position=views[each.row.pk],
        height_nm=asked.height_nm if asked else None,
        in_out_nm=asked.in_out_nm if asked else None,
        tilt_degrees=asked.tilt_degrees if asked else None,
    )


def _gap(placed: ChartPass, read: _Read) -> SheetGap:
    """Target, packs and centres of a pass where the chart places it."""
    target = gap_target_nm(placed, read.strip_nm)
    rolls = read.rolls.of(placed.set_pass.number)
    degrees = placed.set_pass.gap_degrees or 0.0
    found = _worked(placed, target, degrees, read) if target and target > 0 else None
    packs = found.packs if found else None
    centres = found.centres if found else None
    station = placed.station
    return SheetGap(
        target_nm=target,
        allowance_nm=placed.gap_allowance_nm,
        strip_nm=read.strip_nm,
        method=placed.gap_method,
        is_loaded=placed.gap_is_loaded,
        point=placed.set_pass.gap_point,
        degrees=degrees,
        packs=_means(found, placed.gap_method),
        feeler_nm=found.face.feeler_nm if found else None,
        go=packs.go if packs else None,
        no_go=packs.no_go if packs else None,
        centres_nm=centres.centres_nm if centres else None,
        centres_problem=_problem(centres.centres if centres else None, station),
        is_by_drive=rolls.is_by_drive,
        unmeasured=centres.step.unmeasured if centres else (),
        steps=found.steps if found else (),
    )


def _worked(placed: ChartPass, target: int, degrees: float, read: _Read) -> GapSetting:
    rolls = read.rolls.of(placed.set_pass.number)
    job, given = read.reading.kit.job, read.given
    unit, mill = job.tool_set.unit, job.mill_id
    window = given.value("gap_window", unit=unit, mill_id=mill, set_id=job.tool_set_id)
    return gap_setting(
        gap_nm=target,
        window_nm=int(window),
        leaves_nm=given.lengths("feeler_leaves", unit=unit, mill_id=mill),
        degrees=degrees,
        near_vertical_degrees=float(given.value("gap_near_vertical")),
        top_nm=rolls.top_nm,
        bottom_nm=rolls.bottom_nm,
        unmeasured=rolls.unmeasured,
    )


def _means(found: GapSetting | None, method: str) -> Means:
    """How the gap is checked: by the packs that were found, else in another way."""
    if found is None:
        return ""
    if found.face.method == "spacers":
        return "spacers"
    if found.packs is None or found.packs.go is None:
        return "other"
    return "feelers" if method in ("", "feeler") else "other"


def _problem(centres: Fraction | None, station: Station) -> str:
    if centres is None:
        return ""
    if station.vertical_least_nm is not None and centres < station.vertical_least_nm:
        return "below_stop"
    if station.vertical_most_nm is not None and centres > station.vertical_most_nm:
        return "above_most"
    return ""


def _moves(pass_number: int | None, station: Station, read: _Read) -> SheetMoves | None:
    """Since the last good setup, where both sets of diameters are known."""
    if read.last is None or read.last.mill_id != station.mill_id or pass_number is None:
        return None
    then, now = read.last_rolls.of(pass_number), read.rolls.of(pass_number)
    if None in (then.top_nm, then.bottom_nm, now.top_nm, now.bottom_nm):
        return None
    found = moves_between(
        top_removed_nm=(then.top_nm or 0) - (now.top_nm or 0),
        bottom_removed_nm=(then.bottom_nm or 0) - (now.bottom_nm or 0),
        bottom_adjustable=station.bottom_adjustable,
        screw_lead_nm=station.screw_lead_nm,
    )
    return SheetMoves(
        pass_line_nm=round_half_up(found.pass_line_nm),
        top_nm=round_half_up(found.top_shaft_nm),
        bottom_nm=round_half_up(found.bottom_shaft_nm),
        top_turns=found.top_turns,
        bottom_turns=found.bottom_turns,
        reset=found.reset,
    )


def _settings(
    placed: ChartPass, station: Station, gap: SheetGap | None, read: _Read
) -> tuple[SheetSetting, ...]:
    """The gap at both ends, then the chart's other settings, then what only the last setup set."""
    unit = read.reading.kit.job.mill.unit
    target = gap.target_nm if gap else None
    rows = [
        SheetSetting("", end, unit, target, None, _last_good("", end, placed, station, read))
        for end in ENDS
    ]
    for axis in read.axes.get(placed.pk, ()):
        last = _last_good(axis.name, "", placed, station, read)
        rows.append(SheetSetting(axis.name, "", axis.unit, axis.target_nm, axis.target, last))
    known = {row.name.casefold() for row in rows}
    at = read.last_stations.get(placed.set_pass.number)
    for (number, name, end), row in sorted(read.last_set.items()):
        if number == at and name.casefold() not in known:
            last = _last_good(name, end, placed, station, read)
            rows.append(SheetSetting(name, end, row.unit, None, None, last))
    return tuple(rows)


def _last_good(
    name: str, end: str, placed: ChartPass, station: Station, read: _Read
) -> LastGood | None:
    number = placed.set_pass.number
    at = read.last_stations.get(number)
    row = _as_it_was(at, name, end, read)
    if row is None or read.last is None or at is None:
        return None
    then, now = read.last_rolls.of(number), read.rolls.of(number)
    job = read.last.kit.job
    what = follows(name)
    found = translate(
        row.value_nm if row.value_nm is not None else Fraction(str(row.value)),
        follows=what,
        then=Conditions(
            mill=str(read.last.mill_id), method=row.method, is_loaded=row.is_loaded,
            strip_nm=job.thickness_nm, top_nm=then.top_nm, bottom_nm=then.bottom_nm,
        ),
        now=Conditions(
            mill=str(station.mill_id),
            method=placed.gap_method if what == "gap" else "",
            is_loaded=placed.gap_is_loaded if what == "gap" and placed.gap_method else None,
            strip_nm=read.strip_nm, top_nm=now.top_nm, bottom_nm=now.bottom_nm,
        ),
        screws=Screws(
            bottom_adjustable=station.bottom_adjustable,
            lead_nm=station.screw_lead_nm,
            zero_moved=_zero_moved(station, at, read.last),
        ),
        in_turns=not is_length(row.unit),
    )  # fmt: skip
    length = row.value_nm is not None
    plain = float(found.value) if found.value is not None and not length else None
    return LastGood(
        was_nm=row.value_nm, was=row.value, now_nm=found.value_nm if length else None, now=plain,
        method=row.method, struck=found.struck, reset=found.reset,
    )  # fmt: skip


def _as_it_was(at: int | None, name: str, end: str, read: _Read) -> AsSet | None:
    if at is None:
        return None
    wanted = name.casefold()
    return next(
        (
            row
            for (number, said, which), row in read.last_set.items()
            if number == at and said.casefold() == wanted and which == end
        ),
        None,
    )


def _zero_moved(station: Station, at: int, last: Setup) -> bool:
    """The pass stood at another station, or this one was aligned since."""
    if at != station.number:
        return True
    aligned, good = station.aligned_on, last.good_at
    return aligned is not None and good is not None and aligned > good.date()
