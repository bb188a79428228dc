"""A set made for its mill, and what the fit says of it: for the tests of the fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tests.engineering.checks import inch
from tooling.engineering.findings import Finding
from tooling.engineering.mill_fit import FitAnswer, fit_set_to_mill
from tooling.engineering.mill_specs import (
    Fitting,
    MillSpec,
    PassSpec,
    RollSpec,
    SetSpec,
    ShaftSpec,
    StationSpec,
    StripSpec,
)

# A shaft of 2.5 in (common practice), its key 5/8 × 5/8 in, half of it above the shaft.
SHAFT = ShaftSpec(
    which="top", diameter_nm=inch("2.5"), roll_space_nm=inch(12),
    key_width_nm=inch("0.625"), key_height_nm=inch("0.3125"),
)  # fmt: skip
STATION = StationSpec(
    number=1, shafts=(SHAFT, replace(SHAFT, which="bottom")), centre_to_next_nm=inch(12),
    vertical_least_nm=inch("5.5"), vertical_most_nm=inch(7), stand_clearance_nm=inch(5),
    side_roll_room_nm=inch(4), side_roll_mounting="bracket",
)  # fmt: skip
MILL = MillSpec(
    number="M1", stations=(STATION, replace(STATION, number=2), replace(STATION, number=3)),
    hand="left", guide_plane_nm=inch("5.375"), closing_most_nm=0, base_clearance_nm=inch(5),
)  # fmt: skip
ROLL = RollSpec(
    name="T1", where="top", order=1, bore_nm=inch("2.501"), drawn_bore_nm=inch("2.5"),
    keyway_width_nm=inch("0.626"), keyway_depth_nm=inch("0.34"), face_width_nm=inch(4),
    guide_offset_nm=inch(2), carries_guide_point=True, drive_diameter_nm=inch(6),
    outside_diameter_nm=inch(6), gap_nm=inch(6),
)  # fmt: skip
STRIP = StripSpec(thickness_nm=inch("0.060"), grade="DX51D", measured=True)


def a_pass(number: int = 1, **changes: Any) -> PassSpec:
    """A pass of one top and one bottom roll; the changes go to both."""
    top, bottom = replace(ROLL, name=f"T{number}"), replace(ROLL, name=f"B{number}", where="bottom")
    return PassSpec(number, (replace(top, **changes), replace(bottom, **changes)))


def a_set(*passes: PassSpec, **changes: Any) -> SetSpec:
    words: dict[str, Any] = {
        "number": "1472", "passes": passes or (a_pass(1), a_pass(2)), "hand": "left",
        "thickness_least_nm": inch("0.050"), "thickness_most_nm": inch("0.068"),
        "grades": ("DX51D", "DC01"), "side_roll_mounting": "bracket",
    }  # fmt: skip
    return SetSpec(**{**words, **changes})


def fit(
    tool_set: SetSpec | None = None, mill: MillSpec = MILL, strip: StripSpec | None = STRIP,
    **changes: Any,
) -> FitAnswer:  # fmt: skip
    return fit_set_to_mill(Fitting(mill, tool_set or a_set(), strip, **changes))


def found(answer: FitAnswer, check: str) -> list[Finding]:
    findings = [finding for finding in answer.findings if finding.check == check]
    assert findings, f"no line about {check}"
    return findings


def codes(answer: FitAnswer, check: str) -> set[str]:
    return {finding.code for finding in found(answer, check)}


def with_station(**changes: Any) -> MillSpec:
    """The mill with every station changed alike."""
    return replace(MILL, stations=tuple(replace(each, **changes) for each in MILL.stations))


def with_shafts(**changes: Any) -> MillSpec:
    """The mill with every shaft changed alike."""
    return with_station(shafts=tuple(replace(each, **changes) for each in STATION.shafts))


def flanged(flange: str, spacer: str, *, guide: bool = True) -> SetSpec:
    """A top roll with a flange, over a bottom roll with a spacer outboard of it at its flange."""
    top = replace(ROLL, face_width_nm=inch(6), outside_diameter_nm=inch(flange))
    bottom = replace(ROLL, name="B1", where="bottom", carries_guide_point=guide)
    outboard = replace(
        bottom, name="S9", order=2, kind="spacer", outside_diameter_nm=inch(spacer),
        drive_diameter_nm=None, gap_nm=None, carries_guide_point=False, face_width_nm=inch(1),
    )  # fmt: skip
    return a_set(PassSpec(1, (top, bottom, outboard)))
