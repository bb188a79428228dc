"""The schemas of ``compute regrind``."""

from __future__ import annotations

from tooling.engineering.compute.schemas import (
    BOOLEAN,
    COUNT,
    FINDINGS,
    INTEGER,
    LEVEL,
    NUMBER,
    RATIO,
    TEXT,
    length,
    many,
    maybe,
    number,
    obj,
    signed,
)

CENTS = {"type": "integer", "minimum": 0, "maximum": 10**12}
PRICE = {
    "description": "Hundredths a millimetre on diameter: a number, or text like 3/2 or 1.5.",
    "anyOf": [
        {"type": "number", "minimum": 0, "maximum": 1e9},
        {"type": "string", "pattern": r"^(\d{1,9}(\.\d{1,9})?|\d{1,9}/[1-9]\d{0,5})$"},
    ],
}
NAME = TEXT | {"minLength": 1}
DIAMETER = obj(
    ["name", "now_nm"],
    name=NAME | {"description": "drive runs at strip speed, root is the throat, others as named."},
    now_nm=length(),
    drawn_nm=length(),
    least_nm=length("The drawing's minimum."),
    uncertainty_nm=length("Expanded uncertainty, k = 2; absent: never measured.", least=0),
)
POINT = obj(
    ["name"],
    name=NAME,
    depth_nm=signed("Lost since the last cut, normal to the face; absent: never read."),
    angle_degrees=number("Of the face to the shaft.", most=90),
    limit_nm=length("Most depth."),
    crosses=BOOLEAN | {"description": "Forecast to pass its limit before the next window."},
    side={"enum": ["inboard", "outboard", ""]},
    is_read=BOOLEAN | {"description": "False: the depth is reckoned from like pieces."},
)
PIECE = obj(
    ["name"],
    name=NAME,
    diameters=many(DIAMETER, most=20),
    points=many(POINT, most=50),
    keyway=obj(
        ["bore_nm"], bore_nm=length(), hub_depth_nm=length(least=0), width_nm=length(least=0)
    ),
    worn_nm=length("What wear took off the drive diameter since the last cut.", least=0),
    case_depth_nm=length("Hardened depth from the drawn diameter, on radius.", least=0),
    plated_nm=length("Plating that the diameters include, a side.", least=0),
    width_nm=length("Face width."),
    faced_to_nm=length("Least face width."),
    guide_offset_nm=signed(),
    is_segment=BOOLEAN,
    idles=BOOLEAN,
    may_replace=BOOLEAN,
    in_plan=BOOLEAN | {"description": "False: it stays as it is."},
    new_cents=CENTS,
    life_cents_per_mm=PRICE,
    other_sets=many(TEXT, most=100),
)
RUN = obj(["pieces"], pieces=many(NAME, most=100), driven=BOOLEAN, rpm_factor=RATIO)
PASS = obj(
    ["number"],
    number=COUNT,
    station=COUNT,
    ratio=RATIO,
    top=RUN,
    bottom=RUN,
    gap=obj(
        ["top", "top_nm", "bottom", "bottom_nm"],
        top=NAME,
        top_nm=length(),
        bottom=NAME,
        bottom_nm=length(),
        gap_nm=length(least=0),
    ),
    vertical_least_nm=length(),
    vertical_most_nm=length(),
    bottom_adjustable=BOOLEAN,
    screw_lead_nm=length(),
)
INPUT = obj(
    ["pieces"],
    pieces=many(PIECE, most=2000),
    lines=many(
        obj(["set", "mill", "passes"], set=NAME, mill=NAME, passes=many(PASS, most=200),
            other=BOOLEAN),
        most=100,
    ) | {"description": "Each set on each mill it runs on, passes as the strip meets them."},
    contours=many(many(NAME, most=100), most=1000),
    pins=many(
        obj(["piece", "kind"], piece=NAME,
            kind={"enum": ["leave", "cut", "cut_to", "face", "replace"],
                  "description": "face: its worn faces are cut and its diameters stay."},
            diameter_nm=length(), diameter=NAME),
        most=2000,
    ),
    limits=obj(
        [],
        allowance_nm=length(least=0),
        step_nm=length(),
        face_from_degrees=number(least=1, most=90),
        usual_stock_nm=length(),
        least_wall_nm=length(least=0),
        ratio_tolerance=RATIO,
        slack_now={"enum": ["mend", "kept"]},
    ),
    prices=obj([], setup_cents=CENTS, cents_per_mm=PRICE, face_cents=CENTS, new_cents=CENTS),
    check=many(obj(["piece", "amount_nm"], piece=NAME, amount_nm=signed()), most=2000)
    | {"description": "Only check the sets with so much off these pieces."},
)  # fmt: skip
SENTENCE = obj(
    ["code", "level", "values", "text"],
    code=TEXT, level=LEVEL, values={"type": "object"}, text={"type": "string"},
)  # fmt: skip
SENTENCES = {"type": "array", "items": SENTENCE}
AIMS = obj(
    ["cents", "replaced", "worked", "stock_nm"],
    cents=INTEGER, replaced=INTEGER, worked=INTEGER, stock_nm=INTEGER,
)  # fmt: skip
DECISION = obj(
    ["piece", "kind", "amount_nm", "reasons", "diameters", "least", "left_before", "left",
     "width_nm", "guide_nm"],
    piece=TEXT,
    kind={"enum": ["leave", "cut", "face", "replace"]},
    amount_nm=INTEGER,
    reasons=SENTENCES,
    diameters=many(obj(["name", "before_nm", "after_nm"], name=TEXT, before_nm=INTEGER,
                       after_nm=INTEGER)),
    least=maybe(obj(["diameter", "least_nm", "why"], diameter=TEXT, least_nm=INTEGER, why=TEXT)),
    left_before=maybe(INTEGER),
    left=maybe(INTEGER),
    width_nm=INTEGER,
    guide_nm=INTEGER,
)  # fmt: skip
SHAFT = maybe(
    obj(["piece", "before_nm", "after_nm", "speed_before_nm", "speed_after_nm"], piece=TEXT,
        before_nm=INTEGER, after_nm=INTEGER, speed_before_nm=NUMBER, speed_after_nm=NUMBER)
)  # fmt: skip
PASS_TOLD = obj(
    ["pass", "station", "top", "bottom", "centres_before_nm", "centres_after_nm", "pass_line_nm",
     "top_shaft_nm", "bottom_shaft_nm", "top_turns", "reset"],
    **{"pass": INTEGER},
    station=maybe(INTEGER),
    top=SHAFT,
    bottom=SHAFT,
    centres_before_nm=maybe(NUMBER),
    centres_after_nm=maybe(NUMBER),
    pass_line_nm=NUMBER,
    top_shaft_nm=NUMBER,
    bottom_shaft_nm=NUMBER,
    top_turns=maybe(NUMBER),
    reset=BOOLEAN,
)  # fmt: skip
ANSWER = obj(
    ["decisions", "lines", "aims", "proven", "baseline", "other_sets", "unmeasured", "conflicts",
     "findings"],
    decisions={"type": "array", "items": DECISION},
    lines={"type": "array", "items": obj(
        ["set", "mill", "other", "passes", "findings"], set=TEXT, mill=TEXT, other=BOOLEAN,
        passes={"type": "array", "items": PASS_TOLD}, findings=SENTENCES)},
    aims=maybe(AIMS),
    proven=BOOLEAN,
    baseline=maybe(obj(["amount_nm", "aims", "broken"], amount_nm=INTEGER, aims=AIMS,
                       broken=SENTENCES)),
    other_sets={"type": "array", "items": TEXT},
    unmeasured={"type": "array", "items": obj(["piece", "what", "changes"], piece=TEXT, what=TEXT,
                                              changes=BOOLEAN)},
    conflicts={"type": "array", "items": obj(["requirements", "frees"], requirements=SENTENCES,
                                             frees=SENTENCES)},
    findings=FINDINGS,
)  # fmt: skip
