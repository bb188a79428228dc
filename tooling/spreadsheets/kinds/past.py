"""Sheets of what has been: readings, past regrinds, length run."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.words import (
    DIMENSION_WORDS,
    choice,
    code,
    date,
    dimensions,
    length,
    note,
    text,
    unit,
    yes_no,
)

PIECE = ("label code", "code", "mark", "roll", "roll no", "piece code", "tool", "tool no", "tag",
         "old number", "piece no", "roll number")  # fmt: skip
PIECE_NOTE = "Its label code, old number or mark."
WORK_KINDS: dict[str, tuple[str, ...]] = {
    "regrind": ("recut", "grind", "ground", "re-cut", "re-grind", "turned"),
    "recontour": ("recontoured", "new contour"),
    "face": ("facing", "faced", "side face"),
    "rebore": ("re-bore", "re-bore or sleeve", "sleeve", "bushed"),
    "polish": ("polished", "polishing"),
    "strip": ("strip chrome", "dechrome", "stripped"),
    "plate": ("chrome", "plated", "chromed", "plating"),
    "remark": ("re-mark", "stamped", "marked"),
    "sharpen": ("sharpened", "resharpen", "resharpened", "re-sharpened", "honed"),
}


def piece(**more: object) -> Field:
    return code("piece", "Piece", *PIECE, required=True, example="R-0417", note=PIECE_NOTE, **more)


READINGS = Kind(
    "readings",
    "Readings",
    (
        piece(),
        choice("dimension", "Dimension", "what", "measured", "feature", "characteristic",
               required=True, example="root diameter",
               choices={**{name: words for name, (_label, words) in DIMENSION_WORDS.items()},
                        "wear": ("wear point", "depth", "wear depth")}),
        code("point", "Point", "gauge point", "gage point", "measured at", "at"),
        choice("end", "End", "which end", "side",
               choices={"inboard": ("inboard end", "drive side", "in"),
                        "outboard": ("outboard end", "operator side", "out")}),
        length("value", "Value", "reading", "measurement", "size", "actual", "result",
               "measured value", least=0.0, example="142.31"),
        choice("verdict", "Verdict", "template", "template check",
               choices={"fits": ("ok", "good", "pass"), "light": ("slight",),
                        "fails": ("fail", "bad", "reject")}),
        unit(),
        date("date", "Date", "measured on", "date measured", "inspected", "when", "day",
             required=True, example="2026-03-14"),
        Field("time", "Time", ("hour", "at time"), FieldType.TIME),
        code("gauge", "Gauge", "gage", "instrument", "micrometer", "tool used", "gauge no",
             longest=30),
        yes_no("over_chrome", "Over chrome", "chromed"),
        yes_no("soaked", "Soaked", "at room temperature"),
        Field("temperature", "Temperature", ("temp", "temp c", "temperature c", "°c"),
              FieldType.NUMBER, least=-30, most=90, note="In °C."),
        text("who", "Who", "by", "inspector", "measured by", "initials", "name", longest=120),
        note(),
    ),
    keys=(("piece", "dimension", "point", "end", "date", "time", "value", "verdict"),),
    keys_optional=frozenset({"point", "end", "time", "value", "verdict"}),
    any_of=(("value", "verdict"),),
    words=("readings", "measurements", "inspection"),
)  # fmt: skip

REGRINDS = Kind(
    "regrinds",
    "Past regrinds",
    (
        piece(),
        date("date", "Date", "regrind date", "date reground", "recut date", "done on", "when",
             "ground on", "date ground", required=True, example="2025-11-02"),
        choice("kind", "Kind", "type", "work", "work done", "operation", choices=WORK_KINDS,
               example="regrind"),
        text("who", "Who", "by", "done by", "grinder", "vendor", "supplier", "ground by", "shop",
             longest=120),
        code("order_reference", "Order", "po", "order no", "po no", "work order", "reference"),
        unit(),
        *dimensions("before_"),
        *dimensions("after_"),
        yes_no("mark_restored", "Mark restored", "re-marked", "mark back", "remarked"),
        Field("cost", "Cost", ("price", "amount", "charge"), FieldType.NUMBER, least=0,
              most=1e9),
        note(),
    ),
    keys=(("piece", "date", "kind"),),
    keys_optional=frozenset({"kind"}),
    words=("regrinds", "recuts", "grinding", "rework"),
)  # fmt: skip

LENGTH_RUN = Kind(
    "length_run",
    "Length run",
    (
        piece(),
        Field("length", "Length", ("length run", "footage", "feet", "metres", "meters", "run",
              "feet run", "total footage", "lineal feet", "strip length", "total"),
              FieldType.STRIP_LENGTH, required=True, least=0, most=1e9, example="120000"),
        Field("strokes", "Strokes", ("hits", "cuts", "strokes since sharpening"),
              FieldType.INTEGER, least=0, most=10**12),
        code("strip_class", "Strip class", "class", "grade", "material", "strip", "run on"),
        date("date", "Date", "as of", "until", "up to", "when", required=True,
             example="2026-01-31"),
        code("run_reference", "Run", "run no", "job", "job no", "order", "reference"),
        note(),
    ),
    keys=(("piece", "date", "strip_class", "run_reference"),),
    keys_optional=frozenset({"strip_class", "run_reference"}),
    words=("length run", "footage", "production"),
)  # fmt: skip
