"""The named computations: what they answer, and that both sides are held to their schemas."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from tests.engineering.checks import inch, table, worked
from tooling.engineering.compute import COMPUTATIONS, compute
from tooling.engineering.compute.answers import Answer, Computation, run
from tooling.engineering.wear import Prior
from tooling.errors import ToolingError

pytestmark = pytest.mark.one_database

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

WORN = {
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


def test_the_names_are_those_of_the_contract_that_exist_so_far() -> None:
    assert set(COMPUTATIONS) == {
        "key", "fit", "gap", "feelers", "speeds", "strip", "lift", "check-code", "order",
        "stacks", "regrind", "timing", "wear",
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(COMPUTATIONS))
def test_both_schemas_are_schemas(name: str) -> None:
    schemas = COMPUTATIONS[name].schemas()
    assert set(schemas) == {"input", "output"}
    for schema in schemas.values():
        Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(("name", "given"), ALL_GOOD)
def test_every_answer_is_plain_json_of_the_contracted_shape(
    name: str, given: dict[str, Any]
) -> None:
    told = json.loads(json.dumps(compute(name, given), allow_nan=False))
    assert list(told) == ["status", "answer", "bound", "how"]
    Draft202012Validator(COMPUTATIONS[name].schemas()["output"]).validate(told)


@pytest.mark.parametrize(("name", "given"), ALL_GOOD)
def test_every_answer_says_how(name: str, given: dict[str, Any]) -> None:
    expected = {"what", "formula", "source", "inputs", "value"}
    how = compute(name, given)["how"]
    silent = ({"passes": []}, {"points": []}, {"mass_kg": 22.9}, GOOD["lift"][2], GOOD["stacks"][1],
              *GOOD["regrind"][2:])  # fmt: skip
    assert bool(how) is (given not in silent)
    assert all(expected <= set(step) for step in how)


@pytest.mark.parametrize(("name", "given"), ALL_GOOD)
def test_an_unknown_property_is_refused_with_its_place(name: str, given: dict[str, Any]) -> None:
    error = refused(name, given | {"colour": "blue"})
    assert (error.code, error.values["path"]) == ("invalid_input", "$")


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


def places(content: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of nested JSON."""
    keys = content.keys() if isinstance(content, dict) else range(len(content))
    here = [(content, key) for key in keys]
    inner = [content[key] for key in keys if isinstance(content[key], (dict, list))]
    return here + [place for each in inner for place in places(each)]


def code_or_status(name: str, given: Any) -> str:
    """The status of a valid answer, or the code of a stated problem."""
    try:
        answer = compute(name, given)
    except ToolingError as error:
        return error.code
    return str(answer["status"])


extreme_numbers = st.sampled_from([0, 1, -1, 2**53, 10**11, -(10**11), 0.5, 1e-9, 1e308])


@given(st.sampled_from(ALL_GOOD), st.data())
def test_whatever_stands_in_a_field_is_answered_or_refused_never_broken(
    example: tuple[str, dict[str, Any]], data: st.DataObject
) -> None:
    name, good = example
    given = json.loads(json.dumps(good))
    container, key = data.draw(st.sampled_from(places(given)))
    container[key] = data.draw(json_values | extreme_numbers)
    assert code_or_status(name, given) in {
        "ok", "infeasible", "stopped", "invalid_input", "size_outside_table", "unknown_fit_class",
        "negative_length", "bore_smaller_than_shaft", "key_wider_than_bore", "not_a_code",
    }  # fmt: skip


@given(st.sampled_from(sorted(COMPUTATIONS)), json_values)
def test_any_other_json_is_refused_with_a_code(name: str, given: Any) -> None:
    assert refused(name, given).code == "invalid_input"


@pytest.mark.parametrize("given", [{"shaft_nm": 63.5}, {"shaft_nm": -1}, {"shaft_nm": "2.5"}])
def test_a_length_is_a_whole_positive_number_of_nanometres(given: dict[str, Any]) -> None:
    error = refused("key", {"standard": "ANSI B17.1"} | given)
    assert error.values["path"] == "$.shaft_nm"


def test_a_whole_number_written_with_a_point_is_whole() -> None:
    told = compute("key", {"shaft_nm": 63_500_000.0, "standard": "ANSI B17.1"})
    assert told == compute("key", {"shaft_nm": 63_500_000, "standard": "ANSI B17.1"})


def test_input_nested_without_end_is_refused() -> None:
    deep: Any = 1
    for _level in range(100_000):
        deep = [deep]
    assert refused("speeds", {"passes": deep}).code == "invalid_input"


def test_an_answer_that_breaks_its_schema_is_a_fault_of_ours() -> None:
    wrong = Computation("wrong", "", {}, {"type": "string"}, lambda given: Answer({}, ()))
    with pytest.raises(RuntimeError, match="wrong"):
        run(wrong, {})


