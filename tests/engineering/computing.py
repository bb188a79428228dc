"""Good input for every computation, and what becomes of other input: for the tests of compute."""

from __future__ import annotations

from typing import Any

import pytest

from tooling.engineering.compute import compute
from tooling.engineering.wear import Prior
from tooling.errors import ToolingError

SHAFT = {
    "diameter_nm": 63_500_000, "roll_space_nm": 304_800_000, "key_style": "none",
}  # fmt: skip
MILL = {
    "number": "M1", "hand": "left", "closing_most_nm": 0, "base_clearance_nm": 200_000_000,
    "guide_plane_nm": 136_525_000,
    "stations": [
        {
            "number": 1, "ratio": "3/2", "vertical_least_nm": 100_000_000,
            "vertical_most_nm": 250_000_000, "stand_clearance_nm": 200_000_000,
            "shafts": [{"which": "top", **SHAFT}, {"which": "bottom", **SHAFT}],
        }
    ],
}  # fmt: skip
ROLL = {
    "order": 1, "bore_nm": 63_510_000, "face_width_nm": 100_000_000, "guide_offset_nm": 50_000_000,
    "carries_guide_point": True,
}  # fmt: skip
TOP = {"drive_diameter_nm": 225_000_000, "gap_nm": 225_000_000}
BOTTOM = {"drive_diameter_nm": 150_000_000, "gap_nm": 150_000_000}
SET = {
    "number": "1472", "hand": "left", "grades": ["DX51D"],
    "thickness_least_nm": 1_000_000, "thickness_most_nm": 2_000_000,
    "passes": [
        {
            "number": 1,
            "rolls": [
                {"name": "T1", "where": "top", **ROLL, **TOP},
                {"name": "B1", "where": "bottom", **ROLL, **BOTTOM},
            ],
        }
    ],
}  # fmt: skip
STRIP = {"thickness_nm": 1_500_000, "grade": "DX51D"}
HANDS = {"horizontal_nm": 250_000_000, "vertical_nm": 750_000_000}
LIFT = {
    "origin": HANDS, "destination": HANDS, "lifts_per_minute": 0.1, "hours": 1, "coupling": "good",
}  # fmt: skip

STACKS = {
    "rules": {
        "guide_plane_nm": 110_000_000, "closing": "nut", "closing_least_nm": 0,
        "closing_most_nm": 500_000, "make": {
            "step_nm": 1_000_000, "least_nm": 2_000_000, "most_nm": 60_000_000,
        },
    },
    "stations": [
        {
            "number": 1, "carried": {"top": [["S50"], ["S20"], ["S50"]]},
            "shafts": [
                {
                    "which": "top", "roll_space_nm": 300_000_000, "unmeasured": ["rolls_nm"],
                    "parts": [
                        {"fill": {"key": "1ti", "kind": "inboard",
                                  "seat": {"shaft_nm": 60_000_000}}},
                        {"roll": {"name": "T1", "width_nm": 80_000_000,
                                  "guide_offset_nm": 60_000_000}},
                        {"fill": {"key": "1tm", "kind": "middle", "target_nm": 20_000_000}},
                        {"roll": {"name": "T2", "width_nm": 100_000_000}},
                        {"fill": {"key": "1to", "kind": "outboard", "only": ["S50", "S20"]}},
                    ],
                }
            ],
        }
    ],
    "sources": [
        {"key": "S50", "length_nm": 50_000_000, "count": 2, "place": "R1", "tolerance_nm": 20_000,
         "body": {"bore_nm": 60_010_000, "outside_nm": 90_000_000}},
        {"key": "S20", "length_nm": 20_000_000, "count": 3, "place": "R2"},
        {"key": "H1", "length_nm": 100_000, "kind": "shim", "measured": True},
    ],
    "places": ["R1", "R2"], "pins": {"1tm": ["S20"]}, "forbid": ["H1"], "seconds": 5,
    "keep": [{"station": 1, "shaft": "top", "fills": [["S50"], ["S20"], ["S50"]]}],
}  # fmt: skip

