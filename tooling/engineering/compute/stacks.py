"""``compute stacks``: which spacers go where on all shafts of a set at once."""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, Status, told_findings
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    FINDINGS,
    INTEGER,
    TEXT,
    length,
    many,
    maybe,
    number,
    obj,
    signed,
)
from tooling.engineering.stacks import (
    FIGURES,
    Body,
    Fill,
    MakeGrid,
    MakeList,
    Problem,
    Roll,
    Rules,
    Seat,
    Shaft,
    Source,
    Stacks,
    Station,
    check_stacks,
)
from tooling.engineering.stacks.engine import solve_stacks

SECONDS = 30.0
WIDEST_NM = 2_000_000
"""No window that is asked for reaches farther than 2 mm, so a slip of units is caught."""


def window(about: str) -> dict[str, Any]:
    """A signed edge of a window."""
    return {"type": "integer", "minimum": -WIDEST_NM, "maximum": WIDEST_NM, "description": about}


PIECES = many(TEXT, most=200)
FILLS = many(PIECES, most=20) | {"description": "By fill the sources in order from the shoulder."}
BODY = obj(
    [],
    bore_nm=length(),
    outside_nm=length(),
    keyway_width_nm=length("0: a plain bore.", least=0),
    keyway_depth_nm=length("From the crown of the bore.", least=0),
    fit=BOOLEAN,
    bound=BOOLEAN,
)
SEAT = obj(
    ["shaft_nm"],
    shaft_nm=length(),
    key_width_nm=length("0: no key here.", least=0),
    key_height_nm=length("How far the key stands above the shaft.", least=0),
    hub_seat_nm=length("Least outside diameter."),
    clearance_nm=length("Most outside diameter."),
    play_most_nm=length("Most of bore over shaft.", least=0),
)
SOURCE = obj(
    ["key", "length_nm"],
    key=TEXT | {"description": "A piece's code; a stock line's drawing and bin."},
    length_nm=length("Measured, else nominal."),
    count={"type": "integer", "minimum": 0, "maximum": 100_000},
    kind={"enum": ["spacer", "shim"]},
    place=TEXT,
    measured=BOOLEAN,
    tolerance_nm=length("The drawing's ±; counts where the width is not measured.", least=0),
    body=BODY,
)
FILL = obj(
    ["key", "kind"],
    key=TEXT,
    kind={"enum": ["inboard", "middle", "outboard"]},
    target_nm=length("Drawn length of a middle fill.", least=0),
    below_nm=window("Default 25 µm."),
    above_nm=window("Default 25 µm."),
    seat=SEAT,
    only=PIECES | {"maxItems": 20_000},
)
ROLL = obj(
    ["name", "width_nm"],
    name=TEXT,
    width_nm=length(),
    guide_offset_nm=signed("Inboard face to the guide point; of one roll per shaft."),
)
SHAFT = obj(
    ["which", "roll_space_nm", "parts"],
    which={"enum": ["top", "bottom"]},
    roll_space_nm=length(),
    shoulder_offset_nm=signed("Positive outboard of the datum plane."),
    parts=many({"anyOf": [obj(["fill"], fill=FILL), obj(["roll"], roll=ROLL)]}, most=40)
    | {"description": "In order from the shoulder."},
    unmeasured=many({"enum": ["shoulder_offset_nm", "guide_offset_nm", "rolls_nm"]}, most=3),
)
STATION = obj(
    ["number", "shafts"],
    number={"type": "integer", "minimum": 1, "maximum": 1000},
    shafts=many(SHAFT, most=2),
    carried=obj([], top=FILLS, bottom=FILLS),
)
RULES = obj(
    ["guide_plane_nm", "closing", "closing_least_nm", "closing_most_nm"],
    guide_plane_nm=signed("From the datum plane."),
    closing={"enum": ["nut", "housing"]},
    closing_least_nm=window("Least of stack total − roll space."),
    closing_most_nm=window("Most of it."),
    guide_least_nm=window("Default −50 µm."),
    guide_most_nm=window("Default 50 µm."),
    difference_least_nm=window("Top minus bottom; default −25 µm."),
    difference_most_nm=window("Default 25 µm."),
    most_shims={"type": "integer", "minimum": 0, "maximum": 10},
    make=obj(["step_nm", "least_nm", "most_nm"], step_nm=length(), least_nm=length(),
             most_nm=length()),
)  # fmt: skip
SHAFT_STACK = obj(
    ["station", "shaft", "fills"],
    station=INTEGER,
    shaft={"enum": ["top", "bottom"]},
    fills=FILLS,
)
INPUT = obj(
    ["rules", "stations", "sources"],
    rules=RULES,
    stations=many(STATION, most=200),
    sources=many(SOURCE, most=20_000),
    places=many(TEXT, most=5_000) | {"description": "In walking order."},
    pins={"type": "object", "additionalProperties": PIECES, "description": "By fill."},
    forbid=many(TEXT, most=20_000),
    keep=many(SHAFT_STACK, most=400) | {"description": "An earlier answer, to change little of."},
    check=many(SHAFT_STACK, most=400) | {"description": "Stacks by hand: checked, not solved."},
    seconds=number("The answer is cut off after so long; default 30.", most=3600),
)
EDGES = many(INTEGER, most=2)
ANSWER = obj(
    ["aims", "figures", "proven", "shafts", "stations", "lacks", "make", "findings"],
    aims=many(TEXT),
    figures=many(INTEGER),
    proven=many(BOOLEAN),
    shafts=many(
        obj(
            ["station", "shaft", "fills", "guide_error_nm", "total_nm", "over_nm", "spread_nm",
             "worst_nm", "total_spread_nm", "total_worst_nm", "kept_closed", "kept"],
            station=INTEGER, shaft=TEXT, guide_error_nm=INTEGER, total_nm=INTEGER,
            over_nm=INTEGER, spread_nm=INTEGER, worst_nm=INTEGER, total_spread_nm=INTEGER,
            total_worst_nm=INTEGER, kept_closed=BOOLEAN, kept=BOOLEAN,
            fills=many(obj(
                ["fill", "pieces", "length_nm", "window_nm"],
                fill=TEXT, pieces=many(TEXT), length_nm=INTEGER, window_nm=EDGES,
            )),
        )
    ),
    stations=many(obj(
        ["station", "difference_nm", "spread_nm", "worst_nm"],
        station=INTEGER, difference_nm=INTEGER, spread_nm=INTEGER, worst_nm=INTEGER,
    )),
    lacks=many(obj(
        ["station", "shaft", "fill", "window_nm", "below_nm", "above_nm", "in_whole_stock"],
        station=INTEGER, shaft=TEXT, fill=TEXT, window_nm=EDGES, below_nm=maybe(INTEGER),
        above_nm=maybe(INTEGER), in_whole_stock=BOOLEAN,
    )),
    make=maybe(obj(
        ["pieces", "total_nm", "bound_ground", "bound_pieces", "bound_nm", "impossible", "proven"],
        pieces=many(obj(
            ["fill", "length_nm", "window_nm"],
            fill=TEXT, length_nm=INTEGER, window_nm=maybe(EDGES),
        ), most=10_000),
        total_nm=INTEGER, bound_ground=maybe(INTEGER), bound_pieces=maybe(INTEGER),
        bound_nm=maybe(INTEGER), impossible=many(TEXT, most=10_000), proven=BOOLEAN,
    )),
    findings=FINDINGS,
)  # fmt: skip