def test_key_tells_the_standards_key_its_wall_and_the_least_root() -> None:
    # DIN 6885-1, 60 mm: 18 × 11, d + 4.4. Plain wall of a 90 root: 45 − (30.005 + 4.4).
    told = compute("key", GOOD["key"][1])["answer"]
    key = told["key"]
    assert (key["width_nm"], key["height_nm"]) == (18_000_000, 11_000_000)
    assert told["wall"]["plain_nm"] == 10_595_000
    assert told["keyway"]["state"] == "fits"
    again = GOOD["key"][1] | {"root_diameter_nm": told["least_root_diameter_nm"]}
    assert compute("key", again)["answer"]["wall"]["corner_nm"] == 6_000_000


def test_key_is_infeasible_without_a_wall_or_where_the_key_does_not_go_in() -> None:
    given = GOOD["key"][1]
    assert compute("key", given | {"root_diameter_nm": 70_000_000})["status"] == "infeasible"
    narrow = {"width_nm": 17_000_000, "depth_nm": 4_400_000, "loose_beyond_nm": 0}
    assert compute("key", given | {"keyway": narrow})["status"] == "infeasible"


def test_key_off_the_table_keeps_its_own_code() -> None:
    error = refused("key", {"shaft_nm": 999_000_000, "standard": "DIN 6885-1"})
    assert error.code == "size_outside_table"


def test_fit_by_class_equals_the_published_limits() -> None:
    # H7 over 50 to 80: 0 to +30 µm; g6: −29 to −10 µm. A bore of 60.060 is 30 over, allowed 25.
    told = compute("fit", GOOD["fit"][0])["answer"]
    assert (told["least_clearance_nm"], told["most_clearance_nm"]) == (10_000, 59_000)
    assert told["bore"] == {"state": "worn", "over_nm": 30_000, "limit_nm": 60_055_000}


def test_fit_by_class_without_a_measured_bore_says_nothing_of_one() -> None:
    told = compute("fit", {"size_nm": 63_500_000, "fit": "RC4"})["answer"]
    assert (told["kind"], told["bore"]) == ("clearance", None)


def test_fit_of_a_set_to_a_mill_lists_every_line() -> None:
    told = compute("fit", GOOD["fit"][1])
    assert (told["status"], told["answer"]["level"], told["answer"]["refused"]) == (
        "ok", "ok", False,
    )  # fmt: skip
    assert {"bore", "key", "roll_space", "stations", "vertical_centres", "ratio"} <= {
        finding["check"] for finding in told["answer"]["findings"]
    }


def test_fit_of_a_set_that_a_line_forbids_is_infeasible() -> None:
    thick = compute("fit", {"mill": MILL, "set": SET, "strip": {"thickness_nm": 2_000_001}})
    assert (thick["status"], thick["answer"]["refused"]) == ("infeasible", False)
    assert "strip_too_thick" in codes_of(thick)


def test_gap_equals_the_hand_arithmetic() -> None:
    (row,) = worked("vertical centre")
    told = compute(
        "gap",
        {
            "top_nm": inch(row["top_in"]), "bottom_nm": inch(row["bottom_in"]),
            "strip_nm": inch(row["gap_in"]), "degrees": 60,
        },
    )["answer"]  # fmt: skip
    assert told["centres_nm"] == inch(row["centre_in"])
    assert told["feeler_nm"] == inch(row["gap_in"]) // 2


def test_gap_below_the_stop_is_infeasible_and_refused() -> None:
    told = compute("gap", GOOD["gap"][1] | {"least_nm": 160_000_000})
    finding = told["answer"]["finding"]
    assert (told["status"], finding["code"], finding["refused"]) == (
        "infeasible", "centres_below_stop", True,
    )  # fmt: skip
    assert "160 mm" in finding["text"]


def test_gap_tells_the_moves_in_turns() -> None:
    # 0.762 mm off both, bottom fixed: top down 0.762 mm, at a lead of 5 mm 0.1524 turns.
    moves = compute("gap", GOOD["gap"][1])["answer"]["moves"]
    assert (moves["top_shaft_nm"], moves["pass_line_nm"]) == (-762_000, -381_000)
    assert moves["top_turns"] == pytest.approx(-0.1524)


def test_gap_tells_the_tilt_of_two_ends_and_an_old_number_for_today() -> None:
    """By hand: 0.06 mm over 150 mm is 0.04 per 100; 1.55 on 1.50 strip is 1.25 on 1.20."""
    then = {"mill": "M1", "method": "feeler", "strip_nm": 1_500_000}
    told = compute(
        "gap",
        GOOD["gap"][1]
        | {
            "ends": {"inboard_nm": 1_200_000, "outboard_nm": 1_260_000, "span_nm": 150_000_000},
            "last": {
                "value_nm": 1_550_000,
                "follows": "gap",
                "then": then,
                "now": then | {"strip_nm": 1_200_000},
            },
        },
    )["answer"]
    assert told["tilt"] == {"per_100": 0.04, "is_beyond": True, "wider": "outboard"}
    assert told["last"] == {"value_nm": 1_250_000, "struck": [], "reset": False}


