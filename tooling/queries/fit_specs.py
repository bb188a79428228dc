"""What the fit of sets to mills is computed from, as the records have it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from tooling.engineering.mill_specs import (
    MillSpec,
    PassSpec,
    RollSpec,
    SetSpec,
    ShaftSpec,
    SleeveSpec,
    StationSpec,
    StripSpec,
)
from tooling.models import (
    DrawingKind,
    DrawingRevision,
    Mill,
    MillShaft,
    Piece,
    SetPosition,
    ToolSet,
)
from tooling.queries.gap_diameters import gap_diameter, is_measured
from tooling.queries.pieces import size_of

KINDS = (
    *(DrawingKind.ROLL, DrawingKind.SIDE_ROLL, DrawingKind.SPACER, DrawingKind.SHIM),
    DrawingKind.SLEEVE,
)
SIZES = (
    *("bore", "keyway_width", "keyway_depth", "face_width", "guide_offset", "drive_diameter"),
    "outside_diameter",
)
STATION_FIELDS = (
    *("centre_to_next_nm", "vertical_least_nm", "vertical_most_nm", "stand_clearance_nm"),
    *("side_roll_room_nm", "side_roll_mounting"),
)
SHAFT_FIELDS = (
    *("which", "diameter_nm", "roll_space_nm", "key_style", "key_width_nm", "key_height_nm"),
    *("shoulder_offset_nm", "drive", "joint_length_nm", "joint_most_degrees"),
    "joint_level_centre_nm",
)


def mill_spec(mill: Mill, stations: Sequence[StationSpec]) -> MillSpec:
    """A mill with its stations, as `stations_of_mills` gives them."""
    return MillSpec(
        number=mill.number,
        stations=tuple(stations),
        hand=mill.hand,
        guide_plane_nm=mill.guide_plane_nm,
        closing_most_nm=mill.closing_most_nm,
        base_clearance_nm=mill.base_clearance_nm,
    )


def set_spec(row: ToolSet, passes: tuple[PassSpec, ...]) -> SetSpec:
    """A set with its passes."""
    grades = (grade.strip() for grade in row.grades.split(","))
    return SetSpec(
        number=row.number,
        passes=passes,
        thickness_least_nm=row.thickness_least_nm,
        thickness_most_nm=row.thickness_most_nm,
        grades=tuple(grade for grade in grades if grade),
        hand=row.hand,
        side_roll_mounting=row.side_roll_mounting,
    )


def strip_spec(row: ToolSet) -> StripSpec | None:
    """The thickest strip that a set is cut for."""
    thickest = row.thickness_most_nm or row.thickness_least_nm
    first_grade = row.grades.split(",")[0].strip()
    return StripSpec(thickness_nm=thickest, grade=first_grade) if thickest else None


def roll_spec(
    position: SetPosition, drawn: DrawingRevision, piece: Piece | None, *, gap_is_kept: bool
) -> RollSpec:
    """A position as its piece measures; without a piece as drawn."""
    sizes: dict[str, Any] = {}
    unmeasured = set()
    for name in SIZES:
        now = getattr(piece, f"now_{name}_nm") if piece else None
        made = getattr(piece, f"made_{name}_nm") if piece else None
        of_piece = getattr(piece.revision, f"{name}_nm") if piece else None
        known = (now, made, of_piece, getattr(drawn, f"{name}_nm"))
        sizes[f"{name}_nm"] = next((size for size in known if size is not None), None)
        if now is None:
            unmeasured.add(f"{name}_nm")
    if not is_measured(piece):
        unmeasured.add("gap_nm")
    rolls = position.drawing.kind in (DrawingKind.ROLL, DrawingKind.SIDE_ROLL)
    gap_nm = sizes["drive_diameter_nm"] if rolls else None
    if gap_is_kept:
        size = (lambda name: size_of(piece, name)) if piece else None
        gap_nm = gap_diameter(position, drawn, size)
    return RollSpec(
        name=piece.code if piece else position.drawing.number,
        where=position.shaft,  # type: ignore[arg-type]
        order=position.order,
        kind=position.drawing.kind,  # type: ignore[arg-type]
        drawn_bore_nm=drawn.bore_nm,
        carries_guide_point=position.carries_guide_point,
        gap_nm=gap_nm,
        unmeasured=frozenset(unmeasured),
        **sizes,
    )


def stations_of_mills(mills: Iterable[Mill]) -> dict[int, list[StationSpec]]:
    """Mill → its stations in order, each with the shafts of its first bank. One query."""
    rows = MillShaft.objects.filter(station__mill__in=mills, bank=1).select_related(
        "station", "drive_group"
    )
    shafts: dict[Any, list[ShaftSpec]] = defaultdict(list)
    for row in rows.order_by("station__mill", "station__number", "-which"):
        shafts[row.station].append(_shaft(row))
    found: dict[int, list[StationSpec]] = defaultdict(list)
    for station, on in shafts.items():
        facts = {name: getattr(station, name) for name in STATION_FIELDS}
        ratio = Fraction(station.gear_ratio)
        spec = StationSpec(number=station.number, shafts=tuple(on), ratio=ratio, **facts)
        found[station.mill_id].append(spec)
    return found


def _shaft(row: MillShaft) -> ShaftSpec:
    factor = row.drive_group.rpm_factor if row.drive_group else 1
    return ShaftSpec(
        shoulder_measured=row.shoulder_measured_on is not None,
        rpm_factor=Fraction(str(factor)),
        **{name: getattr(row, name) for name in SHAFT_FIELDS},
    )


def sleeve_specs() -> tuple[SleeveSpec, ...]:
    """Every sleeve that is drawn. One query."""
    rows = DrawingRevision.objects.filter(
        drawing__kind=DrawingKind.SLEEVE,
        is_current=True,
        bore_nm__isnull=False,
        outside_diameter_nm__isnull=False,
    )
    return tuple(
        SleeveSpec(name=number, bore_nm=bore, outside_diameter_nm=outside)
        for number, bore, outside in rows.order_by("drawing__number").values_list(
            "drawing__number", "bore_nm", "outside_diameter_nm"
        )
    )
