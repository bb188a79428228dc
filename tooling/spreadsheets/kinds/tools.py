"""Sheets of gauges, and of what dies make in the strip."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.pieces import DRAWING_NO, REVISION
from tooling.spreadsheets.kinds.words import code, date, length, note, text, unit

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
