"""``compute key``: the standard's key, the wall over it, and how a keyway takes it."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation
from tooling.engineering.compute.schemas import INTEGER, TEXT, length, maybe, obj
from tooling.engineering.how import Step
from tooling.engineering.keys import (
    SOURCES,
    Key,
    key_fit,
    key_for_shaft,
    least_root_diameter,
    wall_at_key_corner,
)

INPUT = obj(
    ["shaft_nm", "standard"],
    shaft_nm=length("Diameter of the shaft."),
    standard={"enum": list(SOURCES)},
    shape={"enum": ["square", "rectangular"], "description": "ANSI only."},
    bore_nm=length("Bore of the roll; without it, the shaft's diameter."),
    root_diameter_nm=length("Root diameter: asks for the wall over the key."),
    least_wall_nm=length("Asks for the least root diameter that leaves this wall.", least=0),
    keyway=obj(
        ["width_nm", "depth_nm", "loose_beyond_nm"],
        width_nm=length(),
        depth_nm=length("From the crown of the bore."),
        loose_beyond_nm=length("Side play from which the keyway counts as worn.", least=0),
    ),
)
ANSWER = obj(
    ["key", "wall", "least_root_diameter_nm", "keyway"],
    key=obj(
        [
            "standard", "shape", "width_nm", "height_nm",
            "shaft_depth_nm", "hub_depth_nm", "shaft_control_nm", "hub_control_nm",
        ],
        standard=TEXT, shape=TEXT, width_nm=INTEGER, height_nm=INTEGER,
        shaft_depth_nm=INTEGER, hub_depth_nm=INTEGER,
        shaft_control_nm=INTEGER, hub_control_nm=INTEGER,
    ),
    wall=maybe(obj(["corner_nm", "plain_nm"], corner_nm=INTEGER, plain_nm=INTEGER)),
    least_root_diameter_nm=maybe(INTEGER),
    keyway=maybe(
        obj(
            ["state", "side_play_nm", "top_play_nm"],
            state=TEXT, side_play_nm=INTEGER, top_play_nm=INTEGER,
        )
    ),
)  # fmt: skip


def solve(given: dict[str, Any]) -> Answer:
    """The key of a shaft; infeasible where no wall is left or the keyway does not take the key."""
    key = key_for_shaft(given["shaft_nm"], given["standard"], shape=given.get("shape"))
    bore_nm = given.get("bore_nm", given["shaft_nm"])
    how: list[Step] = list(key.how)
    feasible = True
    answer: dict[str, Any] = {
        "key": _told(key), "wall": None, "least_root_diameter_nm": None, "keyway": None,
    }  # fmt: skip
    if "root_diameter_nm" in given:
        wall = wall_at_key_corner(
            given["root_diameter_nm"], bore_nm, key.hub_depth_nm, key.width_nm
        )
        answer["wall"] = {"corner_nm": wall.corner_nm, "plain_nm": wall.plain_nm}
        feasible = wall.corner_nm > 0
        how += wall.how
    if "least_wall_nm" in given:
        least = least_root_diameter(bore_nm, key.hub_depth_nm, key.width_nm, given["least_wall_nm"])
        answer["least_root_diameter_nm"] = least.root_diameter_nm
        how += least.how
    if "keyway" in given:
        fit = key_fit(
            key_width_nm=key.width_nm,
            key_height_nm=key.height_nm - key.shaft_depth_nm,
            shaft_nm=given["shaft_nm"],
            keyway_width_nm=given["keyway"]["width_nm"],
            keyway_depth_nm=given["keyway"]["depth_nm"],
            bore_nm=bore_nm,
            loose_beyond_nm=given["keyway"]["loose_beyond_nm"],
        )
        answer["keyway"] = {
            "state": fit.state, "side_play_nm": fit.side_play_nm, "top_play_nm": fit.top_play_nm,
        }  # fmt: skip
        feasible = feasible and fit.state in ("fits", "loose")
        how += fit.how
    return Answer(answer, tuple(how), status="ok" if feasible else "infeasible")


def _told(key: Key) -> dict[str, Any]:
    return {
        "standard": key.standard, "shape": key.shape, "width_nm": key.width_nm,
        "height_nm": key.height_nm, "shaft_depth_nm": key.shaft_depth_nm,
        "hub_depth_nm": key.hub_depth_nm, "shaft_control_nm": key.shaft_control_nm,
        "hub_control_nm": key.hub_control_nm,
    }  # fmt: skip


COMPUTATION = Computation(
    "key",
    "The standard's key of a shaft with its keyseat depths; on request the wall over it, the "
    "least root diameter, and how a keyway takes it. Status infeasible: no wall is left, or the "
    "key does not go in.",
    INPUT,
    ANSWER,
    solve,
)
