"""What each computation answers, against numbers worked out elsewhere."""

from __future__ import annotations

import pytest

from tests.engineering.checks import inch, table, worked
from tests.engineering.computing import (
    DUE,
    GOOD,
    MILL,
    SET,
    WORN,
    WORN_FACE,
    codes_of,
    refused,
)
from tooling.engineering.compute import compute
from tooling.errors import ToolingError

pytestmark = pytest.mark.one_database


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


def test_regrind_keeps_a_face_that_is_settled() -> None:
    """T1 may not follow the cut of B1, so B1 is replaced."""
    told = compute("regrind", WORN_FACE)
    bottom, top = told["answer"]["decisions"]
    assert (bottom["kind"], top["kind"], top["amount_nm"]) == ("replace", "face", 0)
    assert top["width_nm"] == top["guide_nm"] == 152_314, "(0.10 + 0.05) / sin 80°"
    assert [each["code"] for each in top["reasons"]] == ["pinned_face", "to_face"]


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
    day = next(each for each in told["how"] if "latest day" in each["what"])
    assert (day["value"], day["inputs"]["today"]) == ("2026-12-17", DUE["today"])
