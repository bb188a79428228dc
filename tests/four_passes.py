"""A set of four passes whose setup sheet was worked out by hand, and the last good run before it.

Millimetres. The strip was 1.50 then and is 1.20 now.

pass 1, station 1, bottom shaft fixed, screws of 2 mm lead, gap = strip + 0.05 by feeler:
    rolls 160 over 150 at the gap point as drawn (drive diameters the same); since then 0.6 was cut
    off the top one and 0.8 off the bottom one.
    target 1.20 + 0.05 = 1.25; packs within ± 0.10: GO 0.15 + 1.00 = 1.15 (the lowest of two
    leaves), NO-GO 0.35 + 1.00 = 1.35 (the highest)
    centres (159.4 + 149.2) / 2 + 1.25 = 155.55
    moves: top down (0.6 + 0.8) / 2 = 0.70, which is 0.35 turns; pass line falls 0.8 / 2 = 0.40
    last good gap 1.55 → 1.55 − 0.30 = 1.25; outboard 1.56 → 1.26
    top screw 6.5 turns → 6.5 − (0.70 + 0.30) / 2 = 6; guide 45 mm stays, to be set again
pass 2, station 2: face inclined 60° at the gap point, 170 over 150, gap 2.00:
    the feeler sees 2.00 · cos 60° = 1.00 ± 0.05: GO 0.95, NO-GO 1.05 = 0.05 + 1.00
    centres (170 + 150) / 2 + 2.00 = 162; nothing was cut: no move
pass 3, station 4, bottom adjustable: near-vertical face (85°), no gap diameters kept:
    set by spacers; by the drive diameters, 0.4 and 0.2 cut off, 179.6 and 149.8:
    centres 164.70 + 1.20 = 165.90; top down 0.20, bottom up 0.10, pass line kept
pass 4, station 5: plug, loaded, gap 1.30; last good by feeler, unloaded: struck out.
    Its top screw's 3 turns are struck out too: the station was aligned since.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tests.world import MM, World
from tooling.models import (
    AsSet,
    ChartAxis,
    ChartPass,
    Kit,
    KitPosition,
    Person,
    Piece,
    SetPass,
    SetPosition,
    Setting,
    Setup,
    ToolSet,
    Work,
    WorkMeasure,
)
from tooling.services import kit_assembly, kits

DRAWN = {1: (160, 150), 2: (170, 150), 3: (180, 150), 4: (170, 150)}
NOW = {1: (159_400_000, 149_200_000), 3: (179_600_000, 149_800_000)}
STATIONS = {1: 1, 2: 2, 3: 4, 4: 5}


@dataclass
class FourPasses:
    """The shop with the kit of today's job."""

    world: World
    tool_set: ToolSet
    kit: Kit
    last: Setup


def four_passes(world: World, engineer: Person, *, unit: str = "mm") -> FourPasses:
    """Built by hand; the last good run was twenty days ago, the recuts ten days ago."""
    tool_set, pieces = _set(world, unit)
    mill = world.mill("M1", stations=6)
    mill.stations.update(screw_lead_nm=2 * MM)
    mill.stations.filter(number=4).update(bottom_adjustable=True)
    _chart(world, tool_set, mill)
    Setting.objects.create(name="gap_window", value=100_000, tool_set=tool_set)
    then = world.at - timedelta(days=20)
    last = _last_run(world, engineer, tool_set, mill, then)
    for number, cut in NOW.items():
        for shaft, now in zip(("top", "bottom"), cut, strict=True):
            _recut(pieces[number, shaft], now, world.at - timedelta(days=10))
    mill.stations.filter(number=5).update(aligned_on=(world.at - timedelta(days=5)).date())
    job = world.job(
        tool_set, mill, number="J-2", grade="DX51D", thickness_nm=1_200_000, width_nm=80 * MM
    )
    kit = _assembled(engineer, world.at, job)
    return FourPasses(world, tool_set, kit, last)


