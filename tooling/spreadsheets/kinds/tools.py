"""Sheets of gauges, of the points that are gauged, and of what dies make in the strip."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.pieces import DRAWING_NO, REVISION
from tooling.spreadsheets.kinds.words import (
    DIMENSION_WORDS,
    choice,
    code,
    date,
    length,
    note,
    text,
    unit,
    yes_no,
)

SHAPES: dict[str, tuple[str, ...]] = {
    "round": ("round hole", "hole", "circle"),
    "slot": ("obround", "oblong"),
    "rectangle": ("square", "rectangular", "window"),
    "notch": ("corner notch", "edge notch"),
    "louvre": ("louver",),
    "emboss": ("embossing", "dimple"),
    "cut": ("cut-off", "cutoff", "shear"),
    "other": (),
}

GAUGES = Kind(
    "gauges",
    "Gauges",
    (
        code("number", "Number", "gauge", "gage", "gauge no", "gage no", "gauge number", "id",
             "instrument no", required=True, longest=30, example="MIC-4"),
        text("name", "Name", "description", "instrument", "type", required=True, longest=80,
             example="Micrometer 150 to 175"),
        unit(),
        length("resolution", "Resolution", "reads to", "graduation", "least count", most=10.0,
               example="0.001"),
        length("uncertainty", "Uncertainty", "stated uncertainty", "u k=2", "accuracy", most=10.0,
               example="0.004", note="As its certificate states it, k = 2."),
        date("due_on", "Due", "due on", "calibration due", "cal due", "next calibration",
             "valid until", example="2027-03-01"),
    ),
    keys=(("number",),),
    words=("gauges", "gages", "instruments", "measuring tools"),
)  # fmt: skip

GAUGE_POINTS = Kind(
    "gauge_points",
    "Gauge points",
    (
        code("drawing", "Drawing", *DRAWING_NO, required=True, example="1472-01-T1"),
        code("point", "Gauge point", "gage point", "point", "point name", "measured at",
             required=True, longest=40, example="throat"),
        Field("order", "Order", ("no", "number", "sequence", "point no"), FieldType.INTEGER,
              least=1, most=999, example="1"),
        text("where", "Where", "how to find it", "location", "at", longest=120,
             example="12 mm from the inboard face"),
        choice("kind", "What is read", "kind", "type", "method",
               choices={"length": ("size", "a length", "dimension", "measure"),
                        "template": ("profile gauge", "contour", "fits, light or fails"),
                        "finish": ("finish grade", "surface", "roughness")},
               example="length"),
        choice("dimension", "Dimension", "what", "measured", "it is the piece's",
               choices={name: words for name, (_label, words) in DIMENSION_WORDS.items()},
               example="root diameter",
               note="Where its readings are those of one of the piece's dimensions."),
        unit(),
        length("new", "When new", "new", "nominal", "as drawn", "drawn", example="142.50"),
        length("limit", "Limit", "wear limit", "worn at", "scrap at", "change at",
               example="141.90", note="Beyond it parts are bad."),
        length("depth_limit", "Most depth lost", "depth limit", "most wear", "allowed wear",
               "wear allowance", note="Or: since the last cut, square to the face."),
        yes_no("grows", "Grows", "gets larger", "widens",
               note="Yes where wear makes it larger, as a groove."),
        yes_no("is_diameter", "Both sides wear", "on diameter", "is a diameter", "diametral"),
        yes_no("has_two_ends", "Both ends", "two ends", "read at both ends"),
        Field("face_angle_deg", "Face angle", ("face to the shaft", "angle", "angle of the face",
              "inclination", "face angle deg"), FieldType.NUMBER, least=0, most=90,
              note="In degrees: 0 along the shaft, 60 on a steep flank."),
        length("local_radius", "Local radius", "radius there"),
        yes_no("is_in_use", "In use", "used", "active"),
    ),
    keys=(("drawing", "point"),),
    words=("gauge points", "gage points", "wear points", "measuring points"),
)  # fmt: skip

FEATURES = Kind(
    "features",
    "What dies make",
    (
        code("drawing", "Drawing", *DRAWING_NO, "die", "punch", required=True, example="DIE-12"),
        code("revision", "Revision", *REVISION, longest=10, example="B"),
        Field("order", "Order", ("no", "number", "sequence", "feature no"), FieldType.INTEGER,
              required=True, least=1, most=1_000, example="1"),
        Field("shape", "Shape", ("feature", "kind", "type", "makes"), FieldType.CHOICE,
              required=True, choices=SHAPES, example="slot"),
        text("name", "Name", "description", longest=60, example="fixing slot"),
        unit(),
        length("width", "Width", "dia", "diameter", "size"),
        length("length", "Length", "len", "long"),
        note(),
    ),
    keys=(("drawing", "revision", "order"),),
    keys_optional=frozenset({"revision"}),
    words=("features", "holes", "punching", "dies"),
)  # fmt: skip
