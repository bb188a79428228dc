"""Sheets of mills: one row for every shaft of every station, or one row for many of them.

A shop that writes one row per mill or per station fills "1-16" as the station and leaves the
shaft blank: the row then counts for every one of them, top and bottom.
"""

from __future__ import annotations

from typing import Any

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.words import choice, code, date, length, text, unit, yes_no

OF_MILL = ("mill",)
OF_STATION = ("mill", "station")
HANDS: dict[str, tuple[str, ...]] = {
    "left": ("l", "lh", "left hand", "drive side left", "left hand drive"),
    "right": ("r", "rh", "right hand", "drive side right", "right hand drive"),
}
SIDES: dict[str, tuple[str, ...]] = {
    "left": ("l", "left, looking downstream", "operator left"),
    "right": ("r", "right, looking downstream", "operator right"),
}
SHAFTS: dict[str, tuple[str, ...]] = {
    "top": ("t", "upper", "u", "top shaft", "top spindle", "male"),
    "bottom": ("b", "bot", "btm", "lower", "l", "bottom shaft", "bottom spindle", "female"),
}


MILL_FIELDS = (
    code("mill", "Mill", "mill no", "mill number", "machine", "machine no", "line", "line no",
         "mill code", required=True, longest=20, example="M1"),
    text("name", "Name", "mill name", "machine name", "description", of=OF_MILL, longest=80,
         example="Mill 1, 16 stations"),
    text("place", "Mill's place", "mill place", "stands in", "mill stands in", of=OF_MILL,
         longest=600, note="Where the mill stands; blank: a place of the mill's name is made."),
    unit(of=OF_MILL),
    choice("datum", "Datum", "aligned from", "reference", "datum plane", of=OF_MILL,
           choices={"shoulder": ("shoulders", "inboard shoulder", "face"),
                    "centreline": ("centerline", "centre line", "center line", "cl", "c/l")},
           example="shoulder"),
    choice("hand", "Hand", "drive side", "mill hand", "drive hand", of=OF_MILL, choices=HANDS,
           example="left", note="The drive side, left or right, looking downstream."),
    choice("operator_side", "Operator side", "operator", "operator stands", "op side", of=OF_MILL,
           choices=SIDES, example="right",
           note="From which side the operator looks at the mill, looking downstream."),
    choice("closing", "Closing", "closing style", "closes", "shaft closes", "shaft closing",
           of=OF_MILL,
           choices={"nut": ("nut clamps the stack", "nut clamps", "lock nut", "locknut"),
                    "housing": ("housing closes on the stack", "housing closes", "outboard stand",
                                "stand closes")},
           example="nut"),
    length("closing_least", "Closing least", "closing window least", "closing min",
           "closing minimum", "stack proud least", of=OF_MILL, least=-100.0, most=100.0,
           note="Stack total less roll space, least; negative when the stack is short."),
    length("closing_most", "Closing most", "closing window most", "closing max",
           "closing maximum", "stack proud most", of=OF_MILL, least=-100.0, most=100.0),
    length("pass_line_height", "Pass line height", "pass line", "passline", "passline height",
           of=OF_MILL, least=0.0),
    length("guide_plane", "Guide plane", "datum to guide plane", "guide plane distance",
           of=OF_MILL, least=-5_000.0),
    length("base_clearance", "Base clearance", "bottom shaft to base", "room to base",
           of=OF_MILL, least=0.0),
    Field("max_speed", "Most speed", ("max speed", "line speed", "maximum speed m/min",
          "speed m/min"), FieldType.NUMBER, of=OF_MILL, least=0.1, most=1_000,
          note="In metres per minute."),
)  # fmt: skip