def _set(world: World, unit: str) -> tuple[ToolSet, dict[tuple[int, str], Piece]]:
    rack = world.place("Rack A")
    places: dict[tuple[int, str, int], Any] = {}
    for number, sizes in DRAWN.items():
        for shaft, size in zip(("top", "bottom"), sizes, strict=True):
            name = f"{number}-{shaft[0].upper()}1"
            places[number, shaft, 1] = world.drawing(
                name, bore_nm=60 * MM, face_width_nm=90 * MM, drive_diameter_nm=size * MM,
                outside_diameter_nm=(size + 20) * MM, keyway_width_nm=18 * MM, mass_g=12_000,
            )  # fmt: skip
    side = world.drawing("2-S1", kind="side_roll", outside_diameter_nm=80 * MM)
    tool_set = world.tool_set("T-4", {**places, (2, "side", 1): side}, unit=unit)
    pieces = {key: world.piece(drawing, rack, mark=f"m {drawing.number}", weighed_g=24_000)
              for key, drawing in places.items()}  # fmt: skip
    rolls = {**pieces, (2, "side", 1): world.piece(side, rack, mark="m 2-S1")}
    world.copy(tool_set, "A", rolls)
    positions = SetPosition.objects.filter(set_pass__tool_set=tool_set)
    for number in (1, 2, 4):
        for shaft, size in zip(("top", "bottom"), DRAWN[number], strict=True):
            at = positions.filter(set_pass__number=number, shaft=shaft)
            at.update(gap_diameter_nm=size * MM)
    positions.filter(set_pass__number=4, shaft="top").update(is_split=True)
    positions.filter(shaft="side").update(
        side="operator", height_nm=12 * MM, in_out_nm=-500_000, tilt_degrees=1.5
    )
    passes = SetPass.objects.filter(tool_set=tool_set)
    passes.filter(number=1).update(name="entry", gap_point="web")
    passes.filter(number=2).update(gap_degrees=60, gap_point="flank")
    passes.filter(number=3).update(gap_degrees=85)
    return tool_set, {(number, shaft): row for (number, shaft, _one), row in pieces.items()}


def _chart(world: World, tool_set: ToolSet, mill: Any) -> None:
    chart = world.chart(tool_set, mill)
    chart.state = "unproved"
    chart.save()
    rows = ChartPass.objects.filter(chart=chart)
    for number in (4, 3):
        station = mill.stations.get(number=STATIONS[number])
        rows.filter(set_pass__number=number).update(station=station)
    rows.filter(set_pass__number=1).update(gap_allowance_nm=50_000, gap_method="feeler")
    rows.filter(set_pass__number=2).update(gap_nm=2 * MM)
    rows.filter(set_pass__number=3).update(gap_nm=1_200_000, note="Watch the lip.")
    rows.filter(set_pass__number=4).update(gap_nm=1_300_000, gap_method="plug", gap_is_loaded=True)
    first, last = rows.get(set_pass__number=1), rows.get(set_pass__number=4)
    ChartAxis.objects.create(chart_pass=first, name="guide", unit="mm", target_nm=44 * MM)
    ChartAxis.objects.create(chart_pass=first, name="Top screw", unit="turns", target=6.25)
    ChartAxis.objects.create(chart_pass=last, name="Top screw", unit="turns")


def _last_run(
    world: World, engineer: Person, tool_set: ToolSet, mill: Any, then: datetime
) -> Setup:
    job = world.job(
        tool_set, mill, number="J-1", in_hours=-480, thickness_nm=1_500_000, state="done"
    )
    kit = Kit.objects.create(
        number=world.code("K"), job=job, state="closed", closed_at=then, assembled_at=then
    )
    for position in SetPosition.objects.filter(set_pass__tool_set=tool_set):
        KitPosition.objects.create(
            kit=kit, set_position=position, pass_number=position.set_pass.number,
            station_number=STATIONS[position.set_pass.number], shaft=position.shaft,
            order=position.order, drawing=position.drawing, is_open=False,
            piece=position.allotments.get().piece,
        )  # fmt: skip
    setup = Setup.objects.create(
        kit=kit, mill=mill, state="struck", started_at=then, good_at=then,
        struck_at=then + timedelta(days=1),
    )  # fmt: skip
    said = {"setup": setup, "happened_at": then, "received_at": then, "by": engineer}
    gap = {"unit": "mm", "method": "feeler", "is_loaded": False, **said}
    rows = [
        {**gap, "station_number": 1, "end": "inboard", "value_nm": 1_550_000},
        {**gap, "station_number": 1, "end": "outboard", "value_nm": 1_560_000},
        {**gap, "station_number": 5, "end": "inboard", "value_nm": 1_600_000},
        {**said, "station_number": 1, "name": "Top screw", "value": 6.5, "unit": "turns"},
        {**said, "station_number": 1, "name": "Guide", "value_nm": 45 * MM, "unit": "mm"},
        {**said, "station_number": 5, "name": "Top screw", "value": 3.0, "unit": "turns"},
    ]
    for row in rows:
        AsSet.objects.create(**row)
    return setup


def _recut(piece: Piece, now: int, at: datetime) -> None:
    work = Work.objects.create(piece=piece, kind="regrind", done_on=at.date(), received_at=at)
    before = piece.revision.drive_diameter_nm
    WorkMeasure.objects.create(
        work=work, dimension="drive_diameter", before_nm=before, after_nm=now
    )
    Piece.objects.filter(pk=piece.pk).update(now_drive_diameter_nm=now)


def _assembled(engineer: Person, at: datetime, job: Any) -> Kit:
    kit = kits.open_kit(by=engineer, at=at, job=job)
    return kit_assembly.assemble(by=engineer, at=at, kit=kit)
