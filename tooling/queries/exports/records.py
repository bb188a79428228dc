"""Owners, places, mills, drawings, pieces and stock as rows of their sheets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from django.db.models import F

from tooling.models import (
    DIMENSIONS,
    DrawingRevision,
    DueBack,
    MillShaft,
    Owner,
    Piece,
    PieceAlias,
    Place,
    StockLine,
)
from tooling.spreadsheets.rows import Row

LEAST = ("drive_diameter", "root_diameter", "outside_diameter", "face_width")


def row(values: dict[str, Any], unit: str = "") -> Row:
    """A row whose empty texts are blank cells and whose lengths were written in ``unit``."""
    filled = {name: (None if value == "" else value) for name, value in values.items()}
    return Row(filled, dict.fromkeys(filled, unit) if unit else {})


def owners() -> Iterator[Row]:
    for owner in Owner.objects.order_by("code"):
        yield row(
            {
                "code": owner.code,
                "name": owner.name,
                "is_shop": owner.is_shop,
                "contact": owner.contact,
                "consent_reference": owner.consent_reference,
                "insurance_reference": owner.insurance_reference,
            }
        )


def places() -> Iterator[Row]:
    """Outer places first; stations come with their mills."""
    found = Place.objects.exclude(kind="station").select_related("parent", "owner", "home")
    for place in sorted(found, key=lambda p: (p.path_name.count(" / "), p.path_name)):
        yield row(
            {
                "name": place.name,
                "inside": place.parent.path_name if place.parent else None,
                "kind": place.kind,
                "code": place.code,
                "walking_order": place.walking_order,
                "max_load": None if place.max_load_kg is None else round(place.max_load_kg * 1000),
                "height": place.height_nm,
                "owner": place.owner.code if place.owner else None,
                "home": place.home.path_name if place.home else None,
            },
            "mm",
        )


MILL = ("name", "unit", "datum", "hand", "operator_side", "closing")
MILL_LENGTHS = (
    "closing_least",
    "closing_most",
    "pass_line_height",
    "guide_plane",
    "base_clearance",
)
STATION = ("gear_ratio", "bottom_adjustable", "side_roll_mounting", "aligned_on")
STATION_LENGTHS = (
    "centre_to_next",
    "vertical_least",
    "vertical_most",
    "screw_lead",
    "stand_clearance",
    "side_roll_room",
)
SHAFT = ("key_style", "shoulder_measured_on", "drive")
SHAFT_LENGTHS = (
    "diameter",
    "key_width",
    "key_height",
    "roll_space",
    "shoulder_offset",
    "joint_length",
)


def _some(record: Any, names: tuple[str, ...], suffix: str = "") -> dict[str, Any]:
    return {name: getattr(record, name + suffix) for name in names}


def mills() -> Iterator[Row]:
    """One row for each shaft."""
    shafts = MillShaft.objects.select_related("station__mill__place", "drive_group")
    for shaft in shafts.order_by("station__mill__number", "station__number", "which", "bank"):
        station, mill = shaft.station, shaft.station.mill
        group = shaft.drive_group
        yield row(
            {
                "mill": mill.number,
                **_some(mill, MILL),
                **_some(mill, MILL_LENGTHS, "_nm"),
                "max_speed": mill.max_speed_m_min,
                "place": mill.place.path_name if mill.place else None,
                "station": (station.number,),
                "station_code": station.code,
                **_some(station, STATION),
                **_some(station, STATION_LENGTHS, "_nm"),
                "shaft": shaft.which,
                "bank": shaft.bank if shaft.bank > 1 else None,
                **_some(shaft, SHAFT),
                **_some(shaft, SHAFT_LENGTHS, "_nm"),
                "drive_group": group.name if group else None,
                "rpm_factor": group.rpm_factor if group else None,
            },
            mill.unit,
        )


def drawings() -> Iterator[Row]:
    """Every revision, with which one is current."""
    found = DrawingRevision.objects.select_related("drawing")
    for revision in found.order_by("drawing__number", "revision"):
        yield row(
            {
                "drawing": revision.drawing.number,
                "kind": revision.drawing.kind,
                "title": revision.drawing.title,
                "mass": revision.mass_g,
                "plated_thickness": revision.plated_thickness_nm,
                "case_depth": revision.case_depth_nm,
                "new_cost": (
                    None if revision.new_cost_cents is None else revision.new_cost_cents / 100
                ),
                **_some(
                    revision,
                    (
                        "revision",
                        "is_current",
                        "unit",
                        "material",
                        "bore_class",
                        "strokes_to_sharpen",
                        "issued_on",
                        "old_pieces",
                        "note",
                    ),
                ),
                **_some(revision, DIMENSIONS, "_nm"),
                **{f"least_{each}": getattr(revision, f"least_{each}_nm") for each in LEAST},
            },
            revision.unit,
        )


def pieces() -> Iterator[Row]:
    aliases: dict[int, list[str]] = defaultdict(list)
    for piece_id, text in PieceAlias.objects.order_by("pk").values_list("piece_id", "text"):
        aliases[piece_id].append(text)
    told = DueBack.objects.filter(movement=F("movement__piece__placed_by")).order_by("at", "id")
    dues = dict(told.values_list("movement__piece_id", "due_on"))
    found = Piece.objects.select_related("drawing", "revision", "owner", "place", "home")
    for piece in found.order_by("code").iterator(chunk_size=2000):
        first, *further = aliases.get(piece.pk, [None])
        yield row(
            {
                "code": piece.code,
                "old_number": first,
                "other_numbers": "; ".join(map(str, further)),
                "copy": piece.copy_letter,
                "drawing": piece.drawing.number,
                "revision": piece.revision.revision,
                "owner": piece.owner.code,
                "place": piece.place.path_name,
                "due_back": dues.get(piece.pk),
                "home": piece.home.path_name if piece.home else None,
                "hardness": piece.hardness_hrc,
                "mass": piece.weighed_g,
                "value": None if piece.value_cents is None else piece.value_cents / 100,
                "length_run": piece.length_run_nm or None,
                "strokes_run": piece.strokes_run or None,
                **_some(
                    piece,
                    (
                        *("mark", "mark_place", "condition", "hold_reason", "unit"),
                        *("over_chrome", "heat_lot", "note"),
                    ),
                ),
                **{f"made_{each}": getattr(piece, f"made_{each}_nm") for each in DIMENSIONS},
                **{f"now_{each}": getattr(piece, f"now_{each}_nm") for each in DIMENSIONS},
            },
            piece.unit,
        )


def stock() -> Iterator[Row]:
    found = StockLine.objects.select_related("drawing", "place", "owner").order_by("code")
    for line in found:
        yield row(
            {
                "code": line.code,
                "drawing": line.drawing.number,
                "place": line.place.path_name,
                "condition": line.condition,
                "owner": line.owner.code,
                "count": line.count,
                "least_count": line.least_count,
            }
        )