STATION_FIELDS = (
    Field("station", "Station", ("stations", "station no", "stn", "stand", "stand no", "stand #",
          "pass stand", "stn no"), FieldType.NUMBERS, required=True, least=1, most=200,
          example="1-16", note="A number, or several: “1-16”, “1, 3, 5”."),
    code("station_code", "Station label", "station label code", of=OF_STATION, longest=12,
         note="Leave blank: codes are given when labels are made."),
    length("centre_to_next", "Centre to next", "horizontal centre", "horizontal centres",
           "horizontal centers", "center to next", "centre distance", "center distance",
           "stand spacing", "station pitch", "distance to next", of=OF_STATION, example="300"),
    length("vertical_least", "Vertical centres least", "vertical centres min", "min centres",
           "vertical centers min", "min vertical centers", "min vertical centres",
           "least vertical centres", "shaft centres min", of=OF_STATION, example="120"),
    length("vertical_most", "Vertical centres most", "vertical centres max", "max centres",
           "vertical centers max", "max vertical centers", "max vertical centres",
           "most vertical centres", "shaft centres max", of=OF_STATION, example="180"),
    Field("gear_ratio", "Gear ratio", ("ratio", "gear", "top to bottom ratio", "drive ratio"),
          FieldType.RATIO, of=OF_STATION, least=0.1, most=10, example="1",
          note="D top / D bottom at equal surface speed: “1.05”, “1.05:1”, “21/20”."),
    yes_no("bottom_adjustable", "Bottom adjustable", "bottom shaft adjustable",
           "bottom moves", "adjustable bottom", of=OF_STATION, example="no"),
    length("screw_lead", "Screw lead", "lead of the screw", "lead", "screw pitch",
           "jack screw lead", "adjusting screw lead", of=OF_STATION, most=50.0, example="5"),
    length("stand_clearance", "Stand clearance", "clearance to stand", "shaft to stand",
           "shaft axis to stand", "max roll radius", of=OF_STATION),
    length("side_roll_room", "Side roll room", "room for side rolls", "room between stands",
           of=OF_STATION),
    text("side_roll_mounting", "Side roll mounting", "side roll bracket", "side roll mount",
         of=OF_STATION, longest=40),
    date("aligned_on", "Last aligned", "aligned", "alignment date", "date aligned",
         of=OF_STATION),
)  # fmt: skip

SHAFT_FIELDS = (
    choice("shaft", "Shaft", "spindle", "arbor", "top/bottom", "top or bottom", "t/b", "t b",
           "which shaft", choices=SHAFTS, example="top", note="Blank: both."),
    Field("bank", "Bank", ("side bank", "duplex bank"), FieldType.INTEGER, least=1, most=4,
          note="2 for the second bank of a duplex mill; else blank."),
    length("diameter", "Shaft diameter", "shaft dia", "spindle dia", "spindle diameter",
           "arbor dia", "arbor diameter", "shaft size", "arbor size", "dia", required=True,
           most=1_000.0, usual=(10.0, 400.0), example="60"),
    choice("key_style", "Key style", "key", "key type", "style of key",
           choices={"full": ("full-length", "full length", "full-length key", "long"),
                    "loose": ("loose key",), "two": ("two keys", "2 keys", "double", "2"),
                    "pin": ("drive pin",), "none": ("no key", "no", "plain")},
           example="full-length"),
    length("key_width", "Key width", "key w", "width of key", most=200.0, example="18"),
    length("key_height", "Key height", "key stands above shaft", "key above shaft", most=200.0),
    length("roll_space", "Roll space", "usable length", "rolling space", "tooling space",
           "shaft length", "roll space length", required=True, example="300"),
    length("shoulder_offset", "Shoulder offset", "offset", "shoulder", "shoulder to datum",
           "centreline to shoulder", "centerline to shoulder", least=-5_000.0, example="0",
           note="Positive when the shoulder stands outboard of the datum plane."),
    date("shoulder_measured_on", "Shoulder measured", "shoulder measured on",
         "shoulder checked", "offset measured"),
    choice("drive", "Drive", "driven", "driven or idle", "drive type",
           choices={"driven": ("yes", "y", "powered", "d"), "idle": ("no", "n", "idler", "i"),
                    "joint": ("through universal joint", "universal joint", "u-joint", "ujoint",
                              "cardan", "universal")},
           example="driven"),
    code("drive_group", "Drive group", "group", "motor", "drive section", longest=20),
    Field("rpm_factor", "RPM factor", ("rpm", "speed factor", "group rpm factor"),
          FieldType.RATIO, of=("mill", "drive_group"), least=0.01, most=100),
    length("joint_length", "Joint length", "universal joint length", "u-joint length"),
)  # fmt: skip


def _every_shaft(values: dict[str, Any]) -> list[dict[str, Any]]:
    """One set of values for each station named and each shaft meant."""
    shafts = [values["shaft"]] if values.get("shaft") else list(SHAFTS)
    return [
        {**values, "station": number, "shaft": shaft}
        for number in values["station"]
        for shaft in shafts
    ]


MILLS = Kind(
    "mills",
    "Mills",
    (*MILL_FIELDS, *STATION_FIELDS, *SHAFT_FIELDS),
    keys=(("mill", "station", "shaft", "bank"),),
    keys_optional=frozenset({"bank"}),
    ordered=(("closing_least", "closing_most"), ("vertical_least", "vertical_most")),
    expand=_every_shaft,
    words=("mills", "machines", "lines", "stations", "shafts"),
)