def test_gap_strikes_out_an_old_number_of_another_mill() -> None:
    last = {"value_nm": 1, "follows": "nothing", "then": {"mill": "M1"}, "now": {"mill": "M2"}}
    told = compute("gap", GOOD["gap"][1] | {"last": last})["answer"]["last"]
    assert told == {"value_nm": None, "struck": ["other_mill"], "reset": False}


def test_gap_without_an_opening_is_refused() -> None:
    given = {"top_nm": 1, "bottom_nm": 1, "strip_nm": 100, "allowance_nm": -100}
    assert refused("gap", given).code == "invalid_input"


def test_speeds_equal_the_published_arithmetic() -> None:
    for row in table("surface_speed", "Surface speed"):
        diameter = inch(row["D"]) if row["unit"] == "in" else row["D"] * 1_000_000
        passes = [{"number": 1, "bottom": {"diameter_nm": diameter}}]
        (speed,) = compute("speeds", {"passes": passes, "rpm": row["rpm"]})["answer"]["speeds"]
        assert speed["m_per_min"] == pytest.approx(row["m_per_min"], abs=1e-4)


def test_top_and_bottom_at_the_stations_ratio_run_alike() -> None:
    speeds = compute("speeds", GOOD["speeds"][1])["answer"]["speeds"]
    bottom, top = (each["m_per_min"] for each in speeds if each["pass"] == 2)
    assert top == pytest.approx(bottom)


def test_speeds_that_would_leave_the_strip_slack_are_infeasible() -> None:
    (row,) = worked("progression fails")
    passes = [
        {"number": at, "bottom": {"diameter_nm": inch(now), "drawn_nm": inch(drawn)}}
        for at, (now, drawn) in enumerate(zip(row["now_in"], row["drawn_in"], strict=True), start=1)
    ]
    told = compute("speeds", {"passes": passes})
    assert told["status"] == "infeasible"
    assert "speed_slack" in codes_of(told)


def test_lift_tells_mass_caution_limit_and_index() -> None:
    (row, *_others) = worked("mass")
    told = compute("lift", GOOD["lift"][1])["answer"]
    assert told["mass_kg"] == pytest.approx(row["kg"], abs=0.05)
    assert told["caution"] == "heavy"
    assert told["index"] == pytest.approx(told["mass_kg"] / told["limit_kg"])


def test_lift_where_the_equation_is_silent_is_infeasible() -> None:
    told = compute("lift", GOOD["lift"][2])
    assert (told["status"], told["answer"]["limit_kg"]) == ("infeasible", None)
    assert told["answer"]["not_applicable"] == ["two_people"]


def test_lift_needs_a_mass_or_a_body() -> None:
    assert refused("lift", {"warn_kg": 10}).code == "invalid_input"


def test_check_code_makes_what_it_reads() -> None:
    made = compute("check-code", {"kind": "R", "serial": 12345})["answer"]
    assert compute("check-code", {"code": made["code"].lower()})["answer"] == made


def test_check_code_refuses_a_misread_code_with_its_own_code() -> None:
    made = compute("check-code", {"kind": "R", "serial": 12345})["answer"]["code"]
    wrong = made[:-1] + ("0" if made[-1] != "0" else "1")
    assert refused("check-code", {"code": wrong}).code == "bad_check_character"


def test_a_number_that_is_not_issued_is_infeasible() -> None:
    told = [compute("check-code", {"kind": "R", "serial": at}) for at in range(100)]
    withheld = [each for each in told if each["status"] == "infeasible"]
    assert withheld
    assert all(each["answer"]["code"] is None for each in withheld)


def test_regrind_plans_proves_and_explains() -> None:
    told = compute("regrind", WORN)
    bottom, top = told["answer"]["decisions"]
    assert told["status"] == "ok"
    assert told["bound"] == told["answer"]["aims"]
    assert bottom["amount_nm"] == 812_800, "2 · 0.35 / cos 30° = 0.808 mm, in steps of 0.0254"
    assert [each["code"] for each in top["reasons"]] == ["to_keep_ratio"]
    assert told["answer"]["other_sets"] == ["1480-A"]


def test_regrind_names_what_conflicts_and_checks_a_release() -> None:
    told = compute("regrind", GOOD["regrind"][2])
    assert told["status"] == "infeasible"
    (conflict,) = told["answer"]["conflicts"]
    assert [each["code"] for each in conflict["requirements"]] == ["must_worn", "pinned_leave"]
    checked = compute("regrind", GOOD["regrind"][3])
    assert codes_of(checked) == {"ratio_off", "centres_kept"}
    with pytest.raises(ToolingError):
        compute("regrind", WORN | {"check": [{"piece": "X9", "amount_nm": 0}]})


def test_timing_tells_the_latest_day_to_send_a_set() -> None:
    told = compute("timing", DUE)
    (window,) = told["answer"]["windows"]
    assert window["crosses"] == "J1"
    assert window["chosen"]["out"] == "2026-12-17", "back, 12 days later, on the 29th"
    assert told["answer"]["choice"]["says"] == "recut"