def solve(given: dict[str, Any]) -> Answer:
    """The stacks. Infeasible: a shaft has none, ``lacks`` says why, or a hand stack is wrong."""
    problem = problem_from(given)
    if "check" in given:
        return _checked(problem, given["check"])
    began, seconds = time.monotonic(), max(0.001, given.get("seconds", SECONDS))

    def spent() -> float:
        return (time.monotonic() - began) / seconds

    found = solve_stacks(problem, should_stop=lambda: spent() > 1.0, spent=spent)
    status: Status = "infeasible" if found.figures[0] else "ok"
    return Answer(
        _told(found), found.steps, status="stopped" if found.stopped else status,
        bound=list(found.bound),
    )  # fmt: skip


def problem_from(given: Mapping[str, Any]) -> Problem:
    """The problem of a valid input. Raises ValueError where a spec refuses a value."""
    return Problem(
        rules=_rules(given["rules"]),
        stations=tuple(map(_station, given["stations"])),
        sources=tuple(map(_source, given["sources"])),
        places=tuple(given.get("places", ())),
        pins={fill: tuple(pieces) for fill, pieces in given.get("pins", {}).items()},
        forbid=frozenset(given.get("forbid", ())),
        keep=_stacks(given.get("keep", [])),
    )


def _rules(given: Mapping[str, Any]) -> Rules:
    make = MakeGrid(**given["make"]) if "make" in given else None
    return Rules(
        guide_plane_nm=given["guide_plane_nm"],
        closing=given["closing"],
        closing_nm=(given["closing_least_nm"], given["closing_most_nm"]),
        guide_nm=(given.get("guide_least_nm", -50_000), given.get("guide_most_nm", 50_000)),
        difference_nm=(
            given.get("difference_least_nm", -25_000), given.get("difference_most_nm", 25_000),
        ),
        most_shims=given.get("most_shims", 2),
        make=make,
    )  # fmt: skip


