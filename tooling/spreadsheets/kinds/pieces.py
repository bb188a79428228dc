"""Sheets of drawings, pieces and stock."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.words import (
    choice,
    code,
    condition,
    date,
    dimensions,
    length,
    note,
    sizes_in_order,
    text,
    unit,
    yes_no,
)

DRAWING_KINDS: dict[str, tuple[str, ...]] = {
    "roll": ("rolls", "top roll", "bottom roll", "forming roll", "split roll", "r"),
    "side_roll": ("side rolls", "side", "sr", "vertical roll"),
    "spacer": ("spacers", "spc", "s", "collar"),
    "shim": ("shims",),
    "sleeve": ("bushing sleeve", "sleeves"),
    "line_tooling": ("die", "punch", "cutoff blade", "cutoff die", "guide", "feed roll",
                     "straightener roll", "end-forming tool"),
    "hardware": ("key", "nut", "bearing", "bushing", "box", "stand", "hdw"),
}  # fmt: skip
OLD_PIECES: dict[str, tuple[str, ...]] = {
    "as_is": ("use as is", "ok"),
    "note": ("use with note", "with note"),
    "rework": ("recut",),
    "scrap": (),
}
MARK_PLACES: dict[str, tuple[str, ...]] = {
    "inboard": ("inboard face", "drive side", "in", "inside face"),
    "outboard": ("outboard face", "operator side", "out", "outside face", "side face"),
    "rim": ("od", "periphery"),
    "none": ("none possible", "no mark"),
}
DRAWING_NO = ("drawing no", "drawing number", "dwg", "dwg no", "drg", "drg no", "print",
              "print no", "drawing #", "dwg #")  # fmt: skip
REVISION = ("rev", "revision", "rev no", "issue", "drawing rev", "drawing revision", "dwg rev")
OWNER = ("customer", "belongs to", "owned by", "property of", "owner code", "cust")
PLACE = ("location", "loc", "where", "bin", "rack", "shelf", "stored at", "storage", "position",
         "rack/shelf", "storage location", "place name", "home")  # fmt: skip
DIAMETERS = ("drive_diameter", "root_diameter", "outside_diameter")

DRAWINGS = Kind(
    "drawings",
    "Drawings",
    (
        code("drawing", "Drawing", *DRAWING_NO, "number", "part no", "roll no", "item",
             required=True, example="1472-07-T2"),
        code("revision", "Revision", *REVISION, longest=10, example="B"),
        Field("kind", "Kind", ("type", "kind of drawing", "category", "class", "tool type"),
              FieldType.CHOICE, required=True, choices=DRAWING_KINDS, example="roll"),
        yes_no("is_current", "Current revision", "current", "in force", "is current",
           note="Blank: a revision that is new becomes the current one."),
    text("title", "Title", "description", "desc", "name", "drawing title", longest=120,
             example="Pass 7 top, second from the shoulder"),
        unit(),
        text("material", "Material", "mat", "matl", "steel", "tool steel", "grade", longest=40,
             example="D2"),
        *dimensions(),
        *dimensions("least_", (*DIAMETERS, "face_width")),
        length("plated_thickness", "Plated thickness", "plating", "chrome", "chrome thickness",
               "plating thickness", "plate thickness", most=5.0),
        code("bore_class", "Bore class", "bore tolerance", "bore fit", "bore tol", longest=6,
             example="H7"),
        Field("mass", "Mass", ("weight", "wt", "mass each", "weight each"), FieldType.MASS,
              least=0.001, most=20_000),
        date("issued_on", "Issued", "date", "drawing date", "issue date", "dated", "rev date",
             "issued on"),
        choice("old_pieces", "Old pieces", "pieces to the old revision", "disposition",
               choices=OLD_PIECES,
               note="What this revision says of pieces made to the one before."),
        note(),
    ),
    keys=(("drawing", "revision"),),
    keys_optional=frozenset({"revision"}),
    ordered=(
        *sizes_in_order(""),
        *((f"least_{name}", name) for name in (*DIAMETERS, "face_width")),
    ),
    words=("drawings", "prints", "designs"),
)  # fmt: skip

PIECES = Kind(
    "pieces",
    "Pieces",
    (
        code("code", "Label code", "code", "label", "barcode", "qr", "tag", longest=12,
             note="Blank for a piece that has no label yet: it gets one."),
        code("old_number", "Old number", "old no", "alias", "inventory no", "inventory number",
             "tool no", "tool number", "asset no", "serial", "serial no", "piece no", "id no",
             "roll id", "old id", example="R-0417"),
        text("other_numbers", "Other old numbers", "other numbers", "aliases", "also known as",
         note="Further old numbers, with semicolons between them."),
    code("mark", "Mark", "stamp", "stamped", "etched", "etching", "marking", "roll no",
             "roll number", "roll", "roll mark", "stamping", "marked", "roll #",
             example="1472-07-T2"),
        code("copy", "Copy", "set copy", "copy of set", "duplicate", longest=4, example="A",
             note="Tells pieces with the same mark apart: A, B …"),
        choice("mark_place", "Mark place", "mark on", "where marked", "mark location",
               "stamped on", choices=MARK_PLACES, example="outboard face"),
        code("drawing", "Drawing", *DRAWING_NO, "part no", required=True, example="1472-07-T2"),
        code("revision", "Revision", *REVISION, longest=10, example="B"),
        code("owner", "Owner", *OWNER, longest=120, example="MERID"),
        text("place", "Place", *PLACE, longest=600, example="Rack A / Shelf 3"),
        condition(example="sound"),
        text("hold_reason", "Hold reason", "reason on hold", "why on hold", "reason",
             longest=200),
        unit(),
        *dimensions("made_"),
        *dimensions("now_"),
        date("measured_on", "Measured", "measured on", "date measured", "inspected",
             "inspection date", "date inspected", "last measured"),
        yes_no("over_chrome", "Over chrome", "diameters over chrome", "chromed", "plated"),
        code("heat_lot", "Heat lot", "heat", "heat no", "lot", "heat number", "lot no", "batch"),
        Field("hardness", "Hardness", ("hrc", "hardness hrc", "rockwell", "rc", "hard"),
              FieldType.NUMBER, least=1, most=75, example="60", note="Rockwell C."),
        Field("mass", "Mass", ("weight", "wt", "weighed", "weighs"), FieldType.MASS, least=0.001,
              most=20_000),
        Field("length_run", "Length run", ("run", "footage", "feet run", "metres run",
              "meters run", "length formed", "total footage", "total run", "lineal feet"),
              FieldType.STRIP_LENGTH, least=0, most=1e9),
        code("strip_class", "Strip class", "class of strip", "run on"),
        Field("value", "Value", ("cost", "price", "insured value", "replacement cost", "worth"),
              FieldType.NUMBER, least=0, most=1e9, note="In the shop's currency."),
        note(),
    ),
    keys=(("code",), ("old_number",), ("mark", "drawing", "copy", "owner")),
    keys_optional=frozenset({"copy", "owner"}),
    any_of=(("code", "old_number", "mark"),),
    ordered=(*sizes_in_order("made_"), *sizes_in_order("now_")),
    words=("pieces", "rolls", "tooling", "roll list", "inventory", "tools"),
)  # fmt: skip

STOCK = Kind(
    "stock",
    "Stock",
    (
        code("code", "Bin label", "code", "label", "bin code", "barcode", longest=12,
             note="Blank for a bin that has no label yet: it gets one."),
        code("drawing", "Drawing", *DRAWING_NO, "part no", "item", "spacer", "spacer no", "shim",
             required=True, example="SP-60-25"),
        text("place", "Place", *PLACE, required=True, longest=600, example="Rack S / Bin 4"),
        condition(example="sound"),
        code("owner", "Owner", *OWNER, longest=120),
        Field("count", "Count", ("qty", "quantity", "on hand", "pcs", "pieces", "how many",
              "number", "stock", "in stock", "no off", "amount"), FieldType.INTEGER,
              required=True, least=0, most=1_000_000, example="24"),
        Field("least_count", "Least count", ("min", "minimum", "min qty", "minimum stock",
              "reorder", "reorder level", "reorder point", "min level", "least"),
              FieldType.INTEGER, least=0, most=1_000_000, example="6"),
        date("counted_on", "Counted", "counted on", "date counted", "count date",
             "last counted"),
    ),
    keys=(("drawing", "place", "condition", "owner"),),
    keys_optional=frozenset({"condition", "owner"}),
    words=("stock", "spacers", "shims", "spacer stock"),
)  # fmt: skip
