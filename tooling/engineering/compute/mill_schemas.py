"""Mill, set and strip in JSON: their schemas, and the specs made from them."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.schemas import (
    BOOLEAN,
    COUNT,
    INTEGER,
    RATIO,
    TEXT,
    as_ratio,
    length,
    many,
    number,
    obj,
    signed,
)
from tooling.engineering.mill_specs import (
    FitLimits,
    Fitting,
    MillSpec,
    PassSpec,
    RollSpec,
    SetSpec,
    ShaftSpec,
    SleeveSpec,
    StationSpec,
    StripSpec,
)

SHAFT = obj(
    ["which", "diameter_nm", "roll_space_nm"],
    which={"enum": ["top", "bottom"]},
    diameter_nm=length(),
    roll_space_nm=length("Usable length from the shoulder."),
    key_style={"enum": ["full", "loose", "two", "pin", "none"]},
    key_width_nm=length(),
    key_height_nm=length("How far the key stands above the shaft."),
    shoulder_offset_nm=signed("Positive outboard of the datum plane."),
    shoulder_measured=BOOLEAN,
    drive={"enum": ["driven", "idle", "joint"]},
    rpm_factor=RATIO,
    joint_length_nm=length(),
    joint_most_degrees=number(most=90),
    joint_level_centre_nm=length("Vertical centres at which the joint runs straight."),
)
STATION = obj(
    ["number", "shafts"],
    number=COUNT,
    shafts=many(SHAFT, most=4),
    ratio=RATIO,
    centre_to_next_nm=length("Horizontal centre to the next station."),
    vertical_least_nm=length(),
    vertical_most_nm=length(),
    stand_clearance_nm=length("From a shaft's axis to the stand."),
    side_roll_room_nm=length(),
    side_roll_mounting=TEXT,
)
MILL = obj(
    ["number", "stations"],
    number=TEXT,
    stations=many(STATION, most=200),
    hand=TEXT,
    guide_plane_nm=signed("From the datum plane to the guide plane."),
    closing_most_nm=signed("Most of stack total − roll space."),
    base_clearance_nm=length("From the bottom axis at its lowest to the base."),
)
ROLL = obj(
    ["name", "where", "order"],
    name=TEXT,
    where={"enum": ["top", "bottom", "side"]},
    order=INTEGER,
    kind={"enum": ["roll", "spacer", "shim", "sleeve", "side_roll"]},
    bore_nm=length(),
    drawn_bore_nm=length(),
    keyway_width_nm=length(),
    keyway_depth_nm=length("From the crown of the bore."),
    face_width_nm=length(),
    guide_offset_nm=signed("Inboard face to the guide point."),
    carries_guide_point=BOOLEAN,
    drive_diameter_nm=length(),
    outside_diameter_nm=length(),
    gap_nm=length("Diameter at the gap point."),
    idles=BOOLEAN,
    unmeasured=many(TEXT, most=20),
)
PASS = obj(
    ["number", "rolls"], number=COUNT, rolls=many(ROLL, most=100), station=COUNT, has_gap=BOOLEAN
)
SET = obj(
    ["number", "passes"],
    number=TEXT,
    passes=many(PASS, most=200),
    thickness_least_nm=length(),
    thickness_most_nm=length(),
    grades=many(TEXT, most=100),
    hand=TEXT,
    side_roll_mounting=TEXT,
)
STRIP = obj(
    ["thickness_nm"],
    thickness_nm=length(),
    grade=TEXT,
    allowance_nm=signed("Coating +, spring −."),
    measured=BOOLEAN,
)
SLEEVE = obj(
    ["name", "bore_nm", "outside_diameter_nm"],
    name=TEXT,
    bore_nm=length(),
    outside_diameter_nm=length(),
)
LIMITS = obj(
    [],
    play_most_nm=length(least=0),
    key_play_most_nm=length(least=0),
    ratio_warn=RATIO,
    ratio_no=RATIO,
    clear_least_nm=length(least=0),
)
MILL_INPUT = obj(
    ["mill", "set"], mill=MILL, set=SET, strip=STRIP, sleeves=many(SLEEVE), limits=LIMITS
)


def fitting_from(given: dict[str, Any]) -> Fitting:
    """The question of a valid input. Raises ValueError where a spec refuses a value."""
    return Fitting(
        mill=_mill(given["mill"]),
        tool_set=_set(given["set"]),
        strip=StripSpec(**given["strip"]) if "strip" in given else None,
        sleeves=tuple(SleeveSpec(**each) for each in given.get("sleeves", ())),
        limits=FitLimits(**_ratios(given.get("limits", {}), "ratio_warn", "ratio_no")),
    )


def _mill(given: dict[str, Any]) -> MillSpec:
    return MillSpec(**given | {"stations": tuple(map(_station, given["stations"]))})


def _station(given: dict[str, Any]) -> StationSpec:
    shafts = tuple(ShaftSpec(**_ratios(each, "rpm_factor")) for each in given["shafts"])
    return StationSpec(**_ratios(given, "ratio") | {"shafts": shafts})


def _set(given: dict[str, Any]) -> SetSpec:
    passes = tuple(map(_pass, given["passes"]))
    return SetSpec(**given | {"passes": passes, "grades": tuple(given.get("grades", ()))})


def _pass(given: dict[str, Any]) -> PassSpec:
    rolls = tuple(
        RollSpec(**each | {"unmeasured": frozenset(each.get("unmeasured", ()))})
        for each in given["rolls"]
    )
    return PassSpec(**given | {"rolls": rolls})


def _ratios(given: dict[str, Any], *names: str) -> dict[str, Any]:
    return given | {name: as_ratio(given[name]) for name in names if name in given}
