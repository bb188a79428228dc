"""``compute gap``: shaft centres for a gap, what a feeler sees, moves after a recut."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation, told_findings
from tooling.engineering.compute.schemas import (
    BOOLEAN,
    FINDING,
    INTEGER,
    NUMBER,
    length,
    maybe,
    number,
    obj,
    signed,
)
from tooling.engineering.gaps import (
    NEAR_VERTICAL_DEGREES,
    RecutMoves,
    check_centres,
    face_gap,
    moves_after_recut,
    shaft_centres,
    target_gap_nm,
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
    ["gap_nm", "centres_nm", "method", "feeler_nm", "finding", "moves"],
    gap_nm=INTEGER,
    centres_nm=INTEGER,
    method={"enum": ["feeler", "spacers"]},
    feeler_nm=maybe(INTEGER),
    finding=maybe(FINDING),
    moves=maybe(MOVES),
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
    answer = {
        "gap_nm": gap_nm,
        "centres_nm": centres.centres_nm,
        "method": face.method,
        "feeler_nm": face.feeler_nm,
        "finding": told_findings([finding])[0] if finding else None,
        "moves": _told(moves) if moves else None,
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


COMPUTATION = Computation(
    "gap",
    "Target gap, shaft centres at the gap point, what a feeler sees on the face, and the moves "
    "after a recut. Status infeasible: the mill does not reach the centres.",
    INPUT,
    ANSWER,
    solve,
)