WORN: dict[str, Any] = {
    "pieces": [
        {
            "name": "B1", "other_sets": ["1480-A"], "width_nm": 40_000_000,
            "diameters": [{"name": "drive", "now_nm": 152_400_000, "drawn_nm": 152_400_000,
                           "least_nm": 144_780_000, "uncertainty_nm": 4_000}],
            "points": [{"name": "root", "depth_nm": 300_000, "angle_degrees": 30,
                        "limit_nm": 200_000}],
            "keyway": {"bore_nm": 63_500_000, "hub_depth_nm": 7_000_000, "width_nm": 15_875_000},
        },
        {"name": "T1", "diameters": [{"name": "drive", "now_nm": 228_600_000}],
         "life_cents_per_mm": "3/2"},
    ],
    "lines": [{"set": "1472-A", "mill": "M1", "passes": [
        {"number": 1, "ratio": "3/2", "top": {"pieces": ["T1"]}, "bottom": {"pieces": ["B1"]},
         "vertical_least_nm": 180_000_000, "screw_lead_nm": 5_000_000,
         "gap": {"top": "T1", "top_nm": 228_600_000, "bottom": "B1", "bottom_nm": 152_400_000}},
    ]}],
    "limits": {"step_nm": 25_400, "ratio_tolerance": 0.001},
}  # fmt: skip
DUE = {
    "today": "2026-11-30",
    "sets": [{"name": "1472-A", "left_m": 50_000, "pieces": 16, "jobs": [
        {"number": "J1", "gathers": "2026-12-30", "ends": "2027-01-02", "length_m": 80_000},
    ]}],
    "lead": {"setting": 14, "own": [9, 10, 8, 12, 9]},
    "pieces_a_week": 40,
    "costs": {"length_m": 100_000, "recut_cents": 20_000, "new_cents": 90_000, "left": 3,
              "new_left": 5},
}  # fmt: skip
GAUGE = {"resolution_nm": 1_000, "uncertainty_nm": 3_000}
WORN_FACE = WORN | {
    "pieces": [WORN["pieces"][0], WORN["pieces"][1] | {"points": [
        {"name": "flank", "depth_nm": 100_000, "angle_degrees": 80, "limit_nm": 150_000,
         "side": "inboard"}]}],
    "pins": [{"piece": "T1", "kind": "face"}],
}  # fmt: skip
WORN_POINT = {
    "key": "R1 root", "limit_nm": 152_100_000, "chrome_nm": 19_000, "face_degrees": 30,
    "readings": [
        {"value_nm": 152_400_000, "gauge": GAUGE, "is_soaked": True},
        {"run_nm": {"galvanised": 9 * 10**13}, "value_nm": 152_330_000, "temperature_c": 24.5},
        {"run_nm": {"galvanised": 2 * 10**14}, "verdict": "light"},
    ],
    "run_nm": {"galvanised": 2 * 10**14}, "ahead_nm": {"stainless": 10**13},
}  # fmt: skip

