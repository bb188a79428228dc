"""``compute gap``: centres for a gap, what a feeler sees, moves after a recut, tilt, last good."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, told_findings
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    FINDING,
    INTEGER,
    NUMBER,
    length,
    many,
    maybe,
    number,
    obj,
    signed,
)
from tooling.engineering.gaps import (
    NEAR_VERTICAL_DEGREES,
    TILT_WARN_PER_100,
    RecutMoves,
    Tilt,
    check_centres,
    face_gap,
    moves_after_recut,
    shaft_centres,
    target_gap_nm,
    tilt,
)
from tooling.engineering.last_good import Conditions, Screws, Struck, Translated, translate

CONDITIONS = obj(
    ["mill"],
    mill={"type": "string"},
    method={"type": "string"},
    is_loaded=maybe(BOOLEAN),
    strip_nm=maybe(length("Measured strip.")),
    top_nm=maybe(length("Top diameter at the gap point.")),
    bottom_nm=maybe(length("Bottom diameter at the gap point.")),
)
INPUT = obj(
    ["top_nm", "bottom_nm", "strip_nm"],
    top_nm=length("Top diameter at the gap point."),
    bottom_nm=length("Bottom diameter at the gap point."),
    strip_nm=length("Measured strip."),
    allowance_nm=signed("Coating +, spring −; default 0."),
    degrees=number("Inclination of the face to the shaft; default 0.", most=90),
    near_vertical_degrees=number("Setting; from here on: by spacers; default 80.", most=90),
    least_nm=length("Least vertical centres of the station."),
    most_nm=length("Most vertical centres of the station."),
    recut=obj(
        ["top_removed_nm", "bottom_removed_nm", "bottom_adjustable"],
        top_removed_nm=length("Cut off the top diameter.", least=0),
        bottom_removed_nm=length("Cut off the bottom diameter.", least=0),
        bottom_adjustable=BOOLEAN,
        screw_lead_nm=length("Lead of the screw."),
    ),
    ends=obj(
        ["inboard_nm", "outboard_nm", "span_nm"],
        inboard_nm=length("Gap found at the inboard end.", least=0),
        outboard_nm=length("Gap found at the outboard end.", least=0),
        span_nm=length("Distance between the two."),
        known_difference_nm=signed("Outboard wider by so much by the diameters; default 0."),
        warn_per_100=number("Setting: mm per 100 mm; default 0.03.", most=100),
    ),
    last=obj(
        ["value_nm", "follows", "then", "now"],
        value_nm=signed("The old number."),
        follows={"enum": ["gap", "top", "bottom", "nothing"]},
        then=CONDITIONS,
        now=CONDITIONS,
        bottom_adjustable=BOOLEAN,
        zero_moved=BOOLEAN,
    ),
)
TILT = obj(
    ["per_100", "is_beyond", "wider"],
    per_100=NUMBER,
    is_beyond=BOOLEAN,
    wider={"enum": ["inboard", "outboard", ""]},
)
LAST = obj(
    ["value_nm", "struck", "reset"],
    value_nm=maybe(INTEGER),
    struck=many({"enum": [str(each) for each in Struck]}),
    reset=BOOLEAN,
)
MOVES = obj(
    ["pass_line_nm", "top_shaft_nm", "bottom_shaft_nm", "top_turns", "bottom_turns", "reset"],
    pass_line_nm=NUMBER,
    top_shaft_nm=NUMBER,
    bottom_shaft_nm=NUMBER,
    top_turns=maybe(NUMBER),
    bottom_turns=maybe(NUMBER),
    reset=BOOLEAN,
)
ANSWER = obj(
    ["gap_nm", "centres_nm", "method", "feeler_nm", "finding", "moves", "tilt", "last"],
    gap_nm=INTEGER,
    centres_nm=INTEGER,
    method={"enum": ["feeler", "spacers"]},
    feeler_nm=maybe(INTEGER),
    finding=maybe(FINDING),
    moves=maybe(MOVES),
    tilt=maybe(TILT),
    last=maybe(LAST),
)


def solve(given: dict[str, Any]) -> Answer:
    """Gap, centres and feeler; infeasible where the mill does not reach the centres.

    The diameters are those after the recut, where one is given.
    """
    gap_nm = target_gap_nm(strip_nm=given["strip_nm"], allowance_nm=given.get("allowance_nm", 0))
    centres = shaft_centres(top_nm=given["top_nm"], bottom_nm=given["bottom_nm"], gap_nm=gap_nm)
    face = face_gap(
        gap_nm=gap_nm,
        degrees=given.get("degrees", 0),
        near_vertical_degrees=given.get("near_vertical_degrees", NEAR_VERTICAL_DEGREES),
    )
    how = [centres.step, face.step]
    finding = moves = None
    if "least_nm" in given or "most_nm" in given:
        finding = check_centres(
            centres, least_nm=given.get("least_nm"), most_nm=given.get("most_nm")
        )
    if "recut" in given:
        moves = moves_after_recut(**given["recut"])
        how += moves.steps
    slope = (
        tilt(**{"warn_per_100": TILT_WARN_PER_100, **given["ends"]}) if "ends" in given else None
    )
    last = _last(given["last"]) if "last" in given else None
    how += [each.step for each in (slope, last) if each and each.step]
    answer = {
        "gap_nm": gap_nm,
        "centres_nm": centres.centres_nm,
        "method": face.method,
        "feeler_nm": face.feeler_nm,
        "finding": told_findings([finding])[0] if finding else None,
        "moves": _told(moves) if moves else None,
        "tilt": _tilt(slope) if slope else None,
        "last": _translated(last) if last else None,
    }
    reached = finding is None or finding.level != "no"
    return Answer(answer, tuple(how), status="ok" if reached else "infeasible")


def _told(moves: RecutMoves) -> dict[str, Any]:
    return {
        "pass_line_nm": float(moves.pass_line_nm),
        "top_shaft_nm": float(moves.top_shaft_nm),
        "bottom_shaft_nm": float(moves.bottom_shaft_nm),
        "top_turns": moves.top_turns,
        "bottom_turns": moves.bottom_turns,
        "reset": moves.reset,
    }


def _last(given: dict[str, Any]) -> Translated:
    screws = {name: given[name] for name in ("bottom_adjustable", "zero_moved") if name in given}
    return translate(
        given["value_nm"],
        follows=given["follows"],
        then=Conditions(**given["then"]),
        now=Conditions(**given["now"]),
        screws=Screws(**screws),
    )


def _tilt(slope: Tilt) -> dict[str, Any]:
    return {"per_100": slope.per_100, "is_beyond": slope.is_beyond, "wider": slope.wider}


def _translated(last: Translated) -> dict[str, Any]:
    struck = [str(each) for each in last.struck]
    return {"value_nm": last.value_nm, "struck": struck, "reset": last.reset}


COMPUTATION = Computation(
    "gap",
    "Target gap, shaft centres at the gap point, what a feeler sees on the face, the moves after a "
    "recut, the tilt of two ends, and an old number translated. Status infeasible: the mill does "
    "not reach the centres.",
    INPUT,
    ANSWER,
    solve,
)
