"""The setup sheet of a kit: stacks, gaps with their packs, moves since the last good setup."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from fractions import Fraction

from tooling.engineering.gap_setting import GapSetting, gap_setting
from tooling.engineering.gaps import moves_between
from tooling.engineering.speeds import round_half_up
from tooling.models import ChartPass, KitPosition, Station
from tooling.queries.as_set import ENDS, gap_target_nm
from tooling.queries.kit_views import PositionView
from tooling.queries.setup_sheet_last import last_good
from tooling.queries.setup_sheet_read import SheetReading, read_sheet
from tooling.queries.setup_sheet_views import (
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
from tooling.queries.strip_measures import strip_then


def setup_sheet(number: str, *, at: datetime) -> SetupSheetView:
    """The whole sheet, for any kit, also before anything is mounted. At most twenty-four queries,
    however many stations. Raises Unknown ``unknown_kit``."""
    read = read_sheet(number, at)
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
        strip=read.strip,
        stations=tuple(_station(n, read, stacks, views) for n in numbers),
        line=page.line,
    )


def _proof(read: SheetReading) -> Proof:
    if read.chart is None:
        return "none"
    if read.chart.state == "proved":
        return "proved" if read.chart.is_turned == read.is_turned else "drawn"
    return "unproved" if read.chart.state == "unproved" else "drawn"


def _last(read: SheetReading) -> LastSetup | None:
    last = read.last
    if last is None or last.good_at is None:
        return None
    return LastSetup(
        number=last.kit.number,
        mill=last.mill.name,
        is_this_mill=last.mill_id == read.reading.kit.job.mill_id,
        good_at=last.good_at,
        strip_nm=strip_then(last, last.good_at, read.measures),
    )


Stacks = Mapping[tuple[int, str], tuple[OnShaft, ...]]


def _stacks(read: SheetReading, views: Mapping[int, PositionView]) -> Stacks:
    by: dict[tuple[int, str], list[KitPosition]] = defaultdict(list)
    for row in read.reading.rows:
        if row.shaft != "line":
            by[row.station_number, row.shaft].append(row)
    return {key: in_order(rows, is_turned=read.is_turned) for key, rows in by.items()}


def _station(
    number: int, read: SheetReading, stacks: Stacks, views: Mapping[int, PositionView]
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


def _gap(placed: ChartPass, read: SheetReading) -> SheetGap:
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


def _worked(placed: ChartPass, target: int, degrees: float, read: SheetReading) -> GapSetting:
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


def _moves(pass_number: int | None, station: Station, read: SheetReading) -> SheetMoves | None:
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
    placed: ChartPass, station: Station, gap: SheetGap | None, read: SheetReading
) -> tuple[SheetSetting, ...]:
    """The gap at both ends, then the chart's other settings, then what only the last setup set."""
    unit = read.reading.kit.job.mill.unit
    target = gap.target_nm if gap else None
    rows = [
        SheetSetting("", end, unit, target, None, last_good("", end, placed, station, read))
        for end in ENDS
    ]
    for axis in read.axes.get(placed.pk, ()):
        last = last_good(axis.name, "", placed, station, read)
        rows.append(SheetSetting(axis.name, "", axis.unit, axis.target_nm, axis.target, last))
    known = {row.name.casefold() for row in rows}
    at = read.last_stations.get(placed.set_pass.number)
    for (number, name, end), row in sorted(read.last_set.items()):
        if number == at and name.casefold() not in known:
            last = last_good(name, end, placed, station, read)
            rows.append(SheetSetting(name, end, row.unit, None, None, last))
    return tuple(rows)