GOOD: dict[str, list[dict[str, Any]]] = {
    "key": [
        {"shaft_nm": 63_500_000, "standard": "ANSI B17.1"},
        {
            "shaft_nm": 60_000_000, "standard": "DIN 6885-1", "root_diameter_nm": 90_000_000,
            "least_wall_nm": 6_000_000, "bore_nm": 60_010_000,
            "keyway": {
                "width_nm": 18_010_000, "depth_nm": 4_400_000, "loose_beyond_nm": 100_000,
            },
        },
    ],
    "fit": [
        {
            "size_nm": 60_000_000, "fit": "H7/g6",
            "bore": {"now_nm": 60_060_000, "class": "H7", "worn_allowance_nm": 25_000},
        },
        {"mill": MILL, "set": SET, "strip": STRIP},
        {
            "mill": MILL, "set": SET, "limits": {"ratio_no": 0.05, "clear_least_nm": 5},
            "sleeves": [{"name": "S", "bore_nm": 50_000_000, "outside_diameter_nm": 60_000_000}],
        },
    ],
    "gap": [
        {"top_nm": 150_000_001, "bottom_nm": 150_000_000, "strip_nm": 1_000_000},
        {
            "top_nm": 150_000_000, "bottom_nm": 150_000_000, "strip_nm": 1_000_000,
            "allowance_nm": -50_000, "degrees": 85, "least_nm": 140_000_000,
            "recut": {
                "top_removed_nm": 762_000, "bottom_removed_nm": 762_000,
                "bottom_adjustable": False, "screw_lead_nm": 5_000_000,
            },
        },
    ],
    "feelers": [
        {
            "gap_nm": 100_000, "below_nm": 10_000, "above_nm": 30_000,
            "leaves_nm": [50_000, 100_000, 120_000],
        },
        {"gap_nm": 100_000, "below_nm": 0, "above_nm": 30_000, "leaves_nm": []},
    ],
    "strip": [
        {"counter": {"start_nm": 0, "end_nm": 10**12}},
        {
            "parts": {"parts": 400, "part_nm": 3 * 10**9, "scrap_nm": 10**9},
            "coil": {
                "outside_nm": 1_200_000_000, "inside_nm": 508_000_000, "thickness_nm": 1_500_000,
            },
            "differ_coil_percent": 1,
        },
    ],
    "speeds": [
        {"passes": []},
        {
            "rpm": 50, "limits": {"step_most": 0.02},
            "passes": [
                {"number": 1, "bottom": {"diameter_nm": 152_400_000, "uncertainty_nm": 4_000}},
                {
                    "number": 2, "ratio": 1.5, "bottom": {"diameter_nm": 152_908_000},
                    "top": {"diameter_nm": 229_362_000, "rpm_factor": "1/1", "driven": True},
                },
            ],
        },
    ],
    "lift": [
        {"mass_kg": 22.9},
        {
            "body": {
                "outside_nm": 203_200_000, "bore_nm": 63_500_000, "width_nm": 101_600_000,
                "material": "D2",
            },
            "lift": LIFT | {"system": "us", "control_at_destination": False},
        },
        {"mass_kg": 10, "lift": LIFT | {"conditions": ["two_people"]}},
    ],
    "order": [
        {"jobs": []},
        {
            "now": [{"station": 1, "shaft": "top", "pieces": [{"key": "A", "mass_kg": 9}]}],
            "jobs": [
                {
                    "name": "J1", "run_minutes": 60, "due_minutes": 90, "left_on": [2],
                    "shafts": [
                        {"station": 1, "shaft": "top", "pieces": [{"key": "s", "pooled": True}]}
                    ],
                },
                {"name": "J2", "shafts": []},
            ],
            "timed": [{"opened": 2, "minutes": 44.5}], "planned": [1, 0], "apart": [[-1, 0]],
        },
        {
            "jobs": [{"name": "J1", "shafts": []}, {"name": "J2", "shafts": []}],
            "before": [[0, 1], [1, 0]],
            "weights": {"stations": 1, "shafts": 0, "pieces": 0.5, "mass_kg": 0},
        },
    ],
    "check-code": [{"kind": "R", "serial": 1}, {"kind": "K", "serial": 34}],
    "stacks": [STACKS, STACKS | {"check": [
        {"station": 1, "shaft": "top", "fills": [["S50"], ["S20", "H1", "S20"], ["S50"]]}
    ]}],
    "regrind": [
        WORN,
        WORN | {"prices": {"setup_cents": 4_000, "cents_per_mm": 6_000, "new_cents": 60_000}},
        WORN | {"pins": [{"piece": "B1", "kind": "leave"}]},
        WORN | {"check": [{"piece": "B1", "amount_nm": 762_000}]},
        WORN_FACE,
    ],
    "timing": [DUE, {"today": "2026-11-30"}],
    "wear": [
        {"points": []},
        {"points": [WORN_POINT | {"end": "inboard"}, WORN_POINT | {"end": "outboard"}]},
        {"points": [WORN_POINT], "pool": [WORN_POINT, WORN_POINT], "confidence": 0.95},
        {"points": [{"readings": [], "run_nm": {}, "depth_limit_nm": 100_000}],
         "prior": Prior().as_dict(), "own_readings": 1, "guard_k": 2},
    ],
}  # fmt: skip
ALL_GOOD = [(name, given) for name, examples in GOOD.items() for given in examples]


def codes_of(answer: dict[str, Any]) -> set[str]:
    return {finding["code"] for finding in answer["answer"]["findings"]}


def refused(name: str, given: Any) -> ToolingError:
    with pytest.raises(ToolingError) as caught:
        compute(name, given)
    return caught.value
