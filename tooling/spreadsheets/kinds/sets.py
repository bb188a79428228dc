"""Sheets of tool sets with their positions, of sets from paper, and of setup charts."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.mills import HANDS, SHAFTS
from tooling.spreadsheets.kinds.pieces import DRAWING_NO, OWNER, PLACE
from tooling.spreadsheets.kinds.words import choice, code, length, note, text, unit, yes_no

OF_SET = ("set",)
OF_PASS = ("set", "pass")
SET = ("set no", "set number", "tool set", "toolset", "tooling set", "set #", "job no",
       "roll set", "profile no")  # fmt: skip
SET_SHAFTS: dict[str, tuple[str, ...]] = {
    **SHAFTS,
    "side": ("s", "side roll", "sr", "side rolls", "sl"),
    "line": ("on the line", "line tooling", "before the mill", "after the mill"),
}


def set_number(**more: object) -> Field:
    return code("set", "Set", *SET, required=True, longest=30, example="1472", **more)


POSITION_SHARED = (
    set_number(),
    code("set_code", "Set label", "set label code", of=OF_SET, longest=12,
         note="Leave blank: codes are given when labels are made."),
    text("name", "Name", "set name", "profile", "profile name", "description", "section",
         of=OF_SET, longest=120, example="C 100 × 50"),
    code("revision", "Revision", "rev", "set revision", "set rev", of=OF_SET, longest=10,
         example="A"),
    unit(of=OF_SET),
    code("customer", "Customer", "made for", "end customer", *OWNER[1:], of=OF_SET, longest=120,
         example="MERID"),
    length("thickness_least", "Thickness least", "min thickness", "thickness min",
           "gauge min", "min gauge", "gage min", "t min", "thinnest", of=OF_SET, most=30.0,
           usual=(0.2, 12.0), example="1.0"),
    length("thickness_most", "Thickness most", "max thickness", "thickness max", "gauge max",
           "max gauge", "gage max", "t max", "thickest", of=OF_SET, most=30.0,
           usual=(0.2, 12.0), example="2.0"),
    text("grades", "Grades", "strip grades", "approved grades", "material", "grade",
         "approved materials", of=OF_SET, longest=300, example="S250GD, DX51D"),
    choice("set_hand", "Set hand", "hand", "hand of set", choices=HANDS, of=OF_SET),
    text("side_roll_mounting", "Side roll mounting", "side roll bracket", of=OF_SET, longest=40),
)  # fmt: skip

POSITION_OWN = (
    Field("pass", "Pass", ("pass no", "pass number", "pass #", "p", "stage", "operation"),
          FieldType.INTEGER, required=True, least=1, most=200, example="7"),
    text("pass_name", "Pass name", "pass description", "pass title", of=OF_PASS, longest=60),
    length("pass_line_rise", "Pass line rise", "rise", "passline rise", "uphill", of=OF_PASS,
           least=-500.0, most=500.0),
    text("gap_point", "Gap point", "gap at", "where to gap", "gap measured at", of=OF_PASS,
         longest=80),
    Field("gap_degrees", "Gap inclination", ("inclination at gap point", "gap face angle",
          "gap angle", "face inclination"), FieldType.NUMBER, of=OF_PASS, least=0, most=90,
          note="Of the face at the gap point to the shaft, in degrees."),
    choice("shaft", "Shaft", "spindle", "arbor", "top/bottom", "t/b", "top or bottom",
           "top bottom side", "shaft t/b", required=True, choices=SET_SHAFTS, example="top"),
    Field("order", "Order", ("position", "pos", "piece", "sequence", "seq", "from shoulder",
          "order from shoulder", "stack order", "pos no", "position from shoulder"),
          FieldType.INTEGER, required=True, least=1, most=200, example="2",
          note="Counted from the shoulder."),
    code("variant", "Variant", "width", "version", "option", "set variant", longest=40,
         note="Blank: for every variant that has nothing of its own here."),
    code("drawing", "Drawing", *DRAWING_NO, "part no", "roll no", "roll", required=True,
         example="1472-07-T2"),
    choice("mark_faces", "Mark faces", "faces", "mark side", "marked side", "mark toward",
           "mark to", choices={"inboard": ("in", "drive side", "drive", "shoulder"),
                               "outboard": ("out", "operator side", "operator", "nut")},
           example="outboard"),
    yes_no("is_split", "Split", "segment", "split roll", "is split"),
    yes_no("carries_guide_point", "Carries guide point", "guide roll", "guide point",
           "has guide point"),
    length("gap_diameter", "Gap diameter", "diameter at gap point", "gap point diameter",
           "gap dia", usual=(15.0, 1_500.0),
           note="As drawn, of the roll that carries the gap point."),
    choice("side", "Side", "side roll side", "which side",
           choices={"drive": ("drive side", "d", "ds", "inboard"),
                    "operator": ("operator side", "o", "os", "op", "outboard")}),
    length("height", "Height", "side roll height", least=-5_000.0),
    length("in_out", "In/out", "in out", "side roll in/out", least=-5_000.0),
    Field("tilt", "Tilt", ("angle", "tilt degrees", "side roll tilt"), FieldType.NUMBER,
          least=-90, most=90, note="In degrees."),
    text("where", "Where on the line", "where", "line position", "stands at", longest=60,
         example="at the cutoff"),
    code("copy", "Copy", "set copy", "copy of set", longest=4, example="A"),
    code("piece", "Piece", "allotted piece", "piece code", "label code", "normally",
         "old number", "piece mark", "allotment", example="R-0417",
         note="The piece that normally fills this position of the copy: its label code, old "
         "number or mark."),
)  # fmt: skip

SETS = Kind(
    "sets",
    "Sets",
    (*POSITION_SHARED, *POSITION_OWN),
    keys=(("set", "pass", "shaft", "order", "variant", "copy"),),
    keys_optional=frozenset({"variant", "copy"}),
    ordered=(("thickness_least", "thickness_most"),),
    words=("sets", "positions", "tool sets", "set list", "passes"),
)

PAPER_SETS = Kind(
    "paper_sets",
    "Sets from paper",
    (
        set_number(),
        text("name", "Name", "set name", "profile", "profile name", "description", "section",
             of=OF_SET, longest=120),
        code("copy", "Copy", "set copy", "copy of set", longest=4, example="A"),
        text("place", "Place", *PLACE, "cart", "cart no", required=True, longest=600,
             example="Cart 7"),
        Field("rolls", "Rolls", ("number of rolls", "no of rolls", "count", "qty", "quantity",
              "pieces", "roll count", "how many"), FieldType.INTEGER, required=True, least=1,
              most=10_000, example="48"),
        code("owner", "Owner", *OWNER, longest=120),
        note(),
    ),
    keys=(("set", "copy"),),
    keys_optional=frozenset({"copy"}),
    letters="copy",
    words=("paper sets", "sets from paper", "carts"),
)  # fmt: skip

METHODS: dict[str, tuple[str, ...]] = {
    "feeler": ("feelers", "feeler gauge", "leaves"),
    "strip": ("strip sample", "sample"),
    "plug": ("pin", "plug or pin"),
    "solder": ("lead", "solder wire"),
    "spacers": ("set by spacers",),
    "dial": ("scale", "dial or scale"),
    "screw": ("turns", "screw turns"),
    "caliper": ("micrometer", "calliper"),
    "other": ("another way",),
}
OWN_UNIT = ("unit", "units", "uom", "measured in")

FILLS = Kind(
    "fills",
    "Middle fills",
    (
        set_number(),
        unit(of=OF_SET),
        Field("pass", "Pass", ("pass no", "pass number", "pass #"), FieldType.INTEGER,
              required=True, least=1, most=200, example="7"),
        choice("shaft", "Shaft", "spindle", "arbor", "top/bottom", required=True,
               choices={each: SHAFTS[each] for each in ("top", "bottom")}, example="top"),
        Field("after", "After position", ("fill after", "after roll", "after order",
              "between rolls"), FieldType.INTEGER, required=True, least=1, most=60, example="2",
              note="The fill stands outboard of this position."),
        length("length", "Fill length", "middle fill", "fill", "gap between rolls",
               required=True, example="12.5"),
        length("below", "Shorter by", "may be shorter by", "fill minus", "below", least=0.0),
        length("above", "Longer by", "may be longer by", "fill plus", "above", least=0.0),
        length("outside_most", "Fill OD most", "outside at most", "spacer od most"),
    ),
    keys=(("set", "pass", "shaft", "after"),),
    words=("middle fills", "fills", "middle spacers"),
)  # fmt: skip

CHARACTERISTICS = Kind(
    "characteristics",
    "Section checks",
    (
        set_number(),
        Field("check_order", "Check no", ("no", "characteristic no", "check number"),
              FieldType.INTEGER, least=1, most=99, example="1"),
        text("characteristic", "Characteristic", "what is checked", "check", "dimension checked",
             "section dimension", required=True, longest=80, example="web width"),
        text("measured_in", "In", *OWN_UNIT, required=True, longest=12, example="mm"),
        text("nominal", "Nominal", "nom", "target", longest=40, example="100"),
        text("least", "Lower limit", "min", "lsl", longest=40, example="99.6"),
        text("most", "Upper limit", "max", "usl", longest=40, example="100.4"),
    ),
    keys=(("set", "characteristic"),),
    words=("characteristics", "section checks", "first piece", "inspection plan"),
)  # fmt: skip

CHARTS = Kind(
    "charts",
    "Setup charts",
    (
        set_number(),
        code("mill", "Mill", "mill no", "machine", "line", required=True, longest=20,
             example="M1"),
        code("chart_revision", "Chart revision", "revision", "rev", of=("set", "mill"),
             longest=10),
        choice("hand", "Hand", "chart hand", choices=HANDS, of=("set", "mill")),
        unit(of=("set", "mill")),
        Field("pass", "Pass", ("pass no", "pass number", "pass #"), FieldType.INTEGER,
              required=True, least=1, most=200, example="7"),
        Field("station", "Station", ("station no", "stn", "stand", "stand no", "at station"),
              FieldType.INTEGER, required=True, least=1, most=200, example="8"),
        length("gap", "Gap", "roll gap", "clearance", "target gap", most=60.0,
               usual=(0.1, 20.0)),
        length("gap_allowance", "Gap over strip", "gap allowance", "over strip", "allowance",
               "gap minus strip", least=-60.0, most=60.0,
               note="In place of a gap: so much over the measured strip, coating +, spring -."),
        choice("gap_method", "Gap found by", "gap method", "gapped by", "gap gauge",
               choices=METHODS),
        yes_no("gap_is_loaded", "Gap loaded", "loaded", "gapped loaded"),
        length("top_inboard_fill", "Top inboard fill", "top spacer", "top inboard",
               "top inboard spacers", least=0.0),
        length("bottom_inboard_fill", "Bottom inboard fill", "bottom spacer", "bottom inboard",
               "bottom inboard spacers", least=0.0),
        note(),
    ),
    keys=(("set", "mill", "pass"),),
    words=("charts", "setup charts", "setups", "setup sheet"),
)  # fmt: skip

AXES = Kind(
    "axes",
    "Other settings",
    (
        set_number(),
        code("mill", "Mill", "mill no", "machine", "line", required=True, longest=20,
             example="M1"),
        Field("pass", "Pass", ("pass no", "pass number", "pass #"), FieldType.INTEGER,
              required=True, least=1, most=200, example="7"),
        text("axis", "Setting", "axis", "adjustment", "what is set", required=True, longest=60,
             example="Top screw"),
        text("measured_in", "In", *OWN_UNIT, required=True, longest=12, example="turns"),
        text("target", "Setting target", "set to", "position", longest=40,
             example="2.5"),
    ),
    keys=(("set", "mill", "pass", "axis"),),
    words=("other settings", "axes", "adjustments", "auxiliaries"),
)  # fmt: skip