def _station(given: Mapping[str, Any]) -> Station:
    carried = given.get("carried")
    return Station(
        number=given["number"],
        shafts=tuple(map(_shaft, given["shafts"])),
        carried=None if carried is None else {w: _fills(fills) for w, fills in carried.items()},
    )


def _shaft(given: Mapping[str, Any]) -> Shaft:
    parts = tuple(
        Roll(**part["roll"]) if "roll" in part else _fill(part["fill"]) for part in given["parts"]
    )
    unmeasured = tuple(given.get("unmeasured", ()))
    return Shaft(**{**given, "parts": parts, "unmeasured": unmeasured})


def _fill(given: Mapping[str, Any]) -> Fill:
    only = frozenset(given["only"]) if "only" in given else None
    seat = Seat(**given["seat"]) if "seat" in given else None
    return Fill(**{**given, "only": only, "seat": seat})


def _source(given: Mapping[str, Any]) -> Source:
    return Source(**{**given, "body": Body(**given["body"]) if "body" in given else None})


def _stacks(given: list[Mapping[str, Any]]) -> dict[tuple[int, str], tuple[tuple[str, ...], ...]]:
    told = {(each["station"], each["shaft"]): _fills(each["fills"]) for each in given}
    if len(told) < len(given):
        raise ValueError("a shaft is told of twice")
    return told


def _fills(given: list[list[str]]) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(pieces) for pieces in given)


def _checked(problem: Problem, given: list[Mapping[str, Any]]) -> Answer:
    findings = check_stacks(problem, _stacks(given))
    answer: dict[str, Any] = {
        "aims": [], "figures": [], "proven": [], "shafts": [], "stations": [], "lacks": [],
        "make": None, "findings": told_findings(findings),
    }  # fmt: skip
    wrong = any(finding.level == "no" for finding in findings)
    return Answer(answer, (), status="infeasible" if wrong else "ok")


def _told(found: Stacks) -> dict[str, Any]:
    return {
        "aims": list(FIGURES),
        "figures": list(found.figures),
        "proven": list(found.is_proven),
        "shafts": [
            {
                **{name: getattr(shaft, name) for name in (
                    "station", "shaft", "guide_error_nm", "total_nm", "over_nm", "spread_nm",
                    "worst_nm", "total_spread_nm", "total_worst_nm", "kept_closed", "kept",
                )},
                "fills": [
                    {"fill": fill.fill, "pieces": list(fill.pieces), "length_nm": fill.length_nm,
                     "window_nm": list(fill.window_nm)}
                    for fill in shaft.fills
                ],
            }
            for shaft in found.shafts
        ],
        "stations": [
            {"station": each.station, "difference_nm": each.difference_nm,
             "spread_nm": each.spread_nm, "worst_nm": each.worst_nm}
            for each in found.stations
        ],
        "lacks": [
            {"station": lack.station, "shaft": lack.shaft, "fill": lack.fill,
             "window_nm": list(lack.window_nm), "below_nm": lack.below_nm,
             "above_nm": lack.above_nm, "in_whole_stock": lack.in_whole_stock}
            for lack in found.lacks
        ],
        "make": None if found.make is None else _made(found.make),
        "findings": [],
    }  # fmt: skip


def _made(make: MakeList) -> dict[str, Any]:
    return {
        "pieces": [
            {"fill": each.fill, "length_nm": each.length_nm,
             "window_nm": None if each.window_nm is None else list(each.window_nm)}
            for each in make.pieces
        ],
        "total_nm": make.total_nm,
        "bound_ground": make.bound_ground,
        "bound_pieces": make.bound_pieces,
        "bound_nm": make.bound_nm,
        "impossible": list(make.impossible),
        "proven": make.is_proven,
    }  # fmt: skip


COMPUTATION = Computation(
    "stacks",
    "Spacers for every shaft of a set at once. Aims in order: shafts completed, stations left "
    "closed, shafts of an earlier answer changed, shims, spacers, places, walking. The bound has "
    "one figure per aim, which holds while the aims before it are as found; null where nothing is "
    "known. Status infeasible: a shaft has no stack, lacks and make say more; stopped: cut off.",
    INPUT,
    ANSWER,
    solve,
)
